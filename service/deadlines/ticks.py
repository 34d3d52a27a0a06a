"""What the clock wakes: saying what has fallen due, once, whoever else says so at the same time."""

from datetime import datetime, timedelta
from typing import NamedTuple
from uuid import UUID

from msgspec import Struct

from service.kernel.db import Db, Pool
from service.kernel.sql import Queries

sql = Queries(__package__)

# A business's counter row is held while its events are written, and its visits wait for it.
MOST_OF_ONE_BUSINESS = 100
# A wake may bear the instant at which its request came, and be seen when that is done: so far back each tick looks.
SLACK = timedelta(seconds=10)
# What took longer, or came from a machine whose clock is behind, is found by a look from the start.
LOOK_FROM_THE_START = timedelta(minutes=1)


class Looked(NamedTuple):
    """How far one clock has looked: nothing was left at `upto`, and at `anew_at` it last looked from the start."""

    upto: datetime
    anew_at: datetime


class Statement(Struct, frozen=True):
    """What one did, where the next may go on, and whether nothing is left from where it looked."""

    claimed: int
    said: int
    next_at: datetime | None
    next_business: UUID | None
    is_all: bool


async def tick(pool: Pool, now: datetime, limit: int = 1_000) -> int:
    """Say all that is to be said by `now`, `limit` rows a statement; how many. `pool` works as the clock."""
    said, _ = await _say(pool, now, None, limit)
    return said


async def go_on(pool: Pool, now: datetime, looked: Looked | None) -> Looked | None:
    """Say all that is to be said by `now`, passing over what this clock has looked at before; how far it has looked.

    It looks from the start where None is given, once a minute, and after the machine's clock was set back. Nothing
    hangs on what it remembers but the time that a tick takes while an old snapshot is open.
    """
    if looked is not None and not looked.upto <= now < looked.anew_at + LOOK_FROM_THE_START:
        looked = None
    _, is_all = await _say(pool, now, None if looked is None else looked.upto - SLACK)
    if not is_all:
        return looked
    return Looked(now, now if looked is None else looked.anew_at)


async def _say(pool: Pool, now: datetime, since: datetime | None, limit: int = 1_000) -> tuple[int, bool]:
    """How many words were said, and whether nothing is left; the last look is once more from `since`."""
    total = 0
    start: tuple[datetime | None, UUID | None] = since, None
    while True:
        done = await Db(pool).one(
            Statement,
            sql.say_what_is_due,
            now=now,
            since=start[0],
            since_business=start[1],
            most=limit,
            most_of_one=MOST_OF_ONE_BUSINESS,
        )
        total += done.said
        if done.claimed:
            start = done.next_at, done.next_business
        elif start != (since, None):
            start = since, None
        else:
            return total, done.is_all
