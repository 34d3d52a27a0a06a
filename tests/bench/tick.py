"""`tick`: words of the clock a second, against a bare INSERT ... SELECT of the same events into the log's twin."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import UTC, datetime, timedelta
from time import perf_counter
from typing import Any, NamedTuple
from uuid import UUID

import asyncpg

from fixtures.running import Failed
from service.deadlines.door import store
from service.deadlines.models import Derived, KnownBy, RuleApplied, Why
from service.deadlines.ticks import MOST_OF_ONE_BUSINESS, SLACK, Looked, go_on, sql
from service.events.outbox import entry
from service.identity.actions import add_business
from service.kernel.db import Pool, connect, open_pool
from service.kernel.migrate import migrate
from service.server.embedded import running
from tests.bench.book import SET, SETS, a_folder, an_id
from tests.bench.figures import QUICK, Extent, Figures, compared
from tests.http import LOS_ANGELES

Connection = asyncpg.Connection
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
DUE_AT = datetime(2026, 3, 4, 8, tzinfo=UTC)
FEW = 1_000
# rows a statement, as in the clock
MOST = 1_000
# the fill costs more than a round, so there are no more than are wanted
MOST_ROUNDS = 5
SENTENCE = (
    "Look by Wed 4 Mar 2026 00:00 (America/Los_Angeles): placed Mon 2 Mar 09:00; house policy: one look on every "
    "local calendar day."
)


class Size(NamedTuple):
    """How many open deadlines at least, of how many businesses, and how many fall due at once."""

    open: int
    businesses: int
    many: int


def notes(size: Size) -> str:
    """What was measured."""
    return (
        f"{size.open:,} open looks of {size.businesses:,} businesses at least; a tick with {size.many:,} due, of "
        "visits of five sets strewn over the book, at four midnights. The limit, run by a superuser, is one "
        "statement for the same events into a twin of the log with its indexes. few is a tick with 1,000 due "
        "against as many. Buffers are those of EXPLAIN (ANALYZE, BUFFERS) of the clock's statement, without its "
        "planning. old_snapshot: while a transaction that is older than the tick is open; empty ticks there come "
        "20 s after it, from_start is the look that a clock takes once a minute."
    )


def measure(extent: Extent) -> Figures:
    """Ours and the limit in turn, with few and many due."""
    size = Size(100_000, 200, 10_000) if extent is QUICK else Size(1_000_000, 2_000, 100_000)
    with a_folder() as folder, running(folder) as server:
        return asyncio.run(_measure(server.url, size, min(extent.rounds, MOST_ROUNDS)))


async def _measure(url: str, size: Size, rounds: int) -> Figures:
    await migrate(url)
    # one for EXPLAIN and one under the old snapshot, beside those that count
    await _fill(url, size, rounds + 2)
    async with await open_pool(url, "clock", 1) as pool, connect(url) as admin:
        clock = Clock(pool, admin, size.many)
        further = await clock.explained()
        ratios = [await clock.round() for _ in range(rounds)]
        further |= {
            "few_ours": [few.ours for few, _ in ratios],
            "few_limit": [few.limit for few, _ in ratios],
            "few_ratio_to_limit": [few.ours / few.limit for few, _ in ratios],
            "empty_ms": clock.empty_ms,
            "empty_buffers": clock.empty_buffers,
        }
        further |= await clock.under_an_old_snapshot(url)
    return compared("tick", "words a second", [many for _, many in ratios], further, notes(size))


class Rates(NamedTuple):
    """Rows a second."""

    ours: float
    limit: float


class Clock:
    """A clock that goes on from one day to the next; on odd ones few fall due, on even ones many."""

    def __init__(self, pool: Pool, admin: "Connection[asyncpg.Record]", many: int) -> None:
        """`admin` does what the limit does."""
        self.pool, self.admin, self.many = pool, admin, many
        self.now, self.looked = DUE_AT - HOUR, Looked(DUE_AT - HOUR, DUE_AT - HOUR)
        self.empty_ms: list[float] = []
        self.empty_buffers: list[float] = []

    async def round(self) -> tuple[Rates, Rates]:
        """With few and many due; after each a tick with nothing due."""
        return await self._both(FEW), await self._both(self.many)

    async def _both(self, due: int) -> Rates:
        ours = due / await self.seconds(due)
        said_at = self.now
        self.empty_ms.append(1000 * await self.seconds(0))
        self.empty_buffers.append((await self.explain(self.looked.upto - SLACK))[1])
        return Rates(ours, due / await self.limit_seconds(said_at))

    async def seconds(self, due: int) -> float:
        """A tick that has so much to say; with nothing to say it comes a little later than the one before."""
        self.now += DAY if due else 2 * SLACK
        before = await self._told()
        began = perf_counter()
        looked = await go_on(self.pool, self.now, self.looked)
        seconds = perf_counter() - began
        if looked is None or await self._told() != before + due:
            raise Failed(f"{due} words were due, and {await self._told() - before} were said.")
        self.looked = looked
        return seconds

    async def _told(self) -> int:
        return int(await self.admin.fetchval("select sum(value) from setbook.counter where name = 'event'"))

    async def limit_seconds(self, said_at: datetime) -> float:
        """The events of that tick once more, into a table that is as full."""
        await self.admin.execute("truncate bench.staged")
        await self.admin.execute(
            "insert into bench.staged select * from setbook.event where time = $1", said_at
        )
        began = perf_counter()
        await self.admin.execute("insert into bench.twin select * from bench.staged")
        return perf_counter() - began

    async def explain(self, since: datetime | None) -> tuple[int, int, float]:
        """What one statement of a tick says, the buffers that it touches and its milliseconds."""
        before = await self._told()
        text = f"explain (analyze, buffers, format json) {sql.say_what_is_due.text}"
        (answer,) = await self.pool.fetchval(text, self.now, since, None, MOST, MOST_OF_ONE_BUSINESS)
        plan: dict[str, Any] = answer["Plan"]
        touched = plan["Shared Hit Blocks"] + plan["Shared Read Blocks"]
        return await self._told() - before, touched, answer["Execution Time"]

    async def explained(self) -> dict[str, list[float]]:
        """Buffers for each word, of few and of many; what they say is in the twin as well."""
        found = {}
        for name, due in (("few", FEW), ("many", self.many)):
            self.now += DAY
            told = buffers = 0
            while told < due:
                said, touched, _ = await self.explain(None)
                told, buffers = told + said, buffers + touched
            found[f"{name}_buffers_a_word"] = [buffers / due]
            await self.limit_seconds(self.now)
        return found

    async def under_an_old_snapshot(self, url: str) -> dict[str, list[float]]:
        """What somebody's long export or dump costs the clock."""
        async with old_snapshot(url):
            await self.seconds(FEW)
            rate = self.many / await self.seconds(self.many)
            ms = [1000 * await self.seconds(0) for _ in range(5)]
            _, held, _ = await self.explain(self.looked.upto - SLACK)
            _, _, from_start_ms = await self.explain(None)
        _, after, _ = await self.explain(self.looked.upto - SLACK)
        return {
            "old_snapshot_ours": [rate],
            "old_snapshot_empty_ms": ms,
            "old_snapshot_empty_buffers": [held],
            "old_snapshot_from_start_ms": [from_start_ms],
            "empty_buffers_after_old_snapshot": [after],
        }


@asynccontextmanager
async def old_snapshot(url: str) -> AsyncIterator[None]:
    """A reader that still sees every row of now, for as long as the block lasts."""
    async with connect(url) as reader:
        await reader.execute("begin isolation level repeatable read; select from setbook.wake limit 1")
        yield


async def _fill(url: str, size: Size, rounds: int) -> None:
    """Copies of one deadline that the service itself stored, with ids and instants of their own."""
    async with await open_pool(url, "migrator", 1) as migrator:
        business_id, _ = await add_business(migrator, "Example", LOS_ANGELES, DUE_AT - 3 * DAY)
    subject = UUID(an_id(SET, 0))
    async with await open_pool(url, "app", 1) as app, entry(app, business_id, DUE_AT - 2 * DAY) as opened:
        by = KnownBy(worker_id=None, key_id=None)
        await store(opened, ["check"], [subject], [example(subject)], by)
    async with connect(url) as admin:
        await admin.execute("create schema bench; set search_path = setbook; set timezone = 'UTC'")
        await admin.execute(SHEET)
        await admin.execute(BOOKS, size.businesses)
        await admin.execute(COUNTERS)
        visits = (size.open + rounds * (FEW + size.many)) // SETS
        await admin.execute(
            SHEETS, visits, size.businesses, rounds, FEW // SETS, size.many // SETS, DUE_AT, SETS, timeout=600
        )
        for statement in (DEADLINES, WAKES, TWIN, "vacuum analyze wake", "analyze", "checkpoint"):
            await admin.execute(statement)


def example(subject: UUID) -> Derived:
    """An open look at a set, by the house policy."""
    rule = RuleApplied(
        rule="house policy: one look on every local calendar day",
        rule_name="house_policy/calendar_day",
        kind="calendar_day",
        state="practice",
        inputs={"calendar_day": 1},
        due_at=DUE_AT,
    )
    why = Why(
        started_by="placed",
        started_at=DUE_AT - 39 * HOUR,
        zone=LOS_ANGELES,
        rules=[rule],
        winner=rule.rule,
        sentence=SENTENCE,
        notice="Local codes and licensed practice come first.",
    )
    return Derived(
        kind="check",
        subject_id=subject,
        starting_fact_id=subject,
        property_id=subject,
        started_at=why.started_at,
        due_at=DUE_AT,
        state="open",
        why=why,
    )


BOOKS = """
insert into business (business_id, name, zone, created_at, received_at)
select gen_random_uuid(), 'Business ' || n, 'UTC', now(), now() from generate_series(1, $1::int) n
"""
COUNTERS = """
insert into counter (business_id, name, value)
select b.business_id, 'event', 0 from business b
where not exists (select from counter c where c.business_id = b.business_id and c.name = 'event')
"""
# Visits of the businesses come in turn. Which of them fall due together is strewn by a stride that has no common
# divisor with their number; so few, then many, on each of the first days, and the others a hundred days later.
SHEET = """
create unlogged table bench.sheet
    (business_id uuid, id uuid, subject uuid default gen_random_uuid(), due_at timestamptz)
"""
SHEETS = """
with day as (
    select v, case when d.place >= $3::int * ($4::int + $5::int) then 2 * $3::int + 100
                   else d.place / ($4::int + $5::int) * 2 + (d.place % ($4::int + $5::int) >= $4::int)::int end as day
    from generate_series(0, $1::bigint - 1) v cross join lateral (select (v * 7919 + 13) % $1::bigint as place) d
), owner as (
    select business_id, row_number() over (order by business_id) - 1 as n from business where name <> 'Example'
)
insert into bench.sheet (business_id, id, due_at)
select o.business_id, gen_random_uuid(), $6::timestamptz + make_interval(days => day.day::int, hours => (v % 4)::int)
from day join owner o on o.n = v % $2::int cross join generate_series(1, $7::int)
order by v
"""
DEADLINES = """
insert into deadline
select r.* from bench.sheet s cross join deadline d cross join lateral jsonb_populate_record(d, jsonb_build_object(
    'business_id', s.business_id, 'id', s.id, 'subject_id', s.subject, 'starting_fact_id', s.subject,
    'due_at', s.due_at)) r
"""
# its word: the same with other ids and another instant
WAKES = """
insert into wake (business_id, deadline_id, wake_at, due_at, type, subject, event_id, cause, data)
select s.business_id, s.id, s.due_at, s.due_at, 'check.overdue', s.subject, gen_random_uuid(),
       concat_ws('/', 'check.overdue', s.subject, s.id, to_char(s.due_at, 'YYYY-MM-DD"T"HH24:MI:SS.US"Z"'), '', 1),
       replace(replace(replace(w.data::text, w.deadline_id::text, s.id::text), w.subject::text, s.subject::text),
               to_char(w.due_at, 'YYYY-MM-DD"T"HH24:MI:SS"Z"'), to_char(s.due_at, 'YYYY-MM-DD"T"HH24:MI:SS"Z"'))::json
from bench.sheet s cross join wake w
"""
TWIN = """
create table bench.twin (like setbook.event including all);
create unlogged table bench.staged (like setbook.event);
delete from setbook.wake w using setbook.business b where b.business_id = w.business_id and b.name = 'Example'
"""
