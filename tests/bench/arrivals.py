"""From commit to arrival: how long a healthy receiver waits for what was committed, beside receivers that misbehave."""

import asyncio
import subprocess
import sys
import time
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, contextmanager
from datetime import datetime
from statistics import quantiles
from uuid import UUID

from fixtures.running import Failed
from service.events.actions import add
from service.events.models import EndpointResumed, NewEndpoint
from service.events.outbox import Entry, entry, flush
from service.kernel.db import Pool, transaction
from service.kernel.now import utc_now
from service.kernel.sql import Queries
from tests.bench.figures import ROOT

BESIDE = 50
# all have been tried by then
WARM_UP = 20
sql = Queries("service.events")
PATIENCE_SECONDS = 30
# light load: each event arrives before the next one is told
PAUSE_SECONDS = 0.02
ANSWER = b"HTTP/1.1 204 No Content\r\n\r\n"
SUBJECT = UUID(int=7)


class Receiver(asyncio.Protocol):
    """A connection to healthy receivers: answers each request in one piece, and notes when which event came at `/`."""

    def __init__(self, arrived: "asyncio.Queue[tuple[str, float]]") -> None:
        """`arrived` gets the event's id and the moment."""
        self.arrived = arrived
        self.read = b""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Keep where to write."""
        self.transport = transport

    def data_received(self, data: bytes) -> None:
        """Whole requests are answered; the bodies end with two braces, and heads hold none."""
        moment = time.perf_counter()
        self.read += data
        if self.read.endswith(b"}}"):
            if self.read.startswith(b"POST / "):
                head = self.read.lower().partition(b"webhook-id: ")[2]
                self.arrived.put_nowait((head[:36].decode(), moment))
            self.read = b""
            self.transport.write(ANSWER)  # type: ignore[attr-defined]


@asynccontextmanager
async def healthy() -> "AsyncIterator[tuple[str, asyncio.Queue[tuple[str, float]]]]":
    """A receiver's URL, and what came when."""
    arrived: asyncio.Queue[tuple[str, float]] = asyncio.Queue()
    server = await asyncio.get_running_loop().create_server(lambda: Receiver(arrived), "127.0.0.1", 0)
    async with server:
        yield f"http://127.0.0.1:{server.sockets[0].getsockname()[1]}/", arrived


async def delays(app: Pool, business_id: UUID, sealing_key: bytes, count: int) -> dict[str, list[float]]:
    """In milliseconds, from the answer to the commit: alone, beside fifty more healthy ones, beside fifty bad ones.

    With them `bare_commit`, what one small commit takes here, as one lies between an event and its arrival.
    """
    async with healthy() as (url, arrived):

        async def measured(*others: str) -> list[float]:
            added = [await _add(app, business_id, sealing_key, one) for one in (url, *others)]
            await _told(app, business_id, arrived, WARM_UP)
            found = await _told(app, business_id, arrived, count)
            for endpoint_id in added:
                await _remove(app, business_id, endpoint_id)
            return found

        delay = {"bare_commit": await _commits(app, count), "commit_to_arrival": await measured()}
        delay[f"beside_{BESIDE}_good"] = await measured(*(f"{url}{number}" for number in range(BESIDE)))
        with misbehaving() as urls:
            delay[f"beside_{BESIDE}_bad"] = await measured(*urls)
    return {f"{name}_p{at}_ms": [_percentile(found, at)] for name, found in delay.items() for at in (50, 99)}


@contextmanager
def misbehaving() -> Iterator[list[str]]:
    """The URLs of as many bad receivers, in a process of their own, that takes what CPU the others leave."""
    command = ["nice", "-n", "19", sys.executable, "-m", "tests.bad_receivers", str(BESIDE)]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as process:
        if process.stdout is None:
            raise Failed("The bad receivers have no pipe.")
        try:
            yield [process.stdout.readline().strip() for _ in range(BESIDE)]
        finally:
            process.terminate()


async def _add(app: Pool, business_id: UUID, sealing_key: bytes, url: str) -> UUID:
    async with entry(app, business_id, utc_now()) as book:
        new = NewEndpoint(url=url, types=["endpoint.resumed"])
        return (await add(book, new, bytes(range(32)), sealing_key)).id


async def _remove(app: Pool, business_id: UUID, endpoint_id: UUID) -> None:
    async with entry(app, business_id, utc_now()) as book:
        await book.db.run(sql.delete_endpoint, business_id=business_id, id=endpoint_id)


async def _told(
    app: Pool, business_id: UUID, arrived: "asyncio.Queue[tuple[str, float]]", count: int
) -> list[float]:
    found = []
    for _ in range(count):
        event_id, began = await _tell(app, business_id, utc_now())
        async with asyncio.timeout(PATIENCE_SECONDS):
            came = ("", 0.0)
            while came[0] != str(event_id):
                came = await arrived.get()
        found.append((came[1] - began) * 1000)
        await asyncio.wait([asyncio.get_running_loop().create_future()], timeout=PAUSE_SECONDS)
    return found


async def _commits(app: Pool, count: int) -> list[float]:
    found = []
    async with app.acquire() as connection:
        for _ in range(count):
            began = time.perf_counter()
            await connection.execute("select pg_logical_emit_message(true, 'bench', 'a small commit')")
            found.append((time.perf_counter() - began) * 1000)
            await asyncio.wait([asyncio.get_running_loop().create_future()], timeout=PAUSE_SECONDS)
    return found


async def _tell(app: Pool, business_id: UUID, now: datetime) -> tuple[UUID, float]:
    async with transaction(app) as db:
        book = Entry(db, business_id, now)
        event_id = book.tell(EndpointResumed(endpoint_id=SUBJECT), SUBJECT)
        await flush(book)
    return event_id, time.perf_counter()


def _percentile(values: list[float], at: int) -> float:
    return quantiles(values, n=100)[at - 1]
