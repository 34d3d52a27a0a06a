"""What the clock wakes: saying what has fallen due, once, whoever else says so at the same time."""

from datetime import datetime

import asyncpg

from service.kernel.db import Db
from service.kernel.sql import Queries

sql = Queries(__package__)

# A business's counter row is held while its events are written, and its visits wait for it.
MOST_OF_ONE_BUSINESS = 100


async def tick(pool: "asyncpg.Pool[asyncpg.Record]", now: datetime, limit: int = 1_000) -> int:
    """Say all that is to be said by `now`, `limit` rows a statement; how many. `pool` works as the clock."""
    total = 0
    while said := await Db(pool).value(
        sql.say_what_is_due, now=now, most=limit, most_of_one=MOST_OF_ONE_BUSINESS
    ):
        total += said
    return total
