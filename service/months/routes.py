"""HTTP for months: the manager's figures."""

from datetime import datetime

import msgspec
from litestar import Router, get

from service.kernel.db import Db, Pool
from service.kernel.http import route
from service.kernel.sql import Queries
from service.keys.rules import Caller
from service.months.models import FigureRow, MonthSummary, PropertyRow, RecordRow
from service.months.rules import bounds_in, month_named, summary

sql = Queries(__package__)


@get("/{month:str}", **route("read", gives=MonthSummary))
async def read_month(month: str, caller: Caller, pool: Pool, now: datetime) -> MonthSummary:
    """What was done where in `YYYY-MM`, what was caught, which turf was saved, what is overdue now.

    A fact belongs to the month of its own instant in its property's zone, a record to that of the arrival.
    """
    named = month_named(month)
    db, business_id = Db(pool), caller.business_id
    properties = await db.many(PropertyRow, sql.list_properties, business_id=business_id)
    bounds = bounds_in(named, sorted({one.zone for one in properties}))
    figures = await db.many(
        FigureRow,
        sql.list_figures,
        business_id=business_id,
        zones=[one.zone for one in bounds],
        froms=[one.from_at for one in bounds],
        untils=[one.until_at for one in bounds],
        now=now,
    )
    records = await db.many(
        RecordRow, sql.list_records, business_id=business_id, **msgspec.structs.asdict(named)
    )
    return summary(named, properties, figures, records, now)


router = Router("/months", route_handlers=[read_month])
