"""The demo, loaded once through the API, and all that the API answers an hour later."""

import json
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import httpx
import pytest_asyncio
from litestar import Litestar

from fixtures.demo import Summary, load, visit_lines
from service.identity.actions import add_business
from service.kernel.db import Pool, connect, open_pool
from service.kernel.ids import new_id
from service.work import ticks as work
from tests.bodies import NOW
from tests.books import HANDLERS, run_to
from tests.conftest import named, new_name
from tests.http import LOS_ANGELES, Api, Clock
from tests.relay import Exchange, relaying

# The longest time for which something that was known late is kept back is over then.
LATER = NOW + timedelta(minutes=61)
LISTS = (
    "visits", "sets", "signs", "catches", "lawn-patches", "deadlines", "conflicts", "jobs", "service-records",
)  # fmt: skip


@dataclass
class Demo:
    """What was sent and answered, and what the book shows an hour later: its lists, and the log."""

    api: Api
    url: str
    pool: Pool
    summary: Summary
    exchanges: list[Exchange]
    lists: dict[str, list[Any]]
    log: list[Any]

    def visits(self, word: str) -> list[Any]:
        """The visits that show it, as the phone posts them."""
        return [line["visit"] for line in visit_lines(NOW) if line.get("shows") == word]

    def find(self, noun: str, **members: Any) -> list[Any]:
        """Rows of a list in which these members are so."""
        return [row for row in self.lists[noun] if members.items() <= row.items()]

    def one(self, noun: str, **members: Any) -> Any:
        """The only such row."""
        (row,) = self.find(noun, **members)
        return row

    def told(self, kind: str, **members: Any) -> list[Any]:
        """Data of the events of a type in which these members are so, in the order of the log."""
        return [
            one["data"] for one in self.log if one["type"] == kind and members.items() <= one["data"].items()
        ]

    def receipts(self, visit_id: str) -> list[Any]:
        """What came back to the phone, each time that it sent the visit."""
        lines = [
            json.loads(line)
            for one in self.exchanges
            if one.path.startswith("/v1/visits")
            for line in one.answer.text.splitlines()
        ]
        return [line for line in lines if line["id"] == visit_id]

    def record(self, visit: Any) -> Any:
        """The latest version of the visit's record."""
        (found,) = (
            one
            for one in self.lists["service-records"]
            if one["record"]["content"]["visit_id"] == visit["id"]
        )
        return found["record"]


async def pages(api: Api, path: str, rows: str = "items") -> list[Any]:
    """All rows of a list."""
    found: list[Any] = []
    asked: str | None = f"/v1/{path}?limit=500"
    while asked is not None:
        answer = await api.get(asked)
        found += answer.json()[rows]
        asked = answer.links.get("next", {}).get("url")
    return found


@pytest_asyncio.fixture(scope="module", loop_scope="module")
async def demo(server: str, template: str, one_app: tuple[Litestar, Clock]) -> AsyncIterator[Demo]:
    """Loaded at NOW as its phones send it, while the clock does at once what is due."""
    app, clock = one_app
    name = new_name("demo")
    async with connect(server) as admin:
        await admin.execute(f"create database {name} template {template} strategy file_copy")
    try:
        async with loaded(named(server, name), app, clock) as found:
            yield found
    finally:
        async with connect(server) as admin:
            await admin.execute(f"drop database {name} with (force)")


@asynccontextmanager
async def loaded(url: str, app: Litestar, clock: Clock) -> AsyncIterator[Demo]:
    """The demo in this empty book."""
    async with (
        await open_pool(url, "migrator", 1) as migrator,
        await open_pool(url, "app", 5) as pool,
        await open_pool(url, "clock", 2) as clock_pool,
        httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://setbook.test") as client,
        relaying(client) as relay,
    ):

        async def wake(_: Exchange) -> None:
            await work.run(clock_pool, pool, clock.now, HANDLERS)

        app.state.pool, app.state.epoch, clock.now = pool, new_id(), NOW
        relay.watch = wake
        business_id, key = await add_business(migrator, "Tamp & Flag Trapping", LOS_ANGELES, NOW)
        api = Api(business_id, key.key, client)
        summary = await load(relay.url, api.key, None, NOW)
        clock.now = LATER
        await run_to(clock_pool, pool, LATER)
        lists = {noun: await pages(api, noun) for noun in LISTS}
        yield Demo(api, url, pool, summary, relay.exchanges, lists, await pages(api, "events", "events"))
