"""HTTP for pulling service records."""

from datetime import date
from typing import Annotated, Any
from uuid import UUID

import msgspec
from litestar import Request, Response, Router, get
from litestar.di import Provide
from litestar.params import Parameter, QueryParameter
from litestar.response import Stream

from service.events.outbox import latest_sequence
from service.exports import export
from service.exports.models import RecordPage
from service.exports.selection import (
    ClaimName,
    Selection,
    cursor_after,
    cursor_in,
    format_of,
    span_of,
)
from service.kernel.db import Db, Pool
from service.kernel.http import link_next, route
from service.kernel.paging import Limit, Since, Until
from service.keys.rules import Caller
from service.records.rules import month_in

BODIES = {"application/json": RecordPage, "application/x-ndjson": str, "text/csv": str}
STREAMED = {"ndjson": "application/x-ndjson", "csv": "text/csv; header=present"}

AfterPlace = Annotated[
    str | None,
    Parameter(
        max_length=500,
        description="opaque cursor over the log: every version after it, once; empty: from the beginning",
    ),
]
Form = Annotated[str | None, QueryParameter(name="format", description="json, ndjson or csv; else by Accept")]
MonthName = Annotated[str | None, Parameter(max_length=20, description="local month of service: 2026-05")]
Raw = Annotated[bool, Parameter(description="CSV texts as they are, without the guard against formulas")]


async def selection(
    request: Request[Any, Any, Any],
    caller: Caller,
    pool: Pool,
    after: AfterPlace = None,
    since: Since = None,
    until: Until = None,
    month: MonthName = None,
    property_id: UUID | None = None,
    customer_id: UUID | None = None,
    claim: ClaimName | None = None,
) -> Selection:
    """What the query asks for, as of now."""
    now_at = await latest_sequence(Db(pool), caller.business_id)
    latest, place, as_of = span_of(after, request.app.state.epoch, now_at)
    first_on, until_on = (date.min, date.max) if month is None else month_in(month)
    return Selection(
        latest=latest,
        after=place,
        as_of=as_of,
        since=max(since or date.min, first_on),
        until=min(until or date.max, until_on),
        property_id=property_id,
        customer_id=customer_id,
        claim=claim,
    )


@get(
    "/",
    dependencies={"chosen": Provide(selection)},
    **route("read", gives=RecordPage, produces=BODIES, headers=("Link",), refuses=(406, 410)),
)
async def list_service_records(
    request: Request[Any, Any, Any],
    caller: Caller,
    pool: Pool,
    chosen: Selection,
    form: Form = None,
    raw: Raw = False,
    limit: Limit = 100,
) -> Response[Any]:
    """The latest version of each record or, with `after`, every version after that place in the log, once.

    JSON in pages of `limit`; newline-delimited JSON whole, ended by a closing line; CSV whole, with a header.
    """
    wanted = format_of(form, request.headers.get("accept"))
    if wanted == "json":
        return await _page(request, Db(pool), caller.business_id, chosen, limit)
    cursor = cursor_after(chosen, request.app.state.epoch)
    body = (
        export.lines(Db(pool), caller.business_id, chosen, cursor)
        if wanted == "ndjson"
        else export.rows(Db(pool), caller.business_id, chosen, raw=raw)
    )
    return Stream(body, media_type=STREAMED[wanted], headers={"Link": link_next(request, cursor)})


async def _page(
    request: Request[Any, Any, Any], db: Db, business_id: UUID, chosen: Selection, limit: int
) -> Response[Any]:
    """A page as bytes: the records in it stay the text that was hashed."""
    epoch = request.app.state.epoch
    looked_at = await export.select(db, business_id, chosen, limit + 1)
    selected, more = looked_at[:limit], len(looked_at) > limit
    cursor = cursor_in(chosen, selected[-1].sequence, epoch) if more else cursor_after(chosen, epoch)
    text = await export.read_lines(db, business_id, selected)
    excluded = await export.read_excluded(db, business_id, selected)
    items = [msgspec.Raw(line) for line in text.splitlines()]
    content = msgspec.json.encode({"items": items, "next": cursor, "excluded": excluded})
    headers = {"Link": link_next(request, cursor)} if more else {}
    return Response(content, media_type="application/json", headers=headers)


router = Router("/service-records", route_handlers=[list_service_records])
