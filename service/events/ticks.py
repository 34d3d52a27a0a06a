"""The courier: numbers what each endpoint is to get, claims what is due, sends it and settles the outcome."""

import asyncio
import logging
from collections import Counter
from collections.abc import AsyncIterator, Mapping, Sequence
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from uuid import UUID

import asyncpg
from msgspec import Struct

from service.events import rules, sender
from service.events.addresses import Reach
from service.events.models import EndpointPaused, LoggedEvent
from service.events.outbox import Entry, flush
from service.kernel.db import Db, Pool, transaction
from service.kernel.now import random_bytes, utc_now
from service.kernel.sealing import NotOpened, unseal
from service.kernel.sql import Queries

sql = Queries(__package__)
log = logging.getLogger("setbook.courier")

# longer than an attempt can take, so that only a dead courier's deliveries come up again
LEASE = timedelta(seconds=60)
MOST_EVENTS = 1_000
MOST_ENDPOINTS = 500
MOST_IN_AIR = 512
MOST_IN_AIR_TO_ONE = 64
POLL_SECONDS = 1.0
LANDING_SECONDS = 5.0
GONE_REASON = "The receiver answered 410 Gone: it wants no more deliveries; resume the endpoint to go on."

# the last is what asyncpg raises where the connection ends in the middle of a call
LOST = (OSError, asyncpg.PostgresError, asyncpg.InterfaceError, asyncpg.InternalClientError)


class Claimed(LoggedEvent, frozen=True, kw_only=True):
    """One delivery that is ours to send until its lease ends, with the event and where it goes."""

    endpoint_id: UUID
    deliverynumber: int
    attempt: int
    url: str
    secret_sealed: bytes


class Attempted(Struct, frozen=True):
    """One attempt that has ended."""

    claimed: Claimed
    outcome: rules.Outcome
    verdict: rules.Verdict


class Settled(Struct, frozen=True):
    """A delivery whose attempt counted."""

    endpoint_id: UUID
    deliverynumber: int


async def fan_out(pool: Pool, now: datetime) -> int:
    """Number deliveries of what was told since each endpoint's last one; how many endpoints moved on."""
    moved: int = await Db(pool).value(
        sql.fan_out, now=now, most_events=MOST_EVENTS, most_endpoints=MOST_ENDPOINTS
    )
    return moved


async def claim(
    pool: Pool, now: datetime, limit: int, in_air: Mapping[UUID, int] | None = None
) -> list[Claimed]:
    """Take up to `limit` due deliveries under a lease; `in_air` is how many each endpoint already has out."""
    counts = in_air or {}
    return await Db(pool).many(
        Claimed,
        sql.claim_deliveries,
        now=now,
        lease_until=now + LEASE,
        endpoint_ids=list(counts),
        in_air=list(counts.values()),
        most_of_one=MOST_IN_AIR_TO_ONE,
        most=limit,
    )


async def attempt(
    sessions: sender.Sessions,
    sealing_key: bytes,
    public_url: str,
    claimed: Claimed,
    now: datetime,
    jitter: float,
    timeout_seconds: float = sender.TIMEOUT_SECONDS,
) -> Attempted:
    """Send one claimed delivery, with no transaction open, and say what follows from it."""
    try:
        key = unseal(sealing_key, claimed.secret_sealed, claimed.business_id, claimed.endpoint_id)
    except NotOpened as closed:
        outcome = rules.Outcome(error=str(closed), duration_ms=0)
    else:
        outcome = await sender.send(
            sessions, claimed.url, claimed, public_url, claimed.deliverynumber, key, now, timeout_seconds
        )
    ended = now + timedelta(milliseconds=outcome.duration_ms)
    return Attempted(claimed, outcome, rules.after(claimed.attempt, outcome, ended, jitter))


async def settle(pool: Pool, attempted: Sequence[Attempted], now: datetime) -> list[Settled]:
    """Write what came of many attempts in one statement; those whose lease had passed on change nothing.

    An endpoint whose receiver is gone is paused, each in a transaction of its own.
    """
    if not attempted:
        return []
    rows = [(one.claimed, one.outcome, *_state_after(one.verdict, now)) for one in attempted]
    settled = await Db(pool).many(
        Settled,
        sql.settle_deliveries,
        now=now,
        business_ids=[claimed.business_id for claimed, *_ in rows],
        endpoint_ids=[claimed.endpoint_id for claimed, *_ in rows],
        deliverynumbers=[claimed.deliverynumber for claimed, *_ in rows],
        attempts=[claimed.attempt for claimed, *_ in rows],
        states=[state for *_, state, _ in rows],
        due_ats=[due_at for *_, due_at in rows],
        statuses=[outcome.status for _, outcome, *_ in rows],
        errors=[outcome.error for _, outcome, *_ in rows],
        durations_ms=[outcome.duration_ms for _, outcome, *_ in rows],
    )
    counted = set(settled)
    for one in attempted:
        key = Settled(one.claimed.endpoint_id, one.claimed.deliverynumber)
        if rules.is_gone(one.outcome) and key in counted:
            await _pause(pool, one.claimed, now)
    return settled


def _state_after(verdict: rules.Verdict, now: datetime) -> tuple[str, datetime]:
    match verdict:
        case rules.Delivered():
            return "delivered", now
        case rules.Again(at):
            return "waiting", at
        case rules.GivenUp():
            return "dead", now


async def _pause(pool: Pool, claimed: Claimed, now: datetime) -> None:
    """Let an endpoint's deliveries wait, and tell so; nothing where it is paused already."""
    async with transaction(pool) as db:
        book = Entry(db, claimed.business_id, now)
        paused = await db.value(
            sql.pause_endpoint, business_id=book.business_id, id=claimed.endpoint_id, reason=GONE_REASON
        )
        if paused is not None:
            book.tell(EndpointPaused(endpoint_id=claimed.endpoint_id, reason="gone"), claimed.endpoint_id)
        await flush(book)


@dataclass
class Air:
    """What one courier has out: attempts under way, those ended and not yet settled, and what wakes it."""

    sessions: sender.Sessions
    sealing_key: bytes
    public_url: str
    woken: asyncio.Event = field(default_factory=asyncio.Event)
    flying: dict["asyncio.Task[Attempted]", UUID] = field(default_factory=dict)
    landed: list[Attempted] = field(default_factory=list)

    def launch(self, claimed: Claimed) -> None:
        """Send one in a task of its own."""
        jitter = int.from_bytes(random_bytes(4), "big") / 2**32
        flight = asyncio.create_task(
            attempt(self.sessions, self.sealing_key, self.public_url, claimed, utc_now(), jitter)
        )
        self.flying[flight] = claimed.endpoint_id
        flight.add_done_callback(self._land)

    def _land(self, flight: "asyncio.Task[Attempted]") -> None:
        del self.flying[flight]
        if not flight.cancelled():
            self.landed.append(flight.result())
        self.woken.set()


async def run(pool: Pool, sealing_key: bytes, public_url: str, reach: Reach, stop: asyncio.Event) -> None:
    """Deliver until `stop`; woken by the log's notifications, with a poll beneath them.

    `pool` works as the courier role; receivers find the schemas at `public_url`. Any number may run at once. While
    the database is away it waits for it; what was sent meanwhile is settled when it is back.
    """
    async with sender.open_sessions(reach) as sessions, asyncio.TaskGroup() as watch:
        air = Air(sessions, sealing_key, public_url)
        stopped = watch.create_task(_wake_at(stop, air.woken))
        while not stop.is_set():
            try:
                await _deliver(pool, air, stop)
            except LOST as lost:
                log.warning("the database is away, trying again: %s", lost)
                with suppress(TimeoutError):
                    await asyncio.wait_for(stop.wait(), POLL_SECONDS)
        await stopped
        await _land_all(pool, air)


async def _deliver(pool: Pool, air: Air, stop: asyncio.Event) -> None:
    """One round after another, as long as the database is there."""
    async with listening(pool, air.woken) as broken:
        while not stop.is_set():
            air.woken.clear()
            if broken.is_set():
                raise ConnectionError("the connection that listens has ended")
            moved = await _round(pool, air)
            if not moved:
                with suppress(TimeoutError):
                    await asyncio.wait_for(air.woken.wait(), POLL_SECONDS)


async def _round(pool: Pool, air: Air) -> int:
    """Settle what landed, fan out what was told, claim and launch what is due."""
    await _settle_landed(pool, air)
    moved = await fan_out(pool, utc_now())
    room = MOST_IN_AIR - len(air.flying)
    for claimed in await claim(pool, utc_now(), room, Counter(air.flying.values())):
        air.launch(claimed)
    return moved


async def _settle_landed(pool: Pool, air: Air) -> None:
    landed = air.landed.copy()
    await settle(pool, landed, utc_now())
    del air.landed[: len(landed)]


async def _land_all(pool: Pool, air: Air) -> None:
    """At the end: give what is under way a moment, settle it, and leave the rest to its lease."""
    if air.flying:
        await asyncio.wait(list(air.flying), timeout=LANDING_SECONDS)
    for flight in list(air.flying):
        flight.cancel()
    try:
        await _settle_landed(pool, air)
    except LOST as lost:
        log.warning("the database is away; deliveries just sent will be sent again: %s", lost)


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
