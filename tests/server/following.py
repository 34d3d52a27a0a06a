"""The API as a process of its own, those who follow its log, and a line between them that a test can cut."""

import asyncio
import subprocess
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from uuid import UUID

import aiohttp
import asyncpg
import msgspec

from fixtures.running import free_port
from service.events.models import EndpointResumed
from service.events.outbox import entry
from service.kernel.now import random_bytes, utc_now
from tests.processes import PATIENCE_SECONDS, family
from tests.server.test_serve import setbook, wait_until_ready

STREAM = {"Accept": "text/event-stream"}


@dataclass
class Serving:
    """Where it answers, and its process."""

    url: str
    process: "subprocess.Popen[str]"

    def resident_bytes(self) -> int:
        """Memory of the worker, the largest process below it (Linux: /proc)."""
        return max(map(_resident_bytes, family(self.process.pid)))


def _resident_bytes(pid: int) -> int:
    lines = Path(f"/proc/{pid}/status").read_text().split("\n")
    return next(int(line.split()[1]) * 1024 for line in lines if line.startswith("VmRSS:"))


@asynccontextmanager
async def serving(database: str) -> AsyncIterator[Serving]:
    """The API on that book, while the block runs; it ends in peace."""
    port = free_port()
    process = setbook(
        *("serve", "--role", "api", "--port", str(port)),
        SETBOOK_DATABASE_URL=database,
        SETBOOK_SECRET_KEY=random_bytes(32).hex(),
    )
    try:
        await asyncio.to_thread(wait_until_ready, port, process)
        yield Serving(f"http://127.0.0.1:{port}", process)
    finally:
        if process.poll() is None:
            process.terminate()
        _, said = await asyncio.to_thread(process.communicate, None, PATIENCE_SECONDS)
        sys.stderr.write(said)
    assert "Traceback" not in said
    assert process.returncode == 0


@dataclass(frozen=True)
class Heard:
    """One event of a stream."""

    id: str
    type: str
    data: dict[str, Any]

    @property
    def sequence(self) -> int:
        """Its number."""
        return int(self.data["sequence"])


async def events_in(answer: aiohttp.ClientResponse) -> AsyncIterator[Heard]:
    """The events of a stream, by the rules of WHATWG HTML section 9.2.6 that it makes use of."""
    fields: dict[str, str] = {}
    async for line in answer.content:
        text = line.decode().removesuffix("\n")
        if text:
            name, _, value = text.partition(":")
            fields[name] = value.removeprefix(" ")
        elif "data" in fields:
            yield Heard(fields["id"], fields["event"], msgspec.json.decode(fields["data"]))
            fields = {}


async def heard(answer: aiohttp.ClientResponse, count: int) -> list[Heard]:
    """The next so many events of a stream."""
    found: list[Heard] = []
    async with asyncio.timeout(PATIENCE_SECONDS):
        async for one in events_in(answer):
            found.append(one)
            if len(found) == count:
                break
    return found


async def tell(pool: "asyncpg.Pool[asyncpg.Record]", business_id: UUID, count: int = 1) -> None:
    """So many events, each in a transaction of its own."""
    for _ in range(count):
        async with entry(pool, business_id, utc_now()) as book:
            book.tell(EndpointResumed(endpoint_id=UUID(int=7)), UUID(int=7))


@dataclass
class Line:
    """A TCP line to a server that puts a header into each request, for readers that cannot; it may be cut."""

    host: str
    port: int
    header: bytes
    url: str = ""
    heads: list[bytes] = field(default_factory=list)
    writers: list[asyncio.StreamWriter] = field(default_factory=list)

    async def carry(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """One connection, of one request."""
        with suppress(ConnectionError, asyncio.IncompleteReadError):
            first, _, rest = (await reader.readuntil(b"\r\n\r\n")).partition(b"\r\n")
            self.heads.append(rest)
            theirs, ours = await asyncio.open_connection(self.host, self.port)
            self.writers += [writer, ours]
            ours.write(first + b"\r\n" + self.header + b"\r\n" + rest)
            while piece := await theirs.read(65_536):
                writer.write(piece)
                await writer.drain()
        writer.close()

    def cut(self) -> None:
        """All at once, without a word."""
        for writer in self.writers:
            writer.transport.abort()
        self.writers.clear()


@asynccontextmanager
async def line_to(url: str, header: str) -> AsyncIterator[Line]:
    """A line while the block runs."""
    host, _, port = url.removeprefix("http://").partition(":")
    line = Line(host, int(port), header.encode())
    async with await asyncio.start_server(line.carry, "127.0.0.1", 0) as server:
        line.url = f"http://127.0.0.1:{server.sockets[0].getsockname()[1]}"
        try:
            yield line
        finally:
            line.cut()
