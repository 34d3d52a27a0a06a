"""HTTP for rounds: the day as a phone opens it."""

from datetime import datetime
from typing import Any
from uuid import UUID

from litestar import Request, Response, Router, get

from service.deadlines.why import NOTICE
from service.kernel.db import Db, Pool
from service.kernel.http import read_answer, route, weak_tag
from service.kernel.paging import After, Limit, page, place_after
from service.kernel.sql import Queries
from service.keys.rules import Caller
from service.rounds.models import DeadlineThere, PlaceDue, Round, SetThere
from service.rounds.rules import day_named, end_of, stops
from service.sets.models import IN_THE_GROUND

sql = Queries(__package__)


@get("/{date:str}", **route("read", gives=Round, headers=("ETag", "Link"), status=(200, 304)))
async def read_round(
    request: Request[Any, Any, Any],
    date: str,
    caller: Caller,
    pool: Pool,
    after: After = None,
    limit: Limit = 100,
) -> Response[Any]:
    """Properties where something is due by the end of that date in their zone, the earliest due first.

    What was due before and is still open is in it too, also on a date that has passed.
    """
    day, db, business_id = day_named(date), Db(pool), caller.business_id
    after_due_at, after_property_id = place_after(request, after, datetime, UUID)
    zones = await db.column(sql.list_zones, business_id=business_id)
    places = await db.many(
        PlaceDue,
        sql.list_places,
        business_id=business_id,
        zones=zones,
        ends=[end_of(day, zone) for zone in zones],
        after_due_at=after_due_at,
        after_property_id=after_property_id,
        most=limit + 1,
    )
    listed = page(request, places, limit, lambda place: (place.earliest_due_at, place.property_id))
    here = {
        "business_id": business_id,
        "property_ids": [place.property_id for place in listed.content.items],
    }
    sets = await db.many(SetThere, sql.list_sets, **here, states=IN_THE_GROUND)
    deadlines = await db.many(DeadlineThere, sql.list_deadlines, **here)
    content = Round(
        date=day,
        items=stops(listed.content.items, sets, deadlines),
        notice=NOTICE,
        next=listed.content.next,
    )
    answer = read_answer(request, content, weak_tag(content))
    answer.headers.update(listed.headers)
    return answer


router = Router("/rounds", route_handlers=[read_round])
