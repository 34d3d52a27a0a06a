"""A clock that goes on from where it has looked: nothing is missed, and what was said is not walked over again."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import datetime, timedelta
from uuid import UUID

import pytest
from msgspec.structs import replace

from service.deadlines.ticks import (
    LOOK_FROM_THE_START,
    MOST_OF_ONE_BUSINESS,
    SLACK,
    Looked,
    go_on,
    sql,
    tick,
)
from service.kernel.db import Pool, connect
from tests.deadlines.facts import DAY, DUE_AT, HOUR, MINUTE, MONDAY, derived, ended, learn

SECOND = timedelta(seconds=1)
# more than the few pages that an empty tick reads
MANY = 1_000
PATIENCE_SECONDS = 60
IS_WAITING = """select exists (select from pg_stat_activity
    where datname = current_database() and wait_event_type = 'Lock')"""


async def told(database: str) -> list[tuple[str, datetime]]:
    """Type and instant of all that was said."""
    async with connect(database) as reader:
        rows = await reader.fetch("select type, time from setbook.event order by business_id, sequence")
    return [(row["type"], row["time"]) for row in rows]


async def pages_read(clock_pool: Pool, now: datetime, since: datetime | None) -> int:
    """How few buffers one statement of a tick touches."""
    text = f"explain (analyze, buffers, format json) {sql.say_what_is_due.text}"
    async with clock_pool.acquire() as clock:
        # the first one reads the catalogue too, and so does each after which it changed, whoever changed it
        answers = [await clock.fetchval(text, now, since, None, MANY, MOST_OF_ONE_BUSINESS) for _ in range(5)]
    return min(
        int(one["Plan"]["Shared Hit Blocks"] + one["Plan"]["Shared Read Blocks"]) for (one,) in answers
    )


@asynccontextmanager
async def open_transaction(database: str, statement: str) -> AsyncIterator[None]:
    """Somebody's transaction, open for as long as the block lasts."""
    async with connect(database) as other:
        await other.execute("set search_path = setbook; begin isolation level repeatable read")
        await other.execute(statement)
        yield
        await other.execute("rollback")


async def test_an_empty_tick_reads_a_few_pages_of_its_index(
    database: str, pool: Pool, clock_pool: Pool, business_id: UUID
) -> None:
    await learn(pool, business_id, MONDAY, *(derived(n) for n in range(1, MANY + 1)))
    async with connect(database) as admin:
        await admin.execute("vacuum analyze setbook.wake")
    assert await pages_read(clock_pool, MONDAY, None) <= 10
    assert await pages_read(clock_pool, MONDAY, MONDAY - SLACK) <= 10


async def test_an_empty_tick_reads_as_few_while_an_old_snapshot_keeps_what_was_said(
    database: str, pool: Pool, clock_pool: Pool, business_id: UUID
) -> None:
    await learn(pool, business_id, MONDAY, *(derived(n) for n in range(1, MANY + 1)))
    async with connect(database) as admin:
        await admin.execute("vacuum analyze setbook.wake")
    async with open_transaction(database, "select from wake"):
        looked = await go_on(clock_pool, DUE_AT, None)
        looked = await go_on(clock_pool, DUE_AT + 2 * SLACK, looked)
        assert looked is not None
        now = DUE_AT + 3 * SLACK
        assert await pages_read(clock_pool, now, looked.upto - SLACK) <= 10
        # else it would read each of those that were said
        assert await pages_read(clock_pool, now, None) > MANY / 10
    assert await pages_read(clock_pool, now, looked.upto - SLACK) <= 10
    assert len(await told(database)) == MANY


async def test_a_wake_that_comes_to_light_behind_the_look_is_found_by_the_one_from_the_start(
    database: str, pool: Pool, clock_pool: Pool, business_id: UUID
) -> None:
    looked = await go_on(clock_pool, DUE_AT, None)
    # from a machine whose clock is an hour behind: due soon, at its own now
    await learn(pool, business_id, DUE_AT - HOUR, derived(1))
    looked = await go_on(clock_pool, DUE_AT + SECOND, looked)
    assert await told(database) == []
    looked = await go_on(clock_pool, DUE_AT + LOOK_FROM_THE_START, looked)
    assert await told(database) == [("check.overdue", DUE_AT + LOOK_FROM_THE_START)]
    assert looked == Looked(DUE_AT + LOOK_FROM_THE_START, DUE_AT + LOOK_FROM_THE_START)


async def test_a_request_that_took_some_seconds_is_seen_by_the_next_tick(
    database: str, pool: Pool, clock_pool: Pool, business_id: UUID
) -> None:
    looked = await go_on(clock_pool, DUE_AT - HOUR, None)
    await learn(pool, business_id, DUE_AT - HOUR - SLACK, derived(1))
    await go_on(clock_pool, DUE_AT - HOUR + SECOND, looked)
    assert await told(database) == [("check.due_soon", DUE_AT - HOUR + SECOND)]


@pytest.mark.parametrize("back", [SECOND, HOUR, 3 * DAY])
async def test_a_clock_set_back_loses_nothing_and_says_nothing_twice(
    database: str, pool: Pool, clock_pool: Pool, business_id: UUID, back: timedelta
) -> None:
    await learn(pool, business_id, MONDAY, derived(1))
    looked = await go_on(clock_pool, DUE_AT - HOUR, None)
    looked = await go_on(clock_pool, DUE_AT + 3 * SECOND, looked)
    before = [("check.due_soon", DUE_AT - HOUR), ("check.overdue", DUE_AT + 3 * SECOND)]
    assert await told(database) == before
    now = DUE_AT + 2 * SECOND - back
    await learn(pool, business_id, now, derived(2))
    looked = await go_on(clock_pool, now, looked)
    while now < DUE_AT:
        now = min(now + 4 * HOUR, DUE_AT)
        looked = await go_on(clock_pool, now, looked)
    looked = await go_on(clock_pool, DUE_AT + 11 * MINUTE, looked)
    after = (await told(database))[2:]
    assert [kind for kind, _ in after if kind == "check.overdue"] == ["check.overdue"]
    assert len(after) == (1 if back == SECOND else 2)


async def test_a_wake_that_somebody_holds_is_said_when_it_is_free(
    database: str, pool: Pool, clock_pool: Pool, business_id: UUID
) -> None:
    await learn(pool, business_id, MONDAY, derived(1), derived(2))
    looked = await go_on(clock_pool, MONDAY, None)
    subject = UUID(int=1)
    async with open_transaction(database, f"select from wake where subject = '{subject}' for update"):
        assert await go_on(clock_pool, DUE_AT, looked) is None
        assert await go_on(clock_pool, DUE_AT + SECOND, looked) is None
        assert len(await told(database)) == 1
    looked = await go_on(clock_pool, DUE_AT + 2 * SECOND, None)
    assert looked == Looked(DUE_AT + 2 * SECOND, DUE_AT + 2 * SECOND)
    assert len(await told(database)) == 2
    # within the minute it keeps to where it had looked
    await learn(pool, business_id, DUE_AT + 3 * SECOND, replace(derived(3), due_at=DUE_AT + HOUR))
    async with open_transaction(database, "select from wake for update"):
        assert await go_on(clock_pool, DUE_AT + 4 * SECOND, looked) == looked
    await go_on(clock_pool, DUE_AT + 5 * SECOND, looked)
    assert len(await told(database)) == 3


@pytest.mark.parametrize("end", ["commit", "rollback"])
async def test_a_look_waits_for_the_tick_that_speaks_of_its_set_and_knows_whether_it_was_said(
    database: str, pool: Pool, clock_pool: Pool, business_id: UUID, end: str
) -> None:
    await learn(pool, business_id, MONDAY, derived(1))
    await tick(clock_pool, DUE_AT - HOUR)
    async with connect(database) as onlooker, clock_pool.acquire() as clock:
        await clock.execute("begin")
        await clock.fetch(sql.say_what_is_due.text, DUE_AT, None, None, MANY, MOST_OF_ONE_BUSINESS)
        look = asyncio.create_task(learn(pool, business_id, DUE_AT + HOUR, ended("late", DUE_AT + HOUR)))
        async with asyncio.timeout(PATIENCE_SECONDS):
            while not await onlooker.fetchval(IS_WAITING):
                assert not look.done()
        await clock.execute(end)
        await look
    said_at = DUE_AT if end == "commit" else DUE_AT + HOUR
    assert (await told(database))[1:] == [("check.overdue", said_at), ("check.settled", DUE_AT + HOUR)]
    assert await tick(clock_pool, DUE_AT + DAY) == 0
