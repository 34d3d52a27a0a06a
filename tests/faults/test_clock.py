"""The clock: killed in mid-tick, away while things fall due, and patient with phones that bring weeks at once."""

import asyncio
import random
import signal
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack, asynccontextmanager
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import asyncpg
import pytest

from service.deadlines.ticks import tick
from service.kernel.db import Pool, connect, prepare_connection
from service.kernel.now import utc_now
from tests.bodies import a_check, a_set, a_sign, a_visit, an_id
from tests.books import gaps
from tests.http import Api, Clock
from tests.processes import PATIENCE_SECONDS, Process, setbook, until

MINUTE, DAY = timedelta(minutes=1), timedelta(days=1)
# More than one statement of a tick says of one business.
VISITS, SETS_OF_ONE = 4, 60

# A clock in mid-tick waits for the counter of the log; one that has ticked is idle again. Another test may run clocks
# of the same names on the same server.
IS_BLOCKED = """select exists (select from pg_stat_activity
    where application_name = $1 and $2 = any (pg_blocking_pids(pid)))"""
HAS_TICKED = """select exists (select from pg_stat_activity where datname = current_database()
    and application_name = $1 and state = 'idle' and query like '%claimed as materialized%')"""
END_SESSIONS = """select pg_terminate_backend(pid) from pg_stat_activity
    where datname = current_database() and application_name = $1"""

Connection = asyncpg.Connection


@asynccontextmanager
async def connected(database: str) -> "AsyncIterator[Connection[asyncpg.Record]]":
    """One more connection that sees every row."""
    async with connect(database) as opened:
        await opened.execute("set search_path = setbook")
        await prepare_connection(opened)
        yield opened


@asynccontextmanager
async def ticking(database: str, folder: Path, name: str) -> AsyncIterator[Process]:
    """A clock in a process of its own, whose sessions bear its name."""
    url = f"{database}{'&' if '?' in database else '?'}application_name={name}"
    log = folder / f"{name}.log"
    async with setbook(log, "serve", "--role", "clock", SETBOOK_DATABASE_URL=url) as process:
        yield process


async def send(api: Api, clock: Clock, visit: dict[str, Any], now: datetime) -> None:
    """The phone brings the visit at that instant."""
    clock.now = now
    answer = await api.post("visits", visit)
    assert answer.status_code == 201, answer.text


async def place_many(api: Api, clock: Clock, at: datetime) -> None:
    """Sets that nobody will look at, known at once; the ids are the same in every business."""
    for number in range(VISITS):
        ids = [an_id(0x1000 + number * SETS_OF_ONE + one) for one in range(SETS_OF_ONE)]
        placed = [a_set(id=set_id, placed_at=at.isoformat()) for set_id in ids]
        visit = a_visit(id=an_id(0x100 + number), arrived_at=at.isoformat(), sets=placed)
        await send(api, clock, visit, at + MINUTE)


async def hear(owner: "Connection[asyncpg.Record]", told: asyncio.Event, count: int) -> None:
    """Wait until so many words of the clock are in the log; `told` is set at each commit."""
    async with asyncio.timeout(PATIENCE_SECONDS):
        while await owner.fetchval("select count(*) from event where cause is not null") < count:
            await told.wait()
            told.clear()


@pytest.mark.parametrize("dies", ["machine", "process"])
async def test_of_four_clocks_one_is_killed_in_mid_tick_and_each_word_is_said_once(
    api: Api,
    other: Api,
    clock: Clock,
    database: str,
    owner: "Connection[asyncpg.Record]",
    tmp_path: Path,
    dies: str,
) -> None:
    at = utc_now() - 4 * DAY
    for business in (api, other):
        await place_many(business, clock, at)
    told = asyncio.Event()
    async with AsyncExitStack() as stack:
        holder, ear = [await stack.enter_async_context(connected(database)) for _ in range(2)]
        await ear.add_listener("setbook_event", lambda *_: told.set())
        await holder.execute("begin; select from counter where name = 'event' for update")
        first = await stack.enter_async_context(ticking(database, tmp_path, "first"))
        await until(lambda: owner.fetchval(IS_BLOCKED, "first", holder.get_server_pid()), first)
        for name in ("second", "third", "fourth"):
            await stack.enter_async_context(ticking(database, tmp_path, name))
        for name in ("second", "third", "fourth"):
            await until(lambda name=name: owner.fetchval(HAS_TICKED, name), first)
        first.kill()
        assert await first.wait() == -signal.SIGKILL
        # with its machine the connection is gone; else the server ends the statement and learns it then
        if dies == "machine":
            await owner.execute(END_SESSIONS, "first")
        await holder.execute("rollback")
        await hear(owner, told, 2 * VISITS * SETS_OF_ONE)
    await each_said_once_with_its_true_instant(owner)
    assert await owner.fetchval("select count(*) from wake") == 0
    for business in (api, other):
        assert await gaps(owner, business.business_id) == []


async def test_a_clock_that_is_asked_to_end_ends_what_it_is_at_first(
    api: Api, clock: Clock, database: str, owner: "Connection[asyncpg.Record]", tmp_path: Path
) -> None:
    await place_many(api, clock, utc_now() - 4 * DAY)
    async with connected(database) as holder, ticking(database, tmp_path, "asked") as asked:
        await holder.execute("begin; select from counter where name = 'event' for update")
        await until(lambda: owner.fetchval(IS_BLOCKED, "asked", holder.get_server_pid()), asked)
        asked.terminate()
        end = asyncio.ensure_future(asked.wait())
        ended, _ = await asyncio.wait([end], timeout=1)
        assert not ended, (tmp_path / "asked.log").read_text()
        await holder.execute("rollback")
        assert await end == 0
    assert "Traceback" not in (tmp_path / "asked.log").read_text()
    assert await owner.fetchval("select count(*) from event where cause is not null") > 0


async def each_said_once_with_its_true_instant(owner: "Connection[asyncpg.Record]") -> None:
    """Every deadline has one word, check.overdue, which names the instant at which it fell due, days before."""
    events = await owner.fetch("select type, time, data, cause from event where cause is not null")
    assert {event["type"] for event in events} == {"check.overdue"}
    assert len({event["cause"] for event in events}) == len(events) == 2 * VISITS * SETS_OF_ONE
    said = {event["data"]["deadline_id"]: datetime.fromisoformat(event["data"]["due_at"]) for event in events}
    rows = await owner.fetch("select id, due_at from deadline")
    assert said == {str(row["id"]): row["due_at"] for row in rows}
    assert not any(event["data"].get("known_late") for event in events)
    assert all(event["time"] - said[event["data"]["deadline_id"]] > DAY for event in events)


async def test_after_an_outage_all_that_fell_due_is_said_late_with_its_true_instant(
    api: Api, clock: Clock, clock_pool: Pool
) -> None:
    # Los Angeles, UTC-8
    at = "2026-03-02T09:00:00-08:00"
    first = a_visit(
        id=an_id(0x100),
        arrived_at=at,
        surveys=[{"id": an_id(60), "surveyed_at": "2026-03-02T08:00:00-08:00", "fresh_signs": 0}],
        signs=[
            a_sign(seen_at=at, on_turf=True),
            a_sign(id=an_id(21), kind="surface_run", seen_at=at, on_turf=False),
        ],
        tampings=[{"id": an_id(61), "sign_id": an_id(21), "tamped_at": at}],
        sets=[a_set(placed_at=at), a_set(id=an_id(31), placed_at=at)],
        checks=[a_check(set_id=an_id(31), checked_at="2026-03-02T09:30:00-08:00", finding="missing")],
    )
    known = datetime.fromisoformat(at) + timedelta(hours=1)
    await send(api, clock, first, known)
    # the clock wakes nine days later
    assert await tick(clock_pool, known + 9 * DAY) == 4
    told = await api.told("check.*", "lawn.*", "run.*", "set.search_due")
    assert sorted((one["type"], one["data"]["due_at"]) for one in told) == [
        ("check.overdue", "2026-03-04T08:00:00Z"),
        ("lawn.overdue", "2026-03-05T16:00:00Z"),
        ("run.look_due", "2026-03-04T08:00:00Z"),
        ("set.search_due", "2026-03-04T08:00:00Z"),
    ]
    assert {one["time"] for one in told} == {"2026-03-11T18:00:00Z"}
    assert await tick(clock_pool, known + 10 * DAY) == 0


def six_weeks(until_at: datetime) -> list[dict[str, Any]]:
    """A set, and a look at it on each of the next 42 days, the last one at `until_at`."""
    began = until_at - 42 * DAY
    visits = [
        a_visit(id=an_id(0x100), arrived_at=began.isoformat(), sets=[a_set(placed_at=began.isoformat())])
    ]
    for day in range(1, 43):
        at = (began + day * DAY).isoformat()
        check = a_check(id=an_id(0x200 + day), checked_at=at)
        visits.append(a_visit(id=an_id(0x100 + day), arrived_at=at, checks=[check]))
    return visits


async def overdue(api: Api) -> list[tuple[str, str]]:
    """What was said to be overdue: when it was due, and when that was said."""
    return [(one["data"]["due_at"], one["time"]) for one in await api.told("check.overdue")]


@pytest.mark.parametrize("seed", range(3))
async def test_six_queued_weeks_raise_no_false_alarm_and_the_true_one_when_the_phone_is_quiet(
    api: Api, clock: Clock, clock_pool: Pool, seed: int
) -> None:
    now = datetime.fromisoformat("2026-05-14T18:00:00+00:00")
    # the last look was on Monday at 11:00 there: due at the start of Wednesday, and this is Thursday
    queue = six_weeks(now - 3 * DAY)
    random.Random(seed).shuffle(queue)  # noqa: S311 - an order that can be had again
    for visit in queue:
        now += timedelta(seconds=50)
        await send(api, clock, visit, now)
        assert await tick(clock_pool, now) == 0
    assert await tick(clock_pool, now + 10 * MINUTE - timedelta(microseconds=1)) == 0
    assert await tick(clock_pool, now + 10 * MINUTE) == 1
    said_at = (now + 10 * MINUTE).isoformat().replace("+00:00", "Z")
    assert await overdue(api) == [("2026-05-13T07:00:00Z", said_at)]
    late = await api.items("deadlines?state=late")
    assert late == []


async def test_a_worker_who_never_stops_sending_hides_a_true_alarm_for_an_hour_at_most(
    api: Api, clock: Clock, clock_pool: Pool
) -> None:
    began = datetime.fromisoformat("2026-05-14T18:00:00+00:00")
    placed_at = (began - 3 * DAY).isoformat()
    await send(
        api, clock, a_visit(id=an_id(0x100), arrived_at=placed_at, sets=[a_set(placed_at=placed_at)]), began
    )
    for minute in range(1, 91):
        now = began + minute * MINUTE
        if minute % 9 == 0:
            await send(api, clock, a_visit(id=an_id(0x100 + minute), arrived_at=now.isoformat()), now)
        assert await tick(clock_pool, now) == (minute == 60)
    assert await overdue(api) == [("2026-05-13T07:00:00Z", "2026-05-14T19:00:00Z")]
