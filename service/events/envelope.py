"""An event as it is told: CloudEvents 1.0, structured JSON. Pure.

What a webhook sends is made in the database when the delivery is numbered (`webhook_body` in schema/sql), byte for byte
what this makes, and kept, so that every attempt sends the same.
"""

import msgspec

from service.events.models import Envelope, LoggedEvent

CONTENT_TYPE = "application/cloudevents+json; charset=UTF-8"


def envelope(event: LoggedEvent, public_url: str, deliverynumber: int | None = None) -> Envelope:
    """The event with its attributes (CloudEvents 1.0 section 3); only webhooks have a delivery number.

    `public_url` is where the schemas are served: `dataschema` has to be a whole URI.
    """
    return Envelope(
        specversion="1.0",
        id=event.id,
        source=f"/v1/businesses/{event.business_id}",
        type=event.type,
        time=event.time,
        subject=msgspec.UNSET if event.subject is None else event.subject,
        datacontenttype="application/json",
        dataschema=f"{public_url}/schema/v1/{event.type}.json",
        businessid=event.business_id,
        sequence=f"{event.sequence:020}",
        deliverynumber=msgspec.UNSET if deliverynumber is None else str(deliverynumber),
        data=msgspec.Raw(event.data.encode()),
    )
