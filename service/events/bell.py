"""The bell: one connection of the process listens to the log, and rings for whoever waits for more of a business's."""

import asyncio
import logging
from collections import Counter
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager, contextmanager, suppress
from uuid import UUID
from weakref import WeakValueDictionary

import asyncpg

from service.kernel.db import LOST, Pool

log = logging.getLogger("setbook.bell")

CHANNEL = "setbook_event"
# beneath the notifications: what a connection that has gone silent kept from us is found then
POLL_SECONDS = 15.0
AGAIN_SECONDS = 1.0
# each who waits has a connection of HTTP open, of which a process has about a thousand; none has one of the database
MOST_WAITING = 500
MOST_WAITING_OF_ONE = 50


class Bell:
    """Who waits for which business. A ring says: look again; it may be one too many, never one too few."""

    def __init__(self) -> None:
        """Nobody waits."""
        self.stopped = False
        self._rings: WeakValueDictionary[UUID, asyncio.Event] = WeakValueDictionary()
        self._waiting: Counter[UUID] = Counter()

    def next_ring(self, business_id: UUID) -> asyncio.Event:
        """Set by the next ring; take it before you look, so that nothing comes in between unheard."""
        return self._rings.setdefault(business_id, asyncio.Event())

    def ring(self, business_id: UUID) -> None:
        """Something was told in that business."""
        heard = self._rings.pop(business_id, None)
        if heard is not None:
            heard.set()

    def ring_all(self) -> None:
        """Something may have been told anywhere."""
        for business_id in list(self._rings):
            self.ring(business_id)

    def stop(self) -> None:
        """The process ends: nobody is to wait any more."""
        self.stopped = True
        self.ring_all()

    def has_room(self, business_id: UUID) -> bool:
        """Whether one more may wait, here and in that business."""
        room = self._waiting[business_id] < MOST_WAITING_OF_ONE and self._waiting.total() < MOST_WAITING
        return room and not self.stopped

    @contextmanager
    def waiting(self, business_id: UUID) -> Iterator[None]:
        """Counts one who waits while the block runs."""
        self._waiting[business_id] += 1
        try:
            yield
        finally:
            self._waiting[business_id] -= 1
            self._waiting += Counter()  # forgets those that are at zero


async def within(event: asyncio.Event, seconds: float) -> bool:
    """Whether it is set before so many seconds have passed."""
    with suppress(TimeoutError):
        return await asyncio.wait_for(event.wait(), seconds)
    return False


async def toll(bell: Bell, pool: Pool) -> None:
    """Ring at every event that is committed, until cancelled; a lost connection is made anew."""
    while True:
        try:
            async with listening(pool, lambda business_id: bell.ring(UUID(business_id))) as (ear, ended):
                while True:
                    bell.ring_all()
                    if await within(ended, POLL_SECONDS):
                        raise ConnectionError("the connection that listens has ended")
                    await ear.fetchval("select 1", timeout=POLL_SECONDS)
        except LOST as lost:
            log.warning("the log is not heard for a moment: %s", lost)
        await within(asyncio.Event(), AGAIN_SECONDS)


@asynccontextmanager
async def listening(
    pool: Pool, hear: Callable[[str], None]
) -> AsyncIterator[tuple["asyncpg.Connection[asyncpg.Record]", asyncio.Event]]:
    """Calls `hear` with the business's id at each commit that tells; yields the ear, and what is set at its end."""
    ended = asyncio.Event()
    async with pool.acquire() as ear:
        ear.add_termination_listener(lambda _: ended.set())
        try:
            await ear.add_listener(CHANNEL, lambda *said: hear(str(said[-1])))
            yield ear, ended  # type: ignore[misc]
        finally:
            # what it listens to ends with it; asking politely might take for ever
            ear.terminate()
