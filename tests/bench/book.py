"""A book to measure on: a durable PostgreSQL and an API of its own, filled over HTTP with sets that stand."""

import asyncio
import http.client
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, NamedTuple
from uuid import UUID

import httpx
import msgspec

from fixtures.running import Failed, free_port
from service.identity.actions import add_business
from service.kernel.db import connect, open_pool
from service.kernel.migrate import migrate
from service.kernel.now import utc_now
from service.server.embedded import running
from tests.bench.figures import ROOT
from tests.http import LOS_ANGELES, a_property

START_SECONDS = 60
FILL_SECONDS = 300
# what a visit looks at
SETS = 5
# the first eight digits of an id say what has it, the last twelve count; every business has the same ids
WORKER, PROPERTY, SET, PLACING, JOB, VISIT, CHECK = range(1, 8)


class Business(NamedTuple):
    """A business and its first key."""

    id: UUID
    key: str


class Book(NamedTuple):
    """Where it is reached, and whose it is."""

    database_url: str
    api_url: str
    businesses: list[Business]


def an_id(noun: int, number: int) -> str:
    """The id of the `number`th thing of its kind, a UUIDv7 by its form."""
    return f"{noun:08x}-0000-7000-8000-{number:012x}"


@contextmanager
def a_book(businesses: int, properties: int) -> Iterator[Book]:
    """So many businesses, each with so many properties, at each of them five sets placed yesterday."""
    with a_folder() as folder, running(folder) as server:
        asyncio.run(migrate(server.url))
        made = asyncio.run(_businesses(server.url, businesses))
        port = free_port()
        with setbook(folder, port, "--role", "api", SETBOOK_DATABASE_URL=server.url) as process:
            wait_until_ready(process, port)
            book = Book(server.url, f"http://127.0.0.1:{port}", made)
            asyncio.run(_fill(book, properties))
            asyncio.run(_settle(server.url))
            yield book


@contextmanager
def a_folder() -> Iterator[Path]:
    """A data folder on a disk (/tmp may lie in memory), which PostgreSQL's user can enter; gone at the end."""
    with tempfile.TemporaryDirectory(prefix="setbook-bench-", dir="/var/tmp") as name:
        folder = Path(name)
        folder.chmod(0o711)
        try:
            yield folder
        finally:
            shutil.rmtree((folder / "postgresql").resolve(), ignore_errors=True)


@contextmanager
def setbook(
    folder: Path, port: int, *options: str, **environment: str
) -> Iterator["subprocess.Popen[bytes]"]:
    """`setbook serve` for as long as the block lasts."""
    kept = {name: text for name, text in os.environ.items() if not name.startswith("SETBOOK_")}
    serve = ["-m", "service", "serve", "--data", str(folder), "--port", str(port), *options]
    with (folder / "serve.log").open("ab") as log:
        process = subprocess.Popen(
            [sys.executable, *serve], cwd=ROOT, env=kept | environment, stdout=log, stderr=log
        )
        try:
            yield process
        finally:
            process.terminate()
            process.wait()


def wait_until_ready(process: "subprocess.Popen[bytes]", port: int) -> None:
    """Ask /readyz every hundredth of a second until it answers."""
    for _ in range(START_SECONDS * 100):
        with suppress(OSError, http.client.HTTPException):
            connection = http.client.HTTPConnection("127.0.0.1", port, timeout=START_SECONDS)
            connection.request("GET", "/readyz")
            if connection.getresponse().status == 200:
                return
        with suppress(subprocess.TimeoutExpired):
            process.wait(0.01)
            break
    raise Failed("`setbook serve` does not start here; type it to see why.")


async def _businesses(url: str, number: int) -> list[Business]:
    async with await open_pool(url, "migrator", 1) as pool:
        made = [await add_business(pool, f"Business {one}", LOS_ANGELES, utc_now()) for one in range(number)]
    return [Business(business_id, key.key) for business_id, key in made]


async def _fill(book: Book, properties: int) -> None:
    """Over HTTP, all businesses at once."""
    lines = b"\n".join(msgspec.json.encode(line) for line in _lines(utc_now(), properties))
    async with httpx.AsyncClient(base_url=book.api_url, timeout=FILL_SECONDS) as client:
        await asyncio.gather(*(_send(client, business.key, lines) for business in book.businesses))


async def _settle(url: str) -> None:
    """Statistics as autovacuum makes them within the first minutes: plans without them are others, and slower."""
    async with connect(url) as admin:
        await admin.execute("vacuum analyze")


async def _send(client: httpx.AsyncClient, key: str, lines: bytes) -> None:
    mine = {"Authorization": f"Bearer {key}"}
    worker = {"name": "R. Example"}
    (await client.put(f"/v1/workers/{an_id(WORKER, 1)}", json=worker, headers=mine)).raise_for_status()
    batch = mine | {"Content-Type": "application/x-ndjson"}
    answer = (await client.post("/v1/visits/batch", content=lines, headers=batch)).raise_for_status()
    results = [msgspec.json.decode(line) for line in answer.content.splitlines()]
    refused = [result for result in results if result["status"] != 201]
    if refused:
        raise Failed(f"The book cannot be filled: {refused[0]}")


def _lines(now: datetime, properties: int) -> Iterator[dict[str, Any]]:
    """What a phone would send: each property, its job, and the visit at which its sets were placed."""
    placed_at = (now - timedelta(hours=26)).astimezone(UTC).isoformat()
    for number in range(properties):
        property_id = an_id(PROPERTY, number)
        yield {"property": {"id": property_id, **a_property(name=f"Property {number}")}}
        job = {"property_id": property_id, "target": "Scapanus latimanus", "opened_at": placed_at}
        yield {"job": {"id": an_id(JOB, number), **job}}
        sets = [a_set(an_id(SET, number * SETS + one), one, placed_at) for one in range(SETS)]
        visit = {"property_id": property_id, "worker_id": an_id(WORKER, 1), "arrived_at": placed_at}
        yield {"visit": {"id": an_id(PLACING, number), **visit, "sets": sets}}


def a_set(set_id: str, number: int, placed_at: str) -> dict[str, Any]:
    """A pair of marked traps, as a phone states them in full."""
    return {
        "id": set_id,
        "placed_at": placed_at,
        "target": "Scapanus latimanus",
        "position": {"type": "Point", "coordinates": [-122.45 + number / 10_000, 45.55]},
        "mechanism": "scissor_jaw",
        "traps": [{"no": 1, "direction_deg": 90}, {"no": 2, "direction_deg": 270}],
        "depth_mm": 180,
        "light_kept_out": True,
        "flagged": True,
        "foot_traffic": "some",
        "opening_length_mm": 200,
        "opening_width_mm": 150,
        "opening_on_turf": True,
    }
