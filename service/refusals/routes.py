"""HTTP for refusals: what phones sent that was refused, and why."""

from typing import Annotated, Any
from uuid import UUID

from litestar import Request, Response, Router, get
from litestar.params import Parameter

from service.kernel.db import Db, Pool
from service.kernel.errors import Missing
from service.kernel.http import route
from service.kernel.paging import After, Limit, Page, page, place_after
from service.keys.rules import Caller
from service.refusals.door import sql
from service.refusals.models import Refusal, RefusalRow, RefusedBody

Open = Annotated[bool | None, Parameter(description="true: not yet accepted; false: accepted")]


@get("/", **route("read", gives=Page[Refusal], headers=("Link",)))
async def list_refusals(
    request: Request[Any, Any, Any],
    caller: Caller,
    pool: Pool,
    open: Open = None,  # noqa: A002 - the parameter's name in the API
    after: After = None,
    limit: Limit = 100,
) -> Response[Page[Refusal]]:
    """Refused bodies, oldest first, kept for 90 days."""
    (after_id,) = place_after(request, after, UUID)
    rows = await Db(pool).many(
        Refusal,
        sql.list_refusals,
        business_id=caller.business_id,
        open=open,
        after_id=after_id,
        most=limit + 1,
    )
    return page(request, rows, limit, lambda row: (row.id,))


@get("/{refusal_id:uuid}", **route("read", gives=RefusedBody))
async def read_refusal(refusal_id: UUID, caller: Caller, pool: Pool) -> RefusedBody:
    """One refusal, with the text that was sent."""
    found = await Db(pool).maybe(RefusalRow, sql.read_refusal, business_id=caller.business_id, id=refusal_id)
    if found is None:
        raise Missing("This refusal")
    return found.shown()


router = Router("/refusals", route_handlers=[list_refusals, read_refusal])
