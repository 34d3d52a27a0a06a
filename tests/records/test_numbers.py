"""Numbers without gaps while many issue at once and some of them die with a number in their hand."""

import asyncio
import random
import sys
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack, asynccontextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import asyncpg
import pytest

from service.events.bell import within
from service.events.outbox import entry
from service.kernel.db import LOST, connect, open_pool
from service.records.actions import issue, issue_month
from tests.books import gaps
from tests.http import SEALING_KEY
from tests.processes import REPOSITORY
from tests.records.book import an_id, la
from tests.records.conftest import BUSINESS, NOW, PROPERTY_ID, Book

Connection = asyncpg.Connection
VISITS = range(100, 124)
PATIENCE_SECONDS = 120

LOCK = "begin; lock table setbook.service_record in share mode"
# Of the locks on records of this book, one that is waited for.
WAITING = """select l.pid from pg_locks l join pg_database d on d.oid = l.database and d.datname = current_database()
    where l.relation = 'setbook.service_record'::regclass and not l.granted and l.mode = $1 limit 1"""


@dataclass
class Gate:
    """While it is shut, an issuer gets as far as its number and its event, and cannot store the record with them."""

    looker: "Connection[asyncpg.Record]"
    keepers: "list[Connection[asyncpg.Record]]"

    async def waiting(self, mode: str) -> int:
        """The backend that waits for such a lock: asked again and again, as nobody tells of it."""
        async with asyncio.timeout(PATIENCE_SECONDS):
            while (pid := await self.looker.fetchval(WAITING, mode)) is None:
                await within(asyncio.Event(), 0.02)
        return int(pid)

    async def one_that_holds(self) -> int:
        """The backend of an issuer that has come that far."""
        return await self.waiting("RowExclusiveLock")

    async def let_one_through(self) -> None:
        """Whoever holds a number stores, and nobody else: the second keeper stands in line next."""
        await self.one_that_holds()
        shut, following = self.keepers
        closing = asyncio.create_task(following.execute(LOCK))
        await self.waiting("ShareLock")
        await shut.execute("rollback")
        await closing
        self.keepers = [following, shut]


@asynccontextmanager
async def nobody_stores(database: str) -> AsyncIterator[Gate]:
    """A gate that is shut, and open when the block has ended."""
    async with connect(database) as first, connect(database) as second, connect(database) as looker:
        await first.execute(LOCK)
        yield Gate(looker, [first, second])


async def whole(book: Book, numbers: range) -> None:
    """Each visit has one record, the numbers have no gap, and neither has the log."""
    assert await gaps(book.owner, BUSINESS) == []
    found = await book.versions()
    assert [number for number, _, _ in found] == [f"2026-{place:06}" for place in range(1, len(numbers) + 1)]
    assert sorted(visit for _, _, visit in found) == list(numbers)


@pytest.fixture
async def visited(book: Book) -> Book:
    """A day's visits, one after the other."""
    for number in VISITS:
        await book.visit(number, la(1, 6) + number * timedelta(minutes=1), 1)
    return book


async def test_connections_that_are_cut_with_a_number_in_hand_leave_no_gap(
    visited: Book, database: str
) -> None:
    """Four pools issue everything at once, and whoever holds a number is cut off, five times over."""
    cut = 0

    async def issue_all(pool: Any, seed: int) -> None:
        nonlocal cut
        waiting = list(VISITS)
        random.Random(seed).shuffle(waiting)  # noqa: S311 - an order that can be had again
        while waiting:
            try:
                async with entry(pool, BUSINESS, NOW) as opened:
                    await issue(opened, SEALING_KEY, an_id(waiting[-1]))
            except LOST:
                cut += 1
            else:
                waiting.pop()

    async with AsyncExitStack() as pools:
        opened = [await pools.enter_async_context(await open_pool(database, "app", 2)) for _ in range(4)]
        async with nobody_stores(database) as gate:
            issuing = asyncio.gather(*(issue_all(pool, seed) for seed, pool in enumerate(opened)))
            for _ in range(5):
                pid = await gate.one_that_holds()
                assert await gate.looker.fetchval("select pg_terminate_backend($1, 60000)", pid)
                await gate.let_one_through()
        await issuing
    assert cut >= 5
    await whole(visited, VISITS)


@asynccontextmanager
async def issuers(database: str, count: int) -> AsyncIterator[list[asyncio.subprocess.Process]]:
    """Processes that issue the same visits, each in an order of its own; killed when the block ends."""
    processes: list[asyncio.subprocess.Process] = []
    try:
        for seed in range(count):
            numbers = list(VISITS)
            random.Random(seed).shuffle(numbers)  # noqa: S311 - an order that can be had again
            one = await asyncio.create_subprocess_exec(
                *(sys.executable, "-m", "tests.records.issuer", database),
                *(str(an_id(number)) for number in numbers),
                cwd=REPOSITORY,
                stdout=asyncio.subprocess.PIPE,
            )
            processes.append(one)
        yield processes
    finally:
        for one in processes:
            if one.returncode is None:
                one.kill()
            await one.wait()


async def test_processes_that_are_killed_with_a_number_in_hand_leave_no_gap(
    visited: Book, database: str
) -> None:
    """SIGKILL for all of them while one holds a number, twice; a third lot finishes what they left."""
    for so_far in (0, 5):
        async with nobody_stores(database) as gate, issuers(database, 3) as processes:
            for _ in range(so_far):
                await gate.let_one_through()
            await gate.one_that_holds()
            for one in processes:
                one.kill()
                await one.wait()
    assert await gaps(visited.owner, BUSINESS) == []
    assert len(await visited.versions()) == 5
    async with issuers(database, 3) as processes:
        for one in processes:
            await one.communicate()
        assert [one.returncode for one in processes] == [0, 0, 0]
    await whole(visited, VISITS)


async def test_at_the_turn_of_the_year_each_year_has_numbers_of_its_own_without_gaps(
    visited: Book, database: str
) -> None:
    """Half of all issuers still have the old year by the clock of the business, in Los Angeles; months too."""
    new_year = datetime(2027, 1, 1, 8, tzinfo=UTC)
    async with await open_pool(database, "app", 4) as other:

        async def issue_at(number: int) -> None:
            now = new_year - timedelta(microseconds=number % 2)
            pool = other if number % 3 else visited.pool
            async with entry(pool, BUSINESS, now) as opened:
                await issue(opened, SEALING_KEY, an_id(number))

        async def issue_month_at(now: datetime) -> None:
            async with entry(other, BUSINESS, now) as opened:
                await issue_month(opened, SEALING_KEY, PROPERTY_ID, la(1, 0).date())

        await asyncio.gather(
            *(issue_at(number) for number in VISITS),
            issue_month_at(new_year),
            issue_month_at(new_year - timedelta(microseconds=1)),
        )
    numbers = [
        row["number"] for row in await visited.rows("select number from service_record where version = 1")
    ]
    old, new = (sorted(one for one in numbers if one.startswith(year)) for year in ("2026", "2027"))
    assert len(old) + len(new) == len(VISITS) + 1
    for year, found in (("2026", old), ("2027", new)):
        assert found == [f"{year}-{place:06}" for place in range(1, len(found) + 1)]
    by_number = {visit: number for number, _, visit in await visited.versions()}
    assert all(by_number[number].startswith("2026" if number % 2 else "2027") for number in VISITS)
