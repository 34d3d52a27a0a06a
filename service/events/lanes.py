"""What one courier has out: a lane for each endpoint, in which what was claimed waits for its turn and flies."""

import asyncio
from collections import Counter, deque
from collections.abc import Callable, Collection, Coroutine, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import groupby
from operator import attrgetter
from typing import NamedTuple
from uuid import UUID

from service.events import rules, sender
from service.events.deliveries import (
    FIRST_QUOTA,
    LARGEST_QUOTA,
    LEASE,
    Attempted,
    Claimed,
    Held,
    Receiver,
    Settled,
)
from service.events.signer import Order, Signer, sign
from service.kernel.now import random_bytes, utc_now
from service.kernel.sealing import NotOpened

# To all endpoints at once, and claimed for all.
MOST_IN_AIR, MOST_HELD = 2_000, 8_192
# At once to one endpoint: few until it has shown that it takes them, each that it takes allowing one more.
FIRST_WINDOW, LARGEST_WINDOW = 4, 64
QUOTA_OF_WINDOW = LARGEST_QUOTA // LARGEST_WINDOW
# Lanes with nothing in them are kept for the keys that they know.
MOST_LANES = 10_000
# Room for so many, or for half of a lane, is worth a claim: the rest flies while these are claimed and signed.
MANY = 256
# Settled together, at the latest when a lane is empty or a second has passed.
MOST_LANDED = 256
SPARE_SECONDS = 5.0
# Of one endpoint; fewer are sent before they could be signed ahead.
FEWEST = 16
# So long what was signed together may wait for its turn; then it is signed anew.
FRESH = timedelta(seconds=10)


# what attempts share that got through
DELIVERED = rules.Delivered()


def dice() -> float:
    """Evenly from [0, 1)."""
    return int.from_bytes(random_bytes(4), "big") / 2**32


class Signed(NamedTuple):
    """The headers of a delivery that was signed ahead, when, and for which version of its endpoint."""

    headers: dict[str, str]
    at: datetime
    version: int

    def holds(self, receiver: Receiver, now: datetime) -> bool:
        """Whether a delivery may go out with them; a clock that was put back makes them stale too."""
        return self.version == receiver.version and abs(now - self.at) <= FRESH


async def attempt(
    sessions: sender.Sessions,
    sealing_key: bytes,
    receiver: Receiver,
    claimed: Claimed,
    now: datetime,
    jitter: Callable[[], float],
    timeout_seconds: float = sender.TIMEOUT_SECONDS,
    signed: Signed | None = None,
) -> Attempted:
    """Send one claimed delivery, with no transaction open, and say what follows from it."""
    try:
        if signed is not None and signed.holds(receiver, now):
            headers = signed.headers
        else:
            (headers,) = sign(sealing_key, order_of(receiver, [claimed]), now)
    except NotOpened as closed:
        outcome = rules.Outcome(error=str(closed), sent_at=now, duration_ms=0)
    else:
        outcome = await sender.send(sessions, receiver.url, claimed.body, headers, now, timeout_seconds)
    if outcome.status in rules.TAKEN:
        return Attempted(claimed, outcome, DELIVERED)
    ended = now + timedelta(milliseconds=outcome.duration_ms)
    return Attempted(claimed, outcome, rules.after(claimed.tried, outcome, ended, jitter()))


def order_of(receiver: Receiver, claimed: Sequence[Claimed]) -> Order:
    """What is to be signed for deliveries of one endpoint, at least one."""
    return Order(claimed[0].business_id, receiver.keys, [(str(one.event_id), one.body) for one in claimed])


@dataclass(slots=True)
class Waiting:
    """A claimed delivery that waits for its turn, till a moment of the loop's clock; signed by then."""

    claimed: Claimed
    until: float
    signed: Signed | None = None


@dataclass
class Lane:
    """One endpoint: what waits here and what flies."""

    receiver: Receiver
    waiting: deque[Waiting] = field(default_factory=deque)
    in_air: int = 0
    window: int = FIRST_WINDOW
    failures: int = 0
    # it was given all it may have, so that there may be more
    is_full: bool = False

    @property
    def held(self) -> Held:
        """No more than it can send within the lease if it goes on like this; one where nothing gets through."""
        quota = FIRST_QUOTA if self.window == FIRST_WINDOW else self.window * QUOTA_OF_WINDOW
        quota = 1 if self.is_closed else quota
        return Held(quota, len(self.waiting) + self.in_air)

    def learn(self, attempted: Attempted) -> None:
        """Widen with what gets through, fall back with what fails."""
        if attempted.verdict is DELIVERED:
            self.failures, self.window = 0, min(self.window + 1, LARGEST_WINDOW)
        else:
            self.failures, self.window = self.failures + 1, FIRST_WINDOW

    @property
    def is_closed(self) -> bool:
        """Whether the circuit opens with this, so that nothing more is to be sent."""
        return self.failures >= rules.FAILURES_TO_OPEN


@dataclass
class Air:
    """All lanes of a courier, attempts that ended and are not settled, and claims to hand back.

    `woken` says that there may be something to claim, `ended` that there is something to settle or to hand back.
    """

    sessions: sender.Sessions
    signer: Signer
    woken: asyncio.Event = field(default_factory=asyncio.Event)
    ended: asyncio.Event = field(default_factory=asyncio.Event)
    lanes: dict[UUID, Lane] = field(default_factory=dict)
    landed: list[Attempted] = field(default_factory=list)
    unsent: list[Claimed] = field(default_factory=list)
    flights: set["asyncio.Task[None]"] = field(default_factory=set)
    slots: asyncio.Semaphore = field(default_factory=lambda: asyncio.Semaphore(MOST_IN_AIR))

    def held(self) -> dict[UUID, Held]:
        """What each lane may have and has."""
        return {endpoint_id: lane.held for endpoint_id, lane in self.lanes.items()}

    def unknown(self, claimed: Iterable[Claimed]) -> set[UUID]:
        """Endpoints of which no lane knows that version."""
        return {
            one.endpoint_id
            for one in claimed
            if (lane := self.lanes.get(one.endpoint_id)) is None or lane.receiver.version < one.version
        }

    def know(self, found: Mapping[UUID, Receiver]) -> None:
        """Take up where endpoints are now; what waits for one goes there too."""
        if len(self.lanes) + len(found) > MOST_LANES:
            self.lanes = {id_: lane for id_, lane in self.lanes.items() if lane.held.held}
        for endpoint_id, receiver in found.items():
            self.lanes.setdefault(endpoint_id, Lane(receiver)).receiver = receiver

    def launch(self, claimed: Sequence[Claimed], asked: Mapping[UUID, Held]) -> None:
        """Put what was just claimed into its lanes, let it fly as far as they are wide, and have the rest signed ahead.

        `claimed` comes endpoint by endpoint; `asked` is what the lanes had and might have when it was claimed.
        """
        until = asyncio.get_running_loop().time() + LEASE.total_seconds()
        until -= sender.TIMEOUT_SECONDS + SPARE_SECONDS
        many: list[tuple[Receiver, list[Waiting]]] = []
        for endpoint_id, group in groupby(claimed, attrgetter("endpoint_id")):
            lane = self.lanes.get(endpoint_id)
            if lane is None:
                self.unsent += group  # removed meanwhile
                continue
            ones = [Waiting(one, until) for one in group]
            lane.waiting += ones
            self._open(lane)
            if len(ones) >= FEWEST:
                many.append((lane.receiver, ones))
        if many:
            self._start(self._sign(many))
        given = Counter(one.endpoint_id for one in claimed)
        for endpoint_id, lane in self.lanes.items():
            quota, held = asked.get(endpoint_id, Held(FIRST_QUOTA, 0))
            lane.is_full = held + given[endpoint_id] >= quota
            self._wake_for(lane)

    def _open(self, lane: Lane) -> None:
        for _ in range(min(len(lane.waiting), lane.window - lane.in_air)):
            lane.in_air += 1
            self._start(self._fly(lane))

    def _start(self, flight: Coroutine[None, None, None]) -> None:
        task = asyncio.create_task(flight)
        self.flights.add(task)
        task.add_done_callback(self.flights.discard)

    async def _sign(self, many: Sequence[tuple[Receiver, list[Waiting]]]) -> None:
        """Ahead of their turn; what has its turn before it is signed there."""
        now = utc_now()
        orders = [order_of(to, [one.claimed for one in ones]) for to, ones in many]
        for (to, ones), headers in zip(many, await self.signer.sign(orders, now), strict=True):
            for one, its in zip(ones, headers, strict=False):
                one.signed = Signed(its, now, to.version)

    async def _fly(self, lane: Lane) -> None:
        """Send one after the other out of the lane, until it is empty or narrower than what flies."""
        loop = asyncio.get_running_loop()
        try:
            while lane.waiting and lane.in_air <= lane.window:
                async with self.slots:
                    if not lane.waiting:
                        break
                    one = lane.waiting.popleft()
                    if loop.time() > one.until:
                        self.unsent.append(one.claimed)
                        continue
                    attempted = await attempt(
                        self.sessions,
                        self.signer.sealing_key,
                        lane.receiver,
                        one.claimed,
                        utc_now(),
                        dice,
                        signed=one.signed,
                    )
                self._land(lane, attempted)
        finally:
            lane.in_air -= 1
            self._open(lane)
            self._wake_for(lane)

    def _land(self, lane: Lane, attempted: Attempted) -> None:
        self.landed.append(attempted)
        lane.learn(attempted)
        if lane.is_closed or rules.is_gone(attempted.outcome):
            self.clear(lane)
        self._open(lane)
        self._wake_for(lane)

    def _wake_for(self, lane: Lane) -> None:
        """There is room for more of what may wait, or enough to settle at once."""
        quota, held = lane.held
        if lane.is_full and quota - held >= min(quota // 2, MANY):
            self.woken.set()
        if (held == 0 and self.landed) or len(self.landed) >= MOST_LANDED or self.unsent:
            self.ended.set()

    def clear(self, lane: Lane) -> None:
        """Nothing that waits here is to be sent now."""
        self.unsent += [one.claimed for one in lane.waiting]
        lane.waiting.clear()

    def note(self, settled: Collection[Settled]) -> None:
        """What waits for an endpoint that was amended, paused or rotated meanwhile is to be claimed anew."""
        for one in settled:
            lane = self.lanes.get(one.endpoint_id)
            if lane is not None and lane.receiver.version < one.version:
                self.clear(lane)

    async def end(self, seconds: float) -> None:
        """Send nothing more; give what flies a moment, and leave the rest to its lease."""
        for lane in self.lanes.values():
            self.clear(lane)
        if self.flights:
            await asyncio.wait(self.flights, timeout=seconds)
        flights = list(self.flights)
        for flight in flights:
            flight.cancel()
        await asyncio.gather(*flights, return_exceptions=True)
