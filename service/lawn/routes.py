"""HTTP for lawn patches: a read model; what is stated of them is amended through its visit."""

from typing import Any
from uuid import UUID

from litestar import Request, Response, Router, get

from service.deadlines.models import Verdict
from service.kernel.db import Db, Pool
from service.kernel.http import route
from service.kernel.paging import After, Limit, Page, Since, Until, page, place_after
from service.kernel.sql import Queries
from service.keys.rules import Caller
from service.lawn.models import PatchShown
from service.lawn.rules import advised

sql = Queries(__package__)


@get("/", **route("read", gives=Page[PatchShown], headers=("Link",)))
async def list_lawn_patches(
    request: Request[Any, Any, Any],
    caller: Caller,
    pool: Pool,
    property_id: UUID | None = None,
    job_id: UUID | None = None,
    verdict: Verdict | None = None,
    since: Since = None,
    until: Until = None,
    after: After = None,
    limit: Limit = 100,
) -> Response[Page[PatchShown]]:
    """Turf that soil or a cover lay on, by id; `since` and `until` go by the local date of `started_at`."""
    (after_id,) = place_after(request, after, UUID)
    rows = await Db(pool).many(
        PatchShown,
        sql.list_lawn_patches,
        business_id=caller.business_id,
        property_id=property_id,
        job_id=job_id,
        verdict=verdict,
        since=since,
        until=until,
        after_id=after_id,
        most=limit + 1,
    )
    return page(request, [advised(row) for row in rows], limit, lambda row: (row.id,))


router = Router("/lawn-patches", route_handlers=[list_lawn_patches])
