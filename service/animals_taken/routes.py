"""HTTP for the report of animals taken."""

from datetime import date, datetime
from typing import Annotated, Any
from uuid import UUID

from litestar import Request, Response, Router, get
from litestar.params import QueryParameter

from service.animals_taken.models import AnimalsTaken, PermitTaken, TakenRow
from service.animals_taken.rules import as_csv, bounds_in, check_asked, report, within
from service.kernel.days import ONE_DAY
from service.kernel.db import Db, Pool
from service.kernel.errors import Missing, Refused
from service.kernel.http import accepted, route
from service.kernel.sql import Queries
from service.keys.rules import Caller
from service.permits import door as permits
from service.permits.rules import is_nil_due, periods_of

sql = Queries(__package__)
MEDIA = {"application/json": "json", "text/csv": "csv"}
BODIES = {"application/json": AnimalsTaken, "text/csv": str}

FromOn = Annotated[date, QueryParameter(name="from", description="first local date, inclusive")]
UntilOn = Annotated[date, QueryParameter(name="until", description="local date where it ends, exclusive")]
PermitId = Annotated[
    UUID | None, QueryParameter(name="permit", description="only of jobs done under this permit")
]
Within = Annotated[
    str | None, QueryParameter(name="region", description="only in this region or a part of it, ISO 3166-2")
]


@get("/", **route("read", gives=AnimalsTaken, produces=BODIES, refuses=(404, 406)))
async def read_animals_taken(
    request: Request[Any, Any, Any],
    caller: Caller,
    pool: Pool,
    now: datetime,
    from_on: FromOn,
    until_on: UntilOn,
    permit_id: PermitId = None,
    region: Within = None,
) -> Response[Any]:
    """Animals taken on local dates, by species, sex, county, mechanism and fate, each figure with its catches.

    Whole, as JSON or CSV by Accept. With `permit`: also its quota and its reporting periods in these dates.
    """
    check_asked(from_on, until_on, region)
    wanted = accepted(request.headers.get("accept"), MEDIA)
    if wanted is None:
        raise Refused("not_acceptable", f"Animals taken come as {' or '.join(MEDIA)}; ask for one of these.")
    db, business_id = Db(pool), caller.business_id
    permit = None if permit_id is None else await _permit(db, business_id, permit_id, from_on, until_on)
    bounds = bounds_in(from_on, until_on, await db.column(sql.list_zones, business_id=business_id))
    rows = await db.many(
        TakenRow,
        sql.list_rows,
        business_id=business_id,
        zones=[one.zone for one in bounds],
        froms=[one.from_at for one in bounds],
        untils=[one.until_at for one in bounds],
        region=region,
        permit_id=permit_id,
    )
    taken = report(from_on, until_on, region, permit, rows, now)
    if wanted == "csv":
        return Response(as_csv(taken), media_type="text/csv; header=present")
    return Response(taken)


async def _permit(db: Db, business_id: UUID, permit_id: UUID, from_on: date, until_on: date) -> PermitTaken:
    """The permit with what was taken under it, or Missing."""
    found = await permits.reporting(db, business_id, [permit_id])
    if not found:
        raise Missing("This permit")
    (permit,) = found
    packs = permits.packs_of(permit)
    taken = await permits.taken(db, business_id, permit_id)
    return PermitTaken(
        id=permit.id,
        number=permit.number,
        authority=permit.authority,
        region=permit.region,
        from_on=permit.from_on,
        until_on=permit.until_on,
        quota=permit.quota,
        taken=taken,
        left=None if permit.quota is None else permit.quota - taken,
        nil_due=is_nil_due(permit, packs, until_on - ONE_DAY),
        periods=periods_of(permit, packs, within(from_on), within(until_on)),
    )


router = Router("/animals-taken", route_handlers=[read_animals_taken])
