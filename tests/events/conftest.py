"""A business, its endpoints and its courier, and real receivers on loopback."""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from datetime import datetime
from ipaddress import ip_network
from pathlib import Path
from uuid import UUID

import asyncpg
import pytest
from aiohttp import web
from msgspec import Struct

from service.events import deliveries, lanes, sender, ticks
from service.events.actions import add
from service.events.addresses import Reach
from service.events.deliveries import Attempted, Claimed
from service.events.models import EndpointResumed, NewEndpoint, Ping
from service.events.outbox import entry
from service.events.signing import secret_text
from service.kernel.db import Db, Pool
from service.kernel.ids import new_id
from service.kernel.now import random_bytes, utc_now
from service.kernel.sql import Queries
from tests.conftest import pooled
from tests.http import PUBLIC_URL, SEALING_KEY
from tests.npm import npm_installed
from tests.processes import PATIENCE_SECONDS

Answer = Callable[[web.Request], Awaitable[web.StreamResponse]]
identity = Queries("service.identity")
LOOPBACK = Reach((ip_network("127.0.0.0/8"),))


@dataclass
class Received:
    """One request as it came in."""

    headers: dict[str, str]
    body: bytes


@dataclass
class Receiver:
    """A server on loopback: gives the answers in `answers` in turn, then 204, and keeps what it got."""

    url: str
    answers: list[Answer] = field(default_factory=list)
    arrived: "asyncio.Queue[Received]" = field(default_factory=asyncio.Queue)
    connections: int = 0

    async def handle(self, request: web.Request) -> web.StreamResponse:
        """Keep it and answer it."""
        headers = {name.lower(): value for name, value in request.headers.items()}
        self.arrived.put_nowait(Received(headers, await request.read()))
        return await self.answers.pop(0)(request) if self.answers else web.Response(status=204)

    async def take(self, count: int = 1) -> list[Received]:
        """The next `count` requests, waited for."""
        async with asyncio.timeout(PATIENCE_SECONDS):
            return [await self.arrived.get() for _ in range(count)]


def status(code: int, **headers: str) -> Answer:
    """An answer of that status; underscores in header names stand for hyphens."""

    async def answer(_: web.Request) -> web.StreamResponse:
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        return web.Response(status=code, headers=named)

    return answer


@asynccontextmanager
async def receiving(*answers: Answer, host: str = "127.0.0.1") -> AsyncIterator[Receiver]:
    """A receiver while the block runs."""
    receiver = Receiver("", list(answers))
    app = web.Application(client_max_size=2**20)
    app.router.add_post("/hook", receiver.handle)
    runner = web.AppRunner(app, shutdown_timeout=0.1)
    await runner.setup()
    site = web.TCPSite(runner, host, 0)
    await site.start()
    port = runner.addresses[0][1]
    receiver.url = f"http://{host}:{port}/hook"
    try:
        yield receiver
    finally:
        await runner.cleanup()


class Kept(Struct, frozen=True):
    """A delivery as the table holds it."""

    deliverynumber: int
    sequence: int
    state: str
    due_at: datetime
    attempt: int
    last_status: int | None
    last_error: str | None
    delivered_at: datetime | None


@dataclass
class Book:
    """One business: its log is filled through the outbox, its endpoints as the API adds them."""

    pool: "asyncpg.Pool[asyncpg.Record]"
    business_id: UUID
    owner: "asyncpg.Connection[asyncpg.Record]"

    async def add_endpoint(self, url: str, *types: str) -> tuple[UUID, str]:
        """Its id and secret."""
        secret = random_bytes(32)
        async with entry(self.pool, self.business_id, utc_now()) as book:
            made = await add(book, NewEndpoint(url=url, types=list(types)), secret, SEALING_KEY)
        return made.id, secret_text(secret)

    async def tell(self, now: datetime, count: int = 1) -> list[UUID]:
        """`count` events of type endpoint.resumed, each in a transaction of its own."""
        told = []
        for _ in range(count):
            async with entry(self.pool, self.business_id, now) as book:
                told.append(book.tell(EndpointResumed(endpoint_id=UUID(int=7)), UUID(int=7)))
        return told

    async def ping(self, endpoint_id: UUID, now: datetime) -> UUID:
        """A test.ping for one endpoint."""
        async with entry(self.pool, self.business_id, now) as book:
            return book.tell(Ping(endpoint_id=endpoint_id), endpoint_id)

    async def deliveries(self, endpoint_id: UUID) -> list[Kept]:
        """All of an endpoint, by number."""
        rows = await self.owner.fetch(
            "select deliverynumber, sequence, state, due_at, attempt, last_status, last_error, delivered_at "
            "from setbook.delivery where endpoint_id = $1 order by deliverynumber",
            endpoint_id,
        )
        return [Kept(**dict(row)) for row in rows]


async def fan_out(courier: Pool, now: datetime) -> int:
    """Number what was told, with a public URL; how many endpoints moved on."""
    return (await deliveries.fan_out(courier, PUBLIC_URL, now)).moved


async def attempt_all(
    courier: Pool,
    sessions: sender.Sessions,
    claimed: Sequence[Claimed],
    now: datetime,
    *,
    timeout_seconds: float = PATIENCE_SECONDS,
    sealing_key: bytes = SEALING_KEY,
) -> list[Attempted]:
    """Send each of these once."""
    to = await deliveries.receivers(courier, {one.endpoint_id for one in claimed})
    return [
        await lanes.attempt(
            sessions, sealing_key, to[one.endpoint_id], one, now, lambda: 0.5, timeout_seconds
        )
        for one in claimed
    ]


async def deliver(
    courier: Pool,
    sessions: sender.Sessions,
    now: datetime,
    timeout_seconds: float = PATIENCE_SECONDS,
    sealing_key: bytes = SEALING_KEY,
) -> list[Attempted]:
    """One round of the courier at `now`; the dice stand in the middle."""
    await fan_out(courier, now)
    claimed = await deliveries.claim(courier, 100, now=now)
    attempted = await attempt_all(
        courier, sessions, claimed, now, timeout_seconds=timeout_seconds, sealing_key=sealing_key
    )
    await deliveries.settle(courier, attempted, lambda: 0.5, now)
    return attempted


@asynccontextmanager
async def running(courier: Pool, count: int = 1) -> AsyncIterator[None]:
    """So many couriers at work while the block runs."""
    stop = asyncio.Event()
    async with asyncio.TaskGroup() as group:
        for _ in range(count):
            group.create_task(ticks.run(courier, SEALING_KEY, PUBLIC_URL, LOOPBACK, stop))
        try:
            yield
        finally:
            stop.set()


@pytest.fixture
async def courier(database: str) -> "AsyncIterator[asyncpg.Pool[asyncpg.Record]]":
    """Connections that work as the courier does."""
    async with pooled(database, "courier", 5) as opened:
        yield opened


@pytest.fixture
def add_book(
    pool: "asyncpg.Pool[asyncpg.Record]", owner: "asyncpg.Connection[asyncpg.Record]"
) -> Callable[[], Awaitable[Book]]:
    """Makes one more business."""

    async def add() -> Book:
        business_id, now = new_id(), utc_now()
        await Db(owner).run(
            identity.insert_business, id=business_id, name="Greenway Trapping", zone="Etc/UTC", now=now
        )
        await Db(owner).run(identity.insert_counter, id=business_id)
        return Book(pool, business_id, owner)

    return add


@pytest.fixture
async def book(add_book: Callable[[], Awaitable[Book]]) -> Book:
    """A business with nothing in its log."""
    return await add_book()


@pytest.fixture
async def sessions() -> AsyncIterator[sender.Sessions]:
    """The courier's way out, with loopback opened by the operator."""
    async with sender.open_sessions(LOOPBACK) as opened:
        yield opened


@pytest.fixture(scope="session")
def npm_receiver() -> Path:
    """The npm package `standardwebhooks`."""
    return npm_installed(Path(__file__).parent / "npm")
