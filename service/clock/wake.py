"""The wakes: fixed intervals, in memory; what is due stands in the database, so one missed costs nothing."""

import asyncio
import logging
from collections.abc import Awaitable, Callable, Mapping
from datetime import UTC

from apscheduler.schedulers.asyncio import AsyncIOScheduler  # type: ignore[import-untyped]

from service.deadlines import ticks as deadlines
from service.erasure import ticks as erasure
from service.jobs.door import tell_left_out
from service.kernel.db import LOST, Pool
from service.kernel.now import utc_now
from service.permits.door import permit_anew
from service.records import ticks as records
from service.refusals import ticks as refusals
from service.seals import ticks as seals
from service.visits import ticks as visits
from service.work import ticks as work
from service.work.door import Handler
from service.work.models import LEFT_OUT, PERMIT_ANEW, PROPERTY_ANEW, REFUSALS_AGAIN

log = logging.getLogger("setbook.clock")

EVERY_SECONDS = 1
# pieces of work at once; one that is asked to end does these first
FEW = 10


def handlers(sealing_key: bytes) -> Mapping[str, Handler]:
    """Who does each kind of work; `sealing_key` opens the key that signs records and seals."""
    return {
        **records.handlers(sealing_key),
        **erasure.HANDLERS,
        **refusals.HANDLERS,
        **seals.handlers(sealing_key),
        REFUSALS_AGAIN: visits.refusals_again,
        PROPERTY_ANEW: visits.property_anew,
        LEFT_OUT: tell_left_out,
        PERMIT_ANEW: permit_anew,
    }


async def run(clock_pool: Pool, app_pool: Pool, sealing_key: bytes, stop: asyncio.Event) -> None:
    """Wake the ticks until `stop`, and let those at work end. Any number of clocks may run at once."""
    done_by = handlers(sealing_key)
    looked: deadlines.Looked | None = None

    async def deadlines_fall_due() -> None:
        nonlocal looked
        looked = await deadlines.go_on(clock_pool, utc_now(), looked)

    async def work_is_done() -> None:
        while await work.run(clock_pool, app_pool, utc_now(), done_by, FEW) and not stop.is_set():
            pass

    # a wake that comes while the one before it still works is left out, and that needs no word
    logging.getLogger("apscheduler").setLevel(logging.ERROR)
    scheduler = AsyncIOScheduler(timezone=UTC)
    at_work = {deadlines_fall_due: asyncio.Lock(), work_is_done: asyncio.Lock()}
    for tick, lock in at_work.items():
        scheduler.add_job(
            while_the_database_is_there(tick, lock),
            "interval",
            seconds=EVERY_SECONDS,
            coalesce=True,
            max_instances=1,
            misfire_grace_time=None,
        )
    scheduler.start()
    await stop.wait()
    # the scheduler's own end cancels what is at work
    scheduler.pause()
    await asyncio.sleep(0)  # noqa: TID251 - a turn of the loop, in which those just woken begin
    for lock in at_work.values():
        await lock.acquire()
    scheduler.shutdown()


def while_the_database_is_there(
    tick: Callable[[], Awaitable[None]], at_work: asyncio.Lock
) -> Callable[[], Awaitable[None]]:
    """The tick, with `at_work` held, and a line in the log where the database is away; the next wake tries again."""

    async def guarded() -> None:
        try:
            async with at_work:
                await tick()
        except LOST as lost:
            log.warning("the database is away, trying again: %s", lost)

    return guarded
