"""The courier: numbers what each endpoint is to get, claims what is due, sends it and settles the outcome."""

import asyncio
import logging
from collections.abc import AsyncIterator, Collection
from contextlib import asynccontextmanager, suppress

import asyncpg

from service.events import deliveries, sender
from service.events.addresses import Network
from service.events.lanes import MOST_HELD, Air, dice
from service.kernel.db import Pool

log = logging.getLogger("setbook.courier")

MOST_CLAIMED = 1_000
POLL_SECONDS = 1.0
LANDING_SECONDS = 5.0

# the last is what asyncpg raises where the connection ends in the middle of a call
LOST = (OSError, asyncpg.PostgresError, asyncpg.InterfaceError, asyncpg.InternalClientError)


async def run(
    pool: Pool, sealing_key: bytes, public_url: str, networks: Collection[Network], stop: asyncio.Event
) -> None:
    """Deliver until `stop`; woken by the log's notifications, with a poll beneath them.

    `pool` works as the courier role; receivers find the schemas at `public_url`. Any number may run at once. While
    the database is away it waits for it; what was sent meanwhile is settled when it is back.
    """
    async with sender.open_sessions(networks) as sessions, asyncio.TaskGroup() as watch:
        air = Air(sessions, sealing_key)
        stopped = watch.create_task(_wake_at(stop, air.woken))
        while not stop.is_set():
            try:
                await _deliver(pool, air, public_url, stop)
            except LOST as lost:
                log.warning("the database is away, trying again: %s", lost)
                with suppress(TimeoutError):
                    await asyncio.wait_for(stop.wait(), POLL_SECONDS)
        await stopped
        await air.end(LANDING_SECONDS)
        try:
            await _settle(pool, air)
        except LOST as lost:
            log.warning("the database is away; deliveries just sent will be sent again: %s", lost)


async def _deliver(pool: Pool, air: Air, public_url: str, stop: asyncio.Event) -> None:
    """One round after another, as long as the database is there."""
    async with listening(pool, air.woken) as broken:
        while not stop.is_set():
            air.woken.clear()
            if broken.is_set():
                raise ConnectionError("the connection that listens has ended")
            if not await _round(pool, air, public_url):
                with suppress(TimeoutError):
                    await asyncio.wait_for(air.woken.wait(), POLL_SECONDS)


async def _round(pool: Pool, air: Air, public_url: str) -> bool:
    """Settle what landed, fan out what was told, claim and launch what is due; whether there may be more at once."""
    await _settle(pool, air)
    moved = await deliveries.fan_out(pool, public_url)
    held = air.held()
    room = min(MOST_CLAIMED, MOST_HELD - sum(one.held for one in held.values()))
    claimed = await deliveries.claim(pool, room, held)
    unknown = air.unknown(claimed)
    if unknown:
        air.know(await deliveries.receivers(pool, unknown))
    air.launch(claimed)
    return moved > 0 or len(claimed) == MOST_CLAIMED


async def _settle(pool: Pool, air: Air) -> None:
    """Each list keeps what could not be written."""
    landed = air.landed.copy()
    air.note(await deliveries.settle(pool, landed, 0.5 + dice()))
    del air.landed[: len(landed)]
    unsent = air.unsent.copy()
    await deliveries.hand_back(pool, unsent)
    del air.unsent[: len(unsent)]


async def _wake_at(stop: asyncio.Event, woken: asyncio.Event) -> None:
    await stop.wait()
    woken.set()


@asynccontextmanager
async def listening(pool: Pool, woken: asyncio.Event) -> AsyncIterator[asyncio.Event]:
    """Sets `woken` at each committed event; yields what is set when the connection that hears them ends."""
    broken = asyncio.Event()

    def wake(*_: object) -> None:
        woken.set()

    def end(_: object) -> None:
        broken.set()
        woken.set()

    async with pool.acquire() as ear:
        await ear.add_listener("setbook_event", wake)
        ear.add_termination_listener(end)
        try:
            yield broken
        finally:
            if not broken.is_set():
                ear.remove_termination_listener(end)
                await ear.remove_listener("setbook_event", wake)
