"""HTTP for sets and the traps in them: read models; what is stated of them is amended through their visit."""

from typing import Annotated, Any
from uuid import UUID

from litestar import Request, Response, Router, get
from litestar.params import QueryParameter

from service.kernel.db import Db, Pool
from service.kernel.errors import Missing
from service.kernel.http import read_answer, route, weak_tag
from service.kernel.paging import After, Limit, Page, Since, Until, page, place_after
from service.kernel.sql import Queries
from service.kernel.values import LINE
from service.keys.rules import Caller
from service.sets.heeded import shown
from service.sets.models import SetFound, SetShown, State, TrapShown

sql = Queries(__package__)
# a handler's parameter named `state` would be the framework's own
AskedState = Annotated[State | None, QueryParameter(name="state")]
Mark = Annotated[
    str | None,
    QueryParameter(
        min_length=1,
        max_length=200,
        pattern=LINE,
        description="number the business wrote on the trap",
    ),
]


@get("/sets", **route("read", gives=Page[SetShown], headers=("Link",)))
async def list_sets(
    request: Request[Any, Any, Any],
    caller: Caller,
    pool: Pool,
    property_id: UUID | None = None,
    job_id: UUID | None = None,
    asked_state: AskedState = None,
    since: Since = None,
    until: Until = None,
    mark: Mark = None,
    after: After = None,
    limit: Limit = 100,
) -> Response[Page[SetShown]]:
    """Sets by id; `since` and `until` are local dates of placing, `mark` is that of one of their traps."""
    (after_id,) = place_after(request, after, UUID)
    rows = await Db(pool).many(
        SetFound,
        sql.list_sets,
        business_id=caller.business_id,
        property_id=property_id,
        job_id=job_id,
        state=asked_state,
        since=since,
        until=until,
        mark=mark,
        after_id=after_id,
        most=limit + 1,
    )
    return page(request, [shown(row) for row in rows], limit, lambda row: (row.id,))


@get("/sets/{set_id:uuid}", **route("read", gives=SetShown, headers=("ETag",), status=(200, 304)))
async def read_set(
    request: Request[Any, Any, Any], set_id: UUID, caller: Caller, pool: Pool
) -> Response[SetShown]:
    """One set: as stated, and as it now is."""
    found = await Db(pool).maybe(SetFound, sql.read_set, business_id=caller.business_id, id=set_id)
    if found is None:
        raise Missing("This set")
    content = shown(found)
    return read_answer(request, content, weak_tag(content))


@get("/traps", **route("read", gives=Page[TrapShown], headers=("Link",)))
async def list_traps(
    request: Request[Any, Any, Any],
    caller: Caller,
    pool: Pool,
    property_id: UUID | None = None,
    asked_state: AskedState = None,
    mark: Mark = None,
    after: After = None,
    limit: Limit = 100,
) -> Response[Page[TrapShown]]:
    """Marked traps by their marks, each with the set it is in or was in last."""
    (after_mark,) = place_after(request, after, str)
    rows = await Db(pool).many(
        TrapShown,
        sql.list_traps,
        business_id=caller.business_id,
        property_id=property_id,
        state=asked_state,
        mark=mark,
        after_mark=after_mark,
        most=limit + 1,
    )
    return page(request, rows, limit, lambda row: (row.mark,))


router = Router("/", route_handlers=[list_sets, read_set, list_traps])
