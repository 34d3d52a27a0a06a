"""HTTP for catches, as read."""

from datetime import datetime
from typing import Annotated, Any
from uuid import UUID

from litestar import Request, Response, Router, get
from litestar.params import Parameter

from service.catches.models import CatchShown
from service.kernel.db import Db, Pool
from service.kernel.errors import Missing
from service.kernel.http import read_answer, route, weak_tag
from service.kernel.paging import After, Limit, Page, Since, Until, page, place_after
from service.kernel.sql import Queries
from service.keys.rules import Caller

sql = Queries(__package__)
Binomial = Annotated[str | None, Parameter(max_length=100, description="a binomial, or unidentified")]


@get("/", **route("read", gives=Page[CatchShown], headers=("Link",)))
async def list_catches(
    request: Request[Any, Any, Any],
    caller: Caller,
    pool: Pool,
    property_id: UUID | None = None,
    job_id: UUID | None = None,
    set_id: UUID | None = None,
    species: Binomial = None,
    since: Since = None,
    until: Until = None,
    after: After = None,
    limit: Limit = 100,
) -> Response[Page[CatchShown]]:
    """Catches by the time they were found."""
    after_at, after_id = place_after(request, after, datetime, UUID)
    rows = await Db(pool).many(
        CatchShown,
        sql.list_catches,
        business_id=caller.business_id,
        property_id=property_id,
        job_id=job_id,
        set_id=set_id,
        species=species,
        since=since,
        until=until,
        after_at=after_at,
        after_id=after_id,
        most=limit + 1,
    )
    return page(request, rows, limit, lambda row: (row.caught_at, row.id))


@get("/{catch_id:uuid}", **route("read", gives=CatchShown, headers=("ETag",), status=(200, 304)))
async def read_catch(
    request: Request[Any, Any, Any], catch_id: UUID, caller: Caller, pool: Pool
) -> Response[CatchShown]:
    """One catch; amend it with `visit_etag` in If-Match."""
    found = await Db(pool).maybe(CatchShown, sql.read_catch, business_id=caller.business_id, id=catch_id)
    if found is None:
        raise Missing("This catch")
    return read_answer(request, found, weak_tag(found))


router = Router("/catches", route_handlers=[list_catches, read_catch])
