"""HTTP for service records. Each handler reads: load, decide, store, tell."""

from datetime import datetime
from typing import Any

from litestar import Request, Response, Router, post

from service.events.outbox import Entry, entry
from service.kernel.bodies import decode
from service.kernel.db import Pool
from service.kernel.errors import Fault, Refused, invalid
from service.kernel.http import route
from service.kernel.sql import Queries
from service.keys.rules import Caller
from service.records.actions import issue, issue_month
from service.records.answers import (
    NewRecord,
)
from service.records.facts import Stored
from service.records.models import SignedRecord
from service.records.rules import month_in

sql = Queries(__package__)


@post(
    "/",
    **route(
        "office",
        takes=NewRecord,
        gives=SignedRecord,
        status=(200, 201),
        refuses=(404, 409),
        headers=("ETag", "Location"),
    ),
)
async def issue_service_record(
    request: Request[Any, Any, Any], body: bytes, caller: Caller, pool: Pool, now: datetime
) -> Response[Any]:
    """Issue the record of a visit or of a property's month now, or its next version where it has changed.

    Else the latest there is is given again. A month is taken once it has ended at the property.
    """
    new = decode(body, NewRecord, now)
    async with entry(pool, caller.business_id, now, caller.key_id) as book:
        is_new, stored = await _issue(book, request.app.state.sealing_key, new)
    if stored is None:
        raise Refused("conflict", "This visit was withdrawn before it had a record; there is none to issue.")
    return Response(
        stored.line.encode(),
        status_code=201 if is_new else 200,
        media_type="application/json",
        headers={
            "ETag": f'"{stored.sha256}"',
            "Location": f"/v1/service-records/{stored.number}.{stored.version}",
        },
    )


async def _issue(book: Entry, sealing_key: bytes, new: NewRecord) -> tuple[bool, Stored | None]:
    """Whether a version was issued, and the latest there is."""
    if new.visit_id is not None and new.property_id is None and new.month is None:
        issued = await issue(book, sealing_key, new.visit_id)
        stored = await book.db.maybe(
            Stored, sql.read_latest_of_visit, business_id=book.business_id, visit_id=new.visit_id
        )
    elif new.visit_id is None and new.property_id is not None and new.month is not None:
        first_on, _ = month_in(new.month)
        issued = await issue_month(book, sealing_key, new.property_id, first_on)
        stored = await book.db.maybe(
            Stored,
            sql.read_latest_of_month,
            business_id=book.business_id,
            property_id=new.property_id,
            month_on=first_on,
        )
    else:
        raise invalid([Fault("Give either `visit_id`, or `property_id` with `month`.", "#")])
    return issued is not None, stored


router = Router("/service-records", route_handlers=[issue_service_record])
