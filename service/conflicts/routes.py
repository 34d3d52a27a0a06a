"""HTTP for conflicts: what does not fit, for the office to mend where it was stated."""

from typing import Any
from uuid import UUID

from litestar import Request, Response, Router, get

from service.conflicts.models import ConflictShown
from service.kernel.db import Db, Pool
from service.kernel.http import route
from service.kernel.paging import After, Limit, Page, page, place_after
from service.kernel.sql import Queries
from service.keys.rules import Caller

sql = Queries(__package__)


@get("/", **route("read", gives=Page[ConflictShown], headers=("Link",)))
async def list_conflicts(
    request: Request[Any, Any, Any],
    caller: Caller,
    pool: Pool,
    property_id: UUID | None = None,
    visit_id: UUID | None = None,
    subject_id: UUID | None = None,
    after: After = None,
    limit: Limit = 100,
) -> Response[Page[ConflictShown]]:
    """Conflicts that stand now; one goes away by itself when the facts fit."""
    (after_id,) = place_after(request, after, UUID)
    rows = await Db(pool).many(
        ConflictShown,
        sql.list_conflicts,
        business_id=caller.business_id,
        property_id=property_id,
        visit_id=visit_id,
        subject_id=subject_id,
        after_id=after_id,
        most=limit + 1,
    )
    return page(request, rows, limit, lambda row: (row.id,))


router = Router("/conflicts", route_handlers=[list_conflicts])
