"""HTTP for signs: a read model. A sign is amended as part of the visit that states it."""

from typing import Annotated, Any
from uuid import UUID

from litestar import Request, Response, Router, get
from litestar.params import QueryParameter

from service.kernel.db import Db, Pool
from service.kernel.errors import Missing
from service.kernel.http import read_answer, route, weak_tag
from service.kernel.paging import After, Limit, Page, Since, Until, page, place_after
from service.kernel.sql import Queries
from service.keys.rules import Caller
from service.signs.models import SignShown, State

sql = Queries(__package__)
# a handler's parameter named `state` would be the framework's own
AskedState = Annotated[State | None, QueryParameter(name="state")]


@get("/signs", **route("read", gives=Page[SignShown], headers=("Link",)))
async def list_signs(
    request: Request[Any, Any, Any],
    caller: Caller,
    pool: Pool,
    property_id: UUID | None = None,
    job_id: UUID | None = None,
    asked_state: AskedState = None,
    since: Since = None,
    until: Until = None,
    after: After = None,
    limit: Limit = 100,
) -> Response[Page[SignShown]]:
    """Signs with their state, in order of id; `since` and `until` go by the local date of `seen_at`."""
    (after_id,) = place_after(request, after, UUID)
    rows = await Db(pool).many(
        SignShown,
        sql.list_signs,
        business_id=caller.business_id,
        property_id=property_id,
        job_id=job_id,
        state=asked_state,
        since=since,
        until=until,
        after_id=after_id,
        most=limit + 1,
    )
    return page(request, rows, limit, lambda row: (row.id,))


@get("/signs/{sign_id:uuid}", **route("read", gives=SignShown, status=(200, 304), headers=("ETag",)))
async def read_sign(
    request: Request[Any, Any, Any], sign_id: UUID, caller: Caller, pool: Pool
) -> Response[SignShown]:
    """One sign with its state; its weak tag changes with either, and never passes If-Match."""
    known = await Db(pool).maybe(SignShown, sql.read_sign, business_id=caller.business_id, id=sign_id)
    if known is None:
        raise Missing("This sign")
    return read_answer(request, known, weak_tag(known))


router = Router("/", route_handlers=[list_signs, read_sign])
