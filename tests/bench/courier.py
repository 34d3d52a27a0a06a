"""`courier`: deliveries a second of one courier to nginx, and how long from commit to arrival beside bad receivers."""

import asyncio
import subprocess
import sys
import time
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, contextmanager, suppress
from pathlib import Path
from typing import NamedTuple
from uuid import UUID

import asyncpg
import msgspec

from fixtures.running import Failed, free_port
from service.events import deliveries
from service.events.actions import add
from service.events.models import NewEndpoint
from service.events.outbox import entry
from service.identity.actions import add_business
from service.kernel.db import Pool, connect, open_pool
from service.kernel.migrate import migrate
from service.kernel.now import utc_now
from service.server.embedded import running
from tests.bench import arrivals
from tests.bench.book import a_folder, setbook
from tests.bench.figures import QUICK, ROOT, Extent, Figures, compared
from tests.bench.nginx import nginx, taken
from tests.http import LOS_ANGELES, PUBLIC_URL

WAITING, WAITING_QUICK = 50_000, 10_000
MEMORY_DELIVERIES = 200_000
ROUNDS = 5
LIGHT, LIGHT_QUICK = 1_000, 200
NOTES = (
    "{count:,} deliveries of about 1 kB wait at one endpoint, before an nginx that answers 204; one courier signs each "
    "by v1 and v1a and sends 64 at a time. The limit is the same client sending as many that were signed before, "
    "without a database. Then {events} events one by one: from the answer to the commit to the arrival at a "
    "receiver alone, beside 50 more that are healthy, and beside 50 that hang, drip, answer 50 MB, redirect, reset or "
    "speak no HTTP; these take the CPU that the others leave, since elsewhere they would be on machines of their own."
)
PATIENCE_SECONDS = 300
SEALING_KEY = bytes(range(32))
# About what a word of the clock holds, so that a body has about 1 kB.
DATA = msgspec.json.encode(
    {
        "deadline_id": "0198f3a0-0000-7000-8000-000000000001",
        "property_id": "0198f3a0-0000-7000-8000-000000000002",
        "set_id": "0198f3a0-0000-7000-8000-000000000003",
        "started_at": "2026-05-14T17:20:00Z",
        "due_at": "2026-05-16T07:00:00Z",
        "episode": 1,
        "why": "Look by Sat 16 May 2026 00:00 (America/Los_Angeles): placed Thu 14 May 10:20. " * 3,
    }
).decode()
FILL = """
with counted as (
    update counter set value = value + $2 where business_id = $1 and name = 'event' returning value - $2 as before
)
insert into event (business_id, sequence, id, type, subject, time, data)
select $1, before + number, gen_random_uuid(), 'check.overdue', gen_random_uuid(), now(), $3::text::json
from counted, generate_series(1, $2) as number
"""
# A circuit that is open lets deliveries be numbered and none be sent.
HOLD = "update endpoint set next_try_at = 'infinity' where id = $1"
RELEASE = "update endpoint set next_try_at = null where id = $1 returning pg_notify('setbook_event', '')"
LEFT = "select count(*) from delivery where endpoint_id = $1 and state <> 'delivered'"


class Bench(NamedTuple):
    """A book with a courier at work on it."""

    owner: "asyncpg.Connection[asyncpg.Record]"
    app: Pool
    courier: Pool
    business_id: UUID
    process: "subprocess.Popen[bytes]"
    port: int
    presigned: "subprocess.Popen[str]"


def measure(extent: Extent) -> Figures:
    """Deliveries a second; PostgreSQL with its own defaults of durability."""
    with a_folder() as folder, running(folder) as server, nginx(folder) as port, presigned() as limit:
        return asyncio.run(_measure(extent, folder, server.url, port, limit))


async def _measure(
    extent: Extent, folder: Path, url: str, port: int, limit: "subprocess.Popen[str]"
) -> Figures:
    async with started(folder, url, port, limit) as bench:
        count = WAITING_QUICK if extent == QUICK else WAITING
        endpoint_id = await add_endpoint(bench, f"http://127.0.0.1:{port}/")
        rounds, numbered = [], []
        for _ in range(ROUNDS + 1):
            numbered.append(await fill(bench, endpoint_id, count))
            ours = await deliver(bench, endpoint_id, count)
            rounds.append((ours, await send_presigned(bench, endpoint_id, count)))
        further = {"numbered_a_second": numbered[1:], "rss_mb": [rss_mb(bench.process.pid)]}
        if extent != QUICK:
            further |= await memory(bench, endpoint_id, count)
        await bench.owner.execute("delete from endpoint")
        events = LIGHT_QUICK if extent == QUICK else LIGHT
        further |= await arrivals.delays(bench.app, bench.business_id, SEALING_KEY, events)
    notes = NOTES.format(count=count, events=events)
    return compared("courier", "deliveries a second", rounds[1:], further, notes)


@asynccontextmanager
async def started(folder: Path, url: str, port: int, limit: "subprocess.Popen[str]") -> AsyncIterator[Bench]:
    """A book of one business, and a courier that is up."""
    await migrate(url)
    async with await open_pool(url, "migrator", 1) as migrator:
        business_id, _ = await add_business(migrator, "Greenway Trapping", LOS_ANGELES, utc_now())
    opened = {"SETBOOK_ENDPOINT_NETWORKS": "127.0.0.0/8", "SETBOOK_SECRET_KEY": SEALING_KEY.hex()}
    serving = setbook(folder, free_port(), "--role", "courier", SETBOOK_DATABASE_URL=url, **opened)
    async with (
        connect(url) as owner,
        await open_pool(url, "app", 2) as app,
        await open_pool(url, "courier", 1) as courier,
    ):
        await owner.execute("set search_path = setbook; set statement_timeout = 0")
        with serving as process:
            yield Bench(owner, app, courier, business_id, process, port, limit)


async def add_endpoint(bench: Bench, url: str) -> UUID:
    """Nothing is sent to it until it is released."""
    async with entry(bench.app, bench.business_id, utc_now()) as book:
        made = await add(book, NewEndpoint(url=url), bytes(range(32)), SEALING_KEY)
        await book.db.runner.execute(HOLD, made.id)
    return made.id


async def fill(bench: Bench, endpoint_id: UUID, count: int) -> float:
    """So many more deliveries that wait, with statistics as autovacuum makes them; how many a second were numbered."""
    await bench.owner.execute(HOLD, endpoint_id)
    await bench.owner.execute(FILL, bench.business_id, count, DATA)
    began = time.perf_counter()
    while await bench.owner.fetchval(LEFT, endpoint_id) < count:
        await deliveries.fan_out(bench.courier, PUBLIC_URL)
    seconds = time.perf_counter() - began
    await bench.owner.execute("vacuum analyze delivery, delivery_body, event")
    await bench.owner.execute("checkpoint")
    return count / seconds


async def deliver(bench: Bench, endpoint_id: UUID, count: int) -> float:
    """Deliveries a second, from the release until the last one is settled."""
    before = taken(bench.port)
    began = time.perf_counter()
    await bench.owner.execute(RELEASE, endpoint_id)
    while await until_settled(bench, endpoint_id, before + count):
        if time.perf_counter() - began > PATIENCE_SECONDS:
            raise Failed("The courier does not deliver; see serve.log.")
    seconds = time.perf_counter() - began
    arrived = taken(bench.port) - before
    if arrived != count:
        raise Failed(f"{arrived} requests arrived for {count} deliveries.")
    return count / seconds


async def until_settled(bench: Bench, endpoint_id: UUID, count: int) -> bool:
    """Whether some are not, asked now and then: nginx while they arrive, then the book."""
    with suppress(subprocess.TimeoutExpired):
        await asyncio.to_thread(bench.process.wait, 0.01)
        raise Failed("The courier has ended; see serve.log.")
    return taken(bench.port) < count or bool(await bench.owner.fetchval(LEFT, endpoint_id))


async def send_presigned(bench: Bench, endpoint_id: UUID, count: int) -> float:
    """The limit's deliveries a second."""
    body = await bench.owner.fetchval(
        "select convert_from(body, 'UTF8') from delivery_body where endpoint_id = $1 limit 1", endpoint_id
    )
    order = {"url": f"http://127.0.0.1:{bench.port}/", "count": count, "body": body}
    if bench.presigned.stdin is None or bench.presigned.stdout is None:
        raise Failed("The limit has no pipes.")
    bench.presigned.stdin.write(msgspec.json.encode(order).decode() + "\n")
    bench.presigned.stdin.flush()
    return count / float(await asyncio.to_thread(bench.presigned.stdout.readline))


async def memory(bench: Bench, endpoint_id: UUID, count: int) -> dict[str, list[float]]:
    """How the courier grows over many more deliveries."""
    before = rss_mb(bench.process.pid)
    for _ in range(MEMORY_DELIVERIES // count):
        await fill(bench, endpoint_id, count)
        await deliver(bench, endpoint_id, count)
    after = rss_mb(bench.process.pid)
    return {"rss_mb_after_200000_more": [after], "rss_grew_mb": [after - before]}


def rss_mb(pid: int) -> float:
    """What is resident of a process (Linux: /proc)."""
    line = next(
        one for one in Path(f"/proc/{pid}/status").read_text().splitlines() if one.startswith("VmRSS")
    )
    return int(line.split()[1]) / 1024


@contextmanager
def presigned() -> Iterator["subprocess.Popen[str]"]:
    """The limit, waiting for its rounds."""
    command = [sys.executable, "-m", "tests.bench.presigned"]
    with subprocess.Popen(
        command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        try:
            yield process
        finally:
            process.terminate()
