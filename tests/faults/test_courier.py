"""The courier: killed between sending and settling, and with PostgreSQL away; every event arrives, and is settled."""

import asyncio
import json
import os
from collections import Counter
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack, asynccontextmanager
from datetime import timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

import asyncpg
import pytest
from aiohttp import web

from service.events import deliveries, lanes
from service.events.deliveries import FIRST_QUOTA, LEASE
from service.events.lanes import FIRST_WINDOW
from service.identity.actions import add_business
from service.kernel.db import Pool, connect, open_pool
from service.kernel.migrate import migrate
from service.kernel.now import utc_now
from service.server.embedded import Embedded, running
from tests.events.conftest import Answer, Book, Received, receiving
from tests.events.conftest import running as at_work
from tests.http import LOS_ANGELES, SEALING_KEY
from tests.processes import Process, data_folder, end_of, family, setbook, until

# answered at once; then as many again hold as the endpoint is trusted with by that time
TAKEN = 10
EVENTS = TAKEN + FIRST_WINDOW + TAKEN
# The courier waits to write what came of its attempts.
SETTLES = """select exists (select from pg_stat_activity where datname = current_database()
    and application_name = $1 and wait_event_type = 'Lock' and query like '%update delivery%')"""
# Nothing waits but what was leased before that instant, and is in the air.
OTHERS_SETTLED = """select not exists (
    select from delivery where state = 'waiting' and not (in_air and due_at <= $1))"""
HELD_BY_THE_DEAD = """select event_id from delivery_body b join delivery d using (endpoint_id, deliverynumber)
    where d.in_air"""
# On a server that tests share, another may run a courier of the same name.
END_SESSIONS = """select pg_terminate_backend(pid) from pg_stat_activity
    where datname = current_database() and application_name = $1"""


@asynccontextmanager
async def delivering(url: str, log: Path, name: str) -> AsyncIterator[Process]:
    """A courier in a process of its own, whose sessions bear its name."""
    own = f"{url}{'&' if '?' in url else '?'}application_name={name}"
    key = SEALING_KEY.hex()
    async with setbook(
        log, "serve", "--role", "courier", SETBOOK_DATABASE_URL=own, SETBOOK_SECRET_KEY=key
    ) as process:
        yield process


def ids_of(received: list[Received]) -> list[UUID]:
    """Which events these deliveries bring."""
    return [UUID(one.headers["webhook-id"]) for one in received]


async def waiting(book: Book, endpoint_id: UUID) -> set[int]:
    """The numbers of deliveries that are not settled."""
    return {one.deliverynumber for one in await book.deliveries(endpoint_id) if one.state != "delivered"}


async def all_settled(book: Book, endpoint_id: UUID) -> bool:
    """Whether nothing waits any more."""
    return await waiting(book, endpoint_id) == set()


async def test_a_courier_killed_between_sending_and_settling_doubles_nothing_else(
    book: Book, database: str, owner: "asyncpg.Connection[asyncpg.Record]", tmp_path: Path
) -> None:
    reached, released = asyncio.Event(), asyncio.Event()

    async def hold(_: web.Request) -> web.Response:
        reached.set()
        await released.wait()
        return web.Response(status=204)

    async def take(_: web.Request) -> web.Response:
        return web.Response(status=204)

    # the first ones are answered at once; the rest when nothing can be settled any more
    answers: list[Answer] = [take] * TAKEN + [hold] * (EVENTS - TAKEN)
    async with receiving(*answers) as receiver, connect(database) as holder:
        endpoint_id, _ = await book.add_endpoint(receiver.url)
        told = await book.tell(utc_now(), EVENTS)
        async with delivering(database, tmp_path / "first.log", "first") as first:
            received = await receiver.take(EVENTS)
            assert reached.is_set()
            await holder.execute("begin; lock table setbook.delivery in exclusive mode")
            released.set()
            await until(lambda: owner.fetchval(SETTLES, "first"), first)
            first.kill()
            await first.wait()
            await owner.execute(END_SESSIONS, "first")
            await holder.execute("rollback")
        fallen = await waiting(book, endpoint_id)
        assert EVENTS - TAKEN <= len(fallen) <= EVENTS
        # the lease of the dead courier is over
        await owner.execute(
            "update delivery set due_at = due_at - $1::interval where state = 'waiting'", LEASE
        )
        async with delivering(database, tmp_path / "second.log", "second"):
            received += await receiver.take(len(fallen))
            (later,) = await book.tell(utc_now())
            assert ids_of(await receiver.take()) == [later]
            assert receiver.arrived.empty()
    assert Counter(ids_of(received)) == doubled(told, received, fallen)
    assert {one.attempt for one in await book.deliveries(endpoint_id)} == {1, 2}
    assert await waiting(book, endpoint_id) == set()


def doubled(told: list[UUID], received: list[Received], fallen: set[int]) -> dict[UUID, int]:
    """Each event once, and those whose delivery was not settled twice, with the very same body."""
    bodies: dict[UUID, set[bytes]] = {}
    for one in received:
        bodies.setdefault(UUID(one.headers["webhook-id"]), set()).add(one.body)
    numbers: dict[UUID, Any] = {}
    for id_, same in bodies.items():
        (body,) = same
        numbers[id_] = int(json.loads(body)["deliverynumber"])
    return {id_: 2 if numbers[id_] in fallen else 1 for id_ in told}


async def test_with_postgresql_restarted_in_mid_delivery_each_event_arrives_once(tmp_path: Path) -> None:
    released = asyncio.Event()

    async def hold(_: web.Request) -> web.Response:
        await released.wait()
        return web.Response(status=204)

    with data_folder() as folder:
        async with receiving(*[hold] * FIRST_WINDOW) as receiver, AsyncExitStack() as stack:
            async with up(folder) as server:
                business_id = await a_business(server.url)
                async with book_in(server.url, business_id) as book:
                    endpoint_id, _ = await book.add_endpoint(receiver.url)
                    told = await book.tell(utc_now(), EVENTS)
                    # so that it stops long before the courier has waited enough for an answer
                    await book.owner.execute("checkpoint")
                log = tmp_path / "courier.log"
                process = await stack.enter_async_context(delivering(server.url, log, "courier"))
                received = await receiver.take(FIRST_WINDOW)
            # PostgreSQL is gone; the receiver answers what was in the air, and gets what was claimed
            released.set()
            received += await receiver.take(FIRST_QUOTA - FIRST_WINDOW)
            async with up(folder) as server, book_in(server.url, business_id) as book:
                (later,) = await book.tell(utc_now())
                received += await receiver.take(EVENTS - FIRST_QUOTA + 1)
                await until(lambda: all_settled(book, endpoint_id), process)
                await stack.aclose()
                kept = await book.deliveries(endpoint_id)
            assert receiver.arrived.empty()
    assert {(one.state, one.attempt) for one in kept} == {("delivered", 1)}
    assert Counter(ids_of(received)) == Counter([*told, later])


async def test_of_two_couriers_one_is_killed_and_only_what_it_held_may_come_twice(
    book: Book, database: str, owner: "asyncpg.Connection[asyncpg.Record]", tmp_path: Path
) -> None:
    many, told = 600, list[UUID]()
    async with receiving() as receiver:
        endpoint_id, _ = await book.add_endpoint(receiver.url)
        async with delivering(database, tmp_path / "staying.log", "staying") as staying:
            async with delivering(database, tmp_path / "dying.log", "dying") as dying:
                telling = asyncio.create_task(tell_in_pieces(book, many, told))
                received = await receiver.take(many // 3)
                dying.kill()
                await dying.wait()
            await owner.execute(END_SESSIONS, "dying")
            leased_by_then = await owner.fetchval("select now()") + LEASE
            await telling
            await until(lambda: owner.fetchval(OTHERS_SETTLED, leased_by_then), staying)
            fallen = {row["event_id"] for row in await owner.fetch(HELD_BY_THE_DEAD)}
            await owner.execute("update delivery set due_at = now() where in_air")
            await until(lambda: all_settled(book, endpoint_id), staying)
            received += await receiver.take(receiver.arrived.qsize())
    counts = Counter(ids_of(received))
    assert set(counts) == set(told)
    assert len(told) == many
    twice = {id_ for id_, count in counts.items() if count > 1}
    assert twice <= fallen
    assert len(received) == many + len(twice)


async def tell_in_pieces(book: Book, count: int, told: list[UUID]) -> None:
    """One event after the other, as the office works on."""
    for _ in range(count):
        told += await book.tell(utc_now())


def signers(process: Process) -> list[int]:
    """The courier's processes that sign."""
    return [
        pid for pid, command in family(process.pid).items() if command.endswith(" -m service.events.signer ")
    ]


async def test_the_process_that_signs_ends_with_a_killed_courier(database: str, tmp_path: Path) -> None:
    async with delivering(database, tmp_path / "courier.log", "courier") as process:

        async def signs() -> bool:
            return bool(signers(process))

        await until(signs, process)
        (signer,) = signers(process)
        its_end = os.pidfd_open(signer)
        process.kill()
        await process.wait()
        await end_of(its_end)


@pytest.mark.parametrize("step", [timedelta(hours=-3), timedelta(minutes=2), timedelta(days=400)])
async def test_a_clock_that_steps_while_it_sends_doubles_nothing(
    book: Book, courier: Pool, monkeypatch: pytest.MonkeyPatch, step: timedelta
) -> None:
    """What is due and what is leased goes by the database's clock; another courier sees the stepped clock as well."""
    released = asyncio.Event()

    async def hold(_: web.Request) -> web.Response:
        await released.wait()
        return web.Response(status=204)

    async with receiving(*[hold] * FIRST_WINDOW) as receiver:
        endpoint_id, _ = await book.add_endpoint(receiver.url)
        async with at_work(courier, count=2):
            told = await book.tell(utc_now(), FIRST_WINDOW)
            received = await receiver.take(FIRST_WINDOW)
            monkeypatch.setattr(lanes, "utc_now", lambda: utc_now() + step)
            monkeypatch.setattr(deliveries, "utc_now", lambda: utc_now() + step)
            told += await book.tell(utc_now() + step, 10)
            released.set()
            received += await receiver.take(10)
        assert receiver.arrived.empty()
    assert Counter(ids_of(received)) == Counter(told)
    assert {one.attempt for one in await book.deliveries(endpoint_id)} == {1}
    stamps = [int(one.headers["webhook-timestamp"]) for one in received]
    assert abs(stamps[-1] - stamps[0] - step.total_seconds()) < 60


@asynccontextmanager
async def up(folder: Path) -> AsyncIterator[Embedded]:
    """PostgreSQL on the folder while the block runs; the loop goes on while it starts and stops."""
    server = running(folder)
    yield await asyncio.to_thread(server.__enter__)
    await asyncio.to_thread(server.__exit__, None, None, None)


async def a_business(url: str) -> UUID:
    """A migrated database with a business in it."""
    await migrate(url)
    async with await open_pool(url, "migrator", 1) as migrator:
        business_id, _ = await add_business(migrator, "Greenway Trapping", LOS_ANGELES, utc_now())
    return business_id


@asynccontextmanager
async def book_in(url: str, business_id: UUID) -> AsyncIterator[Book]:
    """The business's log and endpoints."""
    async with await open_pool(url, "app", 2) as pool, connect(url) as owner:
        yield Book(pool, business_id, owner)
