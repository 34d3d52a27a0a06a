"""The courier: numbers what each endpoint is to get, claims what is due, sends it and settles the outcome."""

import asyncio
import logging
from collections.abc import Awaitable, Callable, Sequence
from functools import partial

from service.events import deliveries, sender
from service.events.addresses import Reach
from service.events.bell import listening, within
from service.events.deliveries import Attempted, Settled
from service.events.lanes import MOST_HELD, Air, dice
from service.events.signer import signing
from service.kernel.db import LOST, UNFIT, Pool

log = logging.getLogger("setbook.courier")

MOST_CLAIMED = 1_000
POLL_SECONDS = 1.0
LANDING_SECONDS = 5.0
# A statement for each attempt would be what others wait for.
GATHER_SECONDS = 0.02


async def run(pool: Pool, sealing_key: bytes, public_url: str, reach: Reach, stop: asyncio.Event) -> None:
    """Deliver until `stop`; woken by the log's notifications, with a poll beneath them.

    `pool` works as the courier role; receivers find the schemas at `public_url`. Any number may run at once. While
    the database is away it waits for it; what was sent meanwhile is settled when it is back.
    """
    async with sender.open_sessions(reach) as sessions, signing(sealing_key) as signer:
        air = Air(sessions, signer)
        async with asyncio.TaskGroup() as loops:
            loops.create_task(
                _while_the_database_is_there(partial(_launch, pool, air, public_url, stop), stop)
            )
            loops.create_task(
                _while_the_database_is_there(partial(_number_failing, pool, air, public_url, stop), stop)
            )
            loops.create_task(_while_the_database_is_there(partial(_land, pool, air, stop), stop))
            await stop.wait()
            air.woken.set()
            air.ended.set()
        await air.end(LANDING_SECONDS)
        try:
            await _settle(pool, air)
        except LOST as lost:
            log.warning("the database is away; deliveries just sent will be sent again: %s", lost)


async def _while_the_database_is_there(work: Callable[[], Awaitable[None]], stop: asyncio.Event) -> None:
    """Begin the work anew whenever the database is back, until `stop`."""
    while not stop.is_set():
        try:
            await work()
        except LOST as lost:
            log.warning("the database is away, trying again: %s", lost)
            await within(stop, POLL_SECONDS)


async def _launch(pool: Pool, air: Air, public_url: str, stop: asyncio.Event) -> None:
    """One round of claims after another: at each event, when there is room for more, and at each poll."""
    async with listening(pool, lambda _: air.woken.set()) as (_, ended):
        while not stop.is_set():
            air.woken.clear()
            if ended.is_set():
                raise ConnectionError("the connection that listens has ended")
            if not await _round(pool, air, public_url):
                await within(air.woken, POLL_SECONDS)


async def _number_failing(pool: Pool, air: Air, public_url: str, stop: asyncio.Event) -> None:
    """Endpoints that fail get their numbers once a second, beside the rounds: no others wait for these many."""
    while not stop.is_set():
        if (await deliveries.fan_out(pool, public_url, failing=True)).moved:
            air.woken.set()
        await within(stop, POLL_SECONDS)


async def _round(pool: Pool, air: Air, public_url: str) -> bool:
    """Fan out to those that do not fail, claim and launch what is due; whether there may be more at once."""
    numbered = await deliveries.fan_out(pool, public_url, failing=False)
    held = air.held()
    room = MOST_HELD - sum(one.held for one in held.values())
    claimed = await deliveries.claim(pool, max(0, min(MOST_CLAIMED, room)), held)
    unknown = air.unknown(claimed)
    if unknown:
        air.know(await deliveries.receivers(pool, unknown))
    air.launch(claimed, held)
    return numbered.is_behind or len(claimed) == MOST_CLAIMED


async def _land(pool: Pool, air: Air, stop: asyncio.Event) -> None:
    """Settle what ended, when there is enough of it and at each poll; what ends at about the same time together."""
    while not stop.is_set():
        air.ended.clear()
        await _settle(pool, air)
        await within(air.ended, POLL_SECONDS)
        await within(stop, GATHER_SECONDS)


async def _settle(pool: Pool, air: Air) -> None:
    """What ended is kept where it could not be written; what could not be handed back is left to its lease.

    To hand back a second time what another may have claimed meanwhile would take it out of the other's hand.
    """
    landed = air.landed.copy()
    air.note(await _settle_all(pool, landed))
    del air.landed[: len(landed)]
    unsent, air.unsent = air.unsent, []
    await deliveries.hand_back(pool, unsent)


async def _settle_all(pool: Pool, landed: Sequence[Attempted]) -> list[Settled]:
    """All at once, or one by one where the database does not take one of them; that one is left to its lease."""
    try:
        return await deliveries.settle(pool, landed, dice)
    except UNFIT as unfit:
        if len(landed) == 1:
            which = landed[0].claimed
            log.error(  # noqa: TRY400  where it was raised says nothing
                "delivery %d of endpoint %s cannot be settled and will be sent again: %s",
                which.deliverynumber,
                which.endpoint_id,
                unfit,
            )
            return []
    return [settled for one in landed for settled in await _settle_all(pool, [one])]
