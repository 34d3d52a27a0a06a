"""HTTP for visits: one body with all facts, put whole, amended whole, withdrawn whole."""

from datetime import datetime
from typing import Annotated, Any
from uuid import UUID

from litestar import Request, Response, Router, delete, get, post, put
from litestar.params import HeaderParameter, QueryParameter
from msgspec import structs

from service.events.outbox import entry
from service.facts.models import NewVisit
from service.kernel.db import Db, Pool
from service.kernel.errors import Missing
from service.kernel.http import IfMatch, answer, read_answer, route, tag_of
from service.kernel.paging import After, Limit, Page, Since, Until, page, place_after
from service.kernel.values import LINE
from service.keys.rules import Caller
from service.visits.actions import record, withdraw
from service.visits.decisions import StoredVisit, VersionRow
from service.visits.models import Receipt, Visit, VisitVersion
from service.visits.storing import body_of, sql, visit_of

Prefer = Annotated[
    str | None, HeaderParameter(name="Prefer", description="return=minimal leaves `visit` out")
]
Reason = Annotated[
    str | None, QueryParameter(max_length=500, pattern=LINE, description="why it is withdrawn")
]
# never 409: what shows only beside other facts is taken, and listed as a conflict
WRITES = (412, 422, 428)


def _received(receipt: Receipt, prefer: str | None) -> Response[Receipt]:
    status = 201 if receipt.outcome == "recorded" else 200
    shown = structs.replace(receipt, visit=None) if prefer and "return=minimal" in prefer else receipt
    return answer(shown, status=status, etag=receipt.etag, location=f"/v1/visits/{receipt.id}")


@put(
    "/{visit_id:uuid}",
    **route(
        "record",
        takes=NewVisit,
        gives=Receipt,
        status=(200, 201),
        refuses=WRITES,
        headers=("ETag", "Location"),
    ),
)
async def put_visit(
    visit_id: UUID,
    body: bytes,
    caller: Caller,
    pool: Pool,
    now: datetime,
    if_match: IfMatch = None,
    prefer: Prefer = None,
) -> Response[Receipt]:
    """Record a visit under the phone's id, or amend it with If-Match; the same again changes nothing."""
    return _received(await record(pool, caller, now, body, visit_id, if_match), prefer)


@post(
    "/",
    **route(
        "record",
        takes=NewVisit,
        gives=Receipt,
        status=(200, 201),
        refuses=WRITES,
        headers=("ETag", "Location"),
    ),
)
async def post_visit(
    body: bytes, caller: Caller, pool: Pool, now: datetime, if_match: IfMatch = None, prefer: Prefer = None
) -> Response[Receipt]:
    """Record a visit whose body carries `id`, and `amends` (the ETag it replaces) where it amends."""
    return _received(await record(pool, caller, now, body, None, if_match), prefer)


@delete(
    "/{visit_id:uuid}",
    **route("record", gives=Receipt, refuses=(412, 428), headers=("ETag",)),
    status_code=200,
)
async def withdraw_visit(
    visit_id: UUID,
    caller: Caller,
    pool: Pool,
    now: datetime,
    if_match: IfMatch = None,
    amend_reason: Reason = None,
) -> Response[Receipt]:
    """Withdraw a visit with all its facts; its history stays."""
    async with entry(pool, caller.business_id, now, caller.key_id) as book:
        receipt = await withdraw(book, caller, visit_id, if_match, amend_reason)
    return answer(receipt, etag=receipt.etag)


@get("/{visit_id:uuid}", **route("read", gives=Visit, status=(200, 304), headers=("ETag",)))
async def read_visit(
    request: Request[Any, Any, Any], visit_id: UUID, caller: Caller, pool: Pool
) -> Response[Visit]:
    """What a visit states now; `withdrawn_at` where it was withdrawn."""
    stored = await Db(pool).maybe(StoredVisit, sql.read_visit, business_id=caller.business_id, id=visit_id)
    if stored is None:
        raise Missing("This visit")
    return read_answer(request, visit_of(stored), tag_of(stored.version))


@get("/{visit_id:uuid}/versions", **route("read", gives=list[VisitVersion]))
async def list_visit_versions(visit_id: UUID, caller: Caller, pool: Pool) -> list[VisitVersion]:
    """A visit's history, oldest first: every body it had, when it came, from which key and why."""
    rows = await Db(pool).many(VersionRow, sql.list_versions, business_id=caller.business_id, id=visit_id)
    if not rows:
        raise Missing("This visit")
    return [
        VisitVersion(
            version=row.version,
            body=None if row.body is None else body_of(row),
            amend_reason=row.amend_reason,
            received_at=row.received_at,
            key_id=row.key_id,
        )
        for row in rows
    ]


@get("/", **route("read", gives=Page[Visit], headers=("Link",)))
async def list_visits(
    request: Request[Any, Any, Any],
    caller: Caller,
    pool: Pool,
    property_id: UUID | None = None,
    job_id: UUID | None = None,
    worker_id: UUID | None = None,
    unassigned: bool = False,
    since: Since = None,
    until: Until = None,
    after: After = None,
    limit: Limit = 100,
) -> Response[Page[Visit]]:
    """Visits by arrival; `unassigned` shows those that belong to no job."""
    after_at, after_id = place_after(request, after, datetime, UUID)
    rows = await Db(pool).many(
        StoredVisit,
        sql.list_visits,
        business_id=caller.business_id,
        property_id=property_id,
        job_id=job_id,
        worker_id=worker_id,
        unassigned=unassigned,
        since=since,
        until=until,
        after_at=after_at,
        after_id=after_id,
        most=limit + 1,
    )
    return page(request, [visit_of(row) for row in rows], limit, lambda row: (row.arrived_at, row.id))


router = Router(
    "/visits",
    route_handlers=[put_visit, post_visit, withdraw_visit, read_visit, list_visit_versions, list_visits],
)
