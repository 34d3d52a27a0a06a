"""An event as it is told: CloudEvents 1.0, structured JSON, the same bytes at every attempt. Pure."""

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


def body(event: LoggedEvent, public_url: str, deliverynumber: int) -> bytes:
    """The bytes that are signed and sent: a function of the logged event, its number and the installation's URL."""
    return msgspec.json.encode(envelope(event, public_url, deliverynumber))
