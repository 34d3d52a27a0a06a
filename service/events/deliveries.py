"""What the courier does to the tables: number, claim, settle, hand back, pause; no transaction outlives a call."""

from collections.abc import Callable, Collection, Mapping, Sequence
from datetime import datetime, timedelta
from typing import NamedTuple
from uuid import UUID

from msgspec import Struct

from service.events import rules
from service.events.models import DeliveryState, EndpointPaused
from service.events.outbox import Entry, flush
from service.events.signer import SealedKey
from service.kernel.db import Db, Pool, transaction
from service.kernel.now import utc_now
from service.kernel.sql import Queries

sql = Queries(__package__)

# Longer than a claim may wait for its turn and an attempt may take, so that only a dead courier's come up again.
LEASE = timedelta(seconds=60)
# numbered at once, among all endpoints that are behind
MOST_EVENTS = 5_000
MOST_ENDPOINTS = 500
# What an endpoint has at most out at one courier until something got through, and when all goes well. Few at first:
# what is held for receivers that hang is room that all others lack.
FIRST_QUOTA, LARGEST_QUOTA = 8, 1_024
NOTHING = timedelta()


class Claimed(Struct, frozen=True, kw_only=True):
    """One delivery that is ours to send until its lease ends, for the `tried`th time since it was told or replayed.

    `version` is that of its endpoint; what becomes of it counts only while its `fence` stands.
    """

    business_id: UUID
    endpoint_id: UUID
    deliverynumber: int
    fence: int
    tried: int
    version: int
    event_id: UUID
    body: bytes


class Numbered(Struct, frozen=True):
    """How many endpoints moved on in the log, and whether one may be behind still."""

    moved: int
    is_behind: bool


class Held(NamedTuple):
    """Of an endpoint: how many deliveries a courier may have out, and how many it has."""

    quota: int
    held: int


class Receiver(NamedTuple):
    """Where an endpoint's deliveries go, and the keys that sign them."""

    version: int
    url: str
    keys: list[SealedKey]


class Attempted(Struct, frozen=True):
    """One attempt that has ended."""

    claimed: Claimed
    outcome: rules.Outcome
    verdict: rules.Verdict


class Settled(Struct, frozen=True, kw_only=True):
    """The deliveries of one endpoint whose attempts counted, and how the endpoint stands now."""

    business_id: UUID
    endpoint_id: UUID
    deliverynumbers: list[int]
    version: int
    failures: int
    failing_since: datetime | None
    failing_for: timedelta | None


class _Said(Struct, frozen=True, kw_only=True, omit_defaults=True):
    business_id: UUID
    endpoint_id: UUID
    version: int
    deliverynumber: int
    fence: int
    state: DeliveryState
    wait: timedelta
    sent_at: datetime
    status: int | None = None
    error: str | None = None
    duration_ms: int
    answer: bytes | None = None
    spread: float


class _KeyRow(SealedKey, frozen=True, kw_only=True):
    endpoint_id: UUID
    version: int
    url: str


async def fan_out(
    pool: Pool, public_url: str, now: datetime | None = None, *, failing: bool | None = None
) -> Numbered:
    """Number what was told since each endpoint's last one: of those that fail, of the others, or of all."""
    return await Db(pool).one(
        Numbered,
        sql.fan_out,
        now=now,
        public_url=public_url,
        most_events=MOST_EVENTS,
        most_endpoints=MOST_ENDPOINTS,
        failing=failing,
    )


async def claim(
    pool: Pool, limit: int, held: Mapping[UUID, Held] | None = None, now: datetime | None = None
) -> list[Claimed]:
    """Take up to `limit` due deliveries under a lease; `held` is what this courier has out of each endpoint."""
    known = held or {}
    return await Db(pool).many(
        Claimed,
        sql.claim_deliveries,
        now=now,
        lease=LEASE,
        endpoint_ids=list(known),
        quotas=[one.quota for one in known.values()],
        held=[one.held for one in known.values()],
        failures_to_open=rules.FAILURES_TO_OPEN,
        first_quota=FIRST_QUOTA,
        most=limit,
    )


async def receivers(pool: Pool, endpoint_ids: Collection[UUID]) -> dict[UUID, Receiver]:
    """Where these endpoints' deliveries go; none of one that was removed meanwhile."""
    found: dict[UUID, Receiver] = {}
    for row in await Db(pool).many(_KeyRow, sql.list_keys_of_receivers, endpoint_ids=list(endpoint_ids)):
        found.setdefault(row.endpoint_id, Receiver(row.version, row.url, [])).keys.append(row)
    return found


async def settle(
    pool: Pool, attempted: Sequence[Attempted], dice: Callable[[], float], now: datetime | None = None
) -> list[Settled]:
    """Write what came of many attempts in one statement; those whose lease had passed on change nothing.

    `dice`, evenly from [0, 1), varies how long each circuit that opens stays open, so that those that opened together
    do not all try again at once. An endpoint whose receiver is gone, or to which nothing got through for days, is
    paused, each in a transaction of its own.
    """
    if not attempted:
        return []
    settled = await Db(pool).many(
        Settled,
        sql.settle_deliveries,
        now=now,
        failures_to_open=rules.FAILURES_TO_OPEN,
        shortest_open=rules.SHORTEST_OPEN,
        longest_open=rules.LONGEST_OPEN,
        said=[_said(one, 0.5 + dice()) for one in attempted],
    )
    await _pause_hopeless(pool, attempted, settled, now or utc_now())
    return settled


def _said(one: Attempted, spread: float) -> _Said:
    state, wait = _state_after(one.verdict)
    return _Said(
        business_id=one.claimed.business_id,
        endpoint_id=one.claimed.endpoint_id,
        version=one.claimed.version,
        deliverynumber=one.claimed.deliverynumber,
        fence=one.claimed.fence,
        state=state,
        wait=wait,
        sent_at=one.outcome.sent_at,
        status=one.outcome.status,
        error=one.outcome.error,
        duration_ms=one.outcome.duration_ms,
        answer=one.outcome.answer or None,
        spread=spread,
    )


def _state_after(verdict: rules.Verdict) -> tuple[DeliveryState, timedelta]:
    match verdict:
        case rules.Delivered():
            return "delivered", NOTHING
        case rules.Again(wait):
            return "waiting", wait
        case rules.GivenUp():
            return "dead", NOTHING


async def hand_back(pool: Pool, claimed: Sequence[Claimed], now: datetime | None = None) -> None:
    """What was claimed and will not be sent is due as if it had never been claimed."""
    if claimed:
        await Db(pool).run(
            sql.hand_back_deliveries,
            now=now,
            business_ids=[one.business_id for one in claimed],
            endpoint_ids=[one.endpoint_id for one in claimed],
            deliverynumbers=[one.deliverynumber for one in claimed],
            fences=[one.fence for one in claimed],
        )


async def _pause_hopeless(
    pool: Pool, attempted: Sequence[Attempted], settled: Sequence[Settled], now: datetime
) -> None:
    failed = [one for one in attempted if one.verdict != rules.Delivered()]
    if not failed:
        return
    for endpoint in settled:
        counted = {(endpoint.endpoint_id, number) for number in endpoint.deliverynumbers}
        # what an address answered that was amended since says nothing of the new one
        own = [
            one
            for one in failed
            if (one.claimed.endpoint_id, one.claimed.deliverynumber) in counted
            and one.claimed.version == endpoint.version
        ]
        if any(rules.is_gone(one.outcome) for one in own):
            await _pause(pool, endpoint, EndpointPaused(endpoint_id=endpoint.endpoint_id, reason="gone"),
                         rules.GONE_REASON, now)  # fmt: skip
        elif (
            own
            and endpoint.failing_since
            and rules.is_failing_too_long(endpoint.failures, endpoint.failing_for)
        ):
            why = rules.failing_reason(endpoint.failures, endpoint.failing_since, own[-1].outcome.error)
            await _pause(
                pool, endpoint, EndpointPaused(endpoint_id=endpoint.endpoint_id, reason="failing"), why, now
            )


async def _pause(pool: Pool, endpoint: Settled, told: EndpointPaused, reason: str, now: datetime) -> None:
    """Let an endpoint's deliveries wait, and tell so; nothing where it is paused already."""
    async with transaction(pool) as db:
        book = Entry(db, endpoint.business_id, now)
        paused = await db.value(
            sql.pause_endpoint,
            business_id=book.business_id,
            id=endpoint.endpoint_id,
            version=endpoint.version,
            reason=reason,
        )
        if paused is not None:
            book.tell(told, endpoint.endpoint_id)
        await flush(book)
