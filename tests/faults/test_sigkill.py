"""The whole service is killed while a business loads its book; started again and sent all again, it lost nothing."""

import asyncio
import json
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

import asyncpg
import httpx
import pytest

from fixtures.demo import NotTaken, load
from fixtures.running import added_business, free_port, text_of, until_ready
from service.kernel.db import connect, open_pool, prepare_connection
from service.kernel.now import utc_now
from service.server.embedded import reached
from tests.books import book_of, differences, gaps, run_to, untrue
from tests.processes import PATIENCE_SECONDS, Process, data_folder, kill_all, setbook, until
from tests.relay import Exchange, Relay, relaying

# Answers after which it happens: among the first visits, and among those of the last weeks.
FIRST_KILL, SECOND_KILL = 160, 300

# Somebody writes a visit, has not committed it, and waits.
IS_BLOCKED = """select exists (
    select from pg_stat_activity a join pg_locks l on l.pid = a.pid
    where a.wait_event_type = 'Lock' and l.relation = 'setbook.visit'::regclass and l.mode = 'RowExclusiveLock')"""

# The service's own clock works on as well, and what it is at is passed over.
IS_LEFT = (
    "select exists (select from work where run_at <= $1) or exists (select from wake where wake_at <= $1)"
)


@asynccontextmanager
async def serving(folder: Path, relay: Relay) -> AsyncIterator[Process]:
    """The service on its folder, ready, and the relay before it."""
    port = free_port()
    log = folder / "serve.log"
    async with setbook(log, "serve", "--data", str(folder), "--port", str(port)) as process:
        await until_ready(f"http://127.0.0.1:{port}", process, log)
        relay.client.base_url = httpx.URL(f"http://127.0.0.1:{port}")
        yield process


@asynccontextmanager
async def owner_of(folder: Path) -> "AsyncIterator[asyncpg.Connection[asyncpg.Record]]":
    """A connection that sees every row."""
    with reached(folder) as url:
        async with connect(url) as owner:
            await owner.execute("set search_path = setbook")
            await prepare_connection(owner)
            yield owner


async def kill_in_mid_transaction(
    folder: Path, relay: Relay, process: Process, loading: "asyncio.Task[Any]"
) -> None:
    """All but PostgreSQL die when a visit is written and not yet committed."""
    reached_it = asyncio.Event()

    async def count(_: Exchange) -> None:
        if len(relay.exchanges) == FIRST_KILL:
            # the answer leaves once nobody can store a deadline any more
            await holder.execute("begin; lock table deadline in share mode")
            reached_it.set()

    async with owner_of(folder) as holder, owner_of(folder) as looker:
        relay.watch = count
        await asyncio.wait({loading, asyncio.create_task(reached_it.wait())}, return_when="FIRST_COMPLETED")
        assert not loading.done()
        await until(lambda: looker.fetchval(IS_BLOCKED), process)
        await kill_all(process, with_postgresql=False)
        await holder.execute("rollback")


async def kill_at_an_answer(relay: Relay, process: Process, loading: "asyncio.Task[Any]") -> None:
    """All and PostgreSQL die at the moment when a visit is answered."""

    async def count(_: Exchange) -> None:
        if len(relay.exchanges) == FIRST_KILL + SECOND_KILL:
            await kill_all(process, with_postgresql=True)

    relay.watch = count
    await asyncio.wait({loading})


async def lost(relay: Relay, key: str) -> list[str]:
    """Of what was answered as stored, what is not there."""
    headers = {"Authorization": f"Bearer {key}"}
    stored: dict[str, int] = {}
    asked: str | None = "/v1/visits?limit=500"
    while asked is not None:
        page = await relay.client.get(asked, headers=headers)
        stored |= {one["id"]: one["version"] for one in page.json()["items"]}
        asked = page.links.get("next", {}).get("url")
    missing = []
    # sent again it was answered alike, so the last answer is the one to ask for
    put = {one.path: one for one in relay.exchanges if one.method == "PUT"}
    for one in relay.exchanges:
        assert one.answer.is_success, one.answer.text
        if one.path.startswith("/v1/visits"):
            receipts = [json.loads(line) for line in one.answer.text.splitlines()]
            missing += [
                each["id"] for each in receipts if stored.get(each["id"], 0) < int(each["etag"].strip('"'))
            ]
        elif one.method == "PUT" and one is put[one.path]:
            there = await relay.client.get(one.path, headers=headers)
            if there.json() != one.answer.json():
                missing.append(one.path)
        elif one.path == "/v1/api-keys":
            me = await relay.client.get(
                "/v1/me", headers={"Authorization": f"Bearer {one.answer.json()['key']}"}
            )
            if me.status_code != 200:
                missing.append(one.path)
    return missing


async def business_of(relay: Relay, key: str) -> UUID:
    """Whose key it is."""
    me = await relay.client.get("/v1/me", headers={"Authorization": f"Bearer {key}"})
    return UUID(me.json()["business_id"])


async def test_killed_twice_in_the_middle_of_the_load_the_book_is_as_if_nothing_had_been() -> None:
    now = utc_now()
    with data_folder() as folder:
        async with httpx.AsyncClient(timeout=PATIENCE_SECONDS) as client, relaying(client) as relay:
            async with serving(folder, relay) as process:
                key = await added_business(folder)
                loading = asyncio.create_task(load(relay.url, key, None, now))
                await kill_in_mid_transaction(folder, relay, process, loading)
                with pytest.raises(NotTaken):
                    await loading
            async with serving(folder, relay) as process:
                assert "still runs as process" in text_of(folder / "serve.log")
                assert await lost(relay, key) == []
                loading = asyncio.create_task(load(relay.url, key, None, now))
                await kill_at_an_answer(relay, process, loading)
                with pytest.raises(NotTaken):
                    await loading
            async with serving(folder, relay):
                relay.watch = None
                assert await lost(relay, key) == []
                await load(relay.url, key, None, now)
                unharmed = await added_business(folder)
                await load(relay.url, unharmed, None, now)
                await compare(folder, *[await business_of(relay, one) for one in (key, unharmed)], now)


async def compare(folder: Path, killed: UUID, unharmed: UUID, now: datetime) -> None:
    """Both books are the same and whole, when all that is due in the next month was done and said."""
    far = now + timedelta(days=30)
    with reached(folder) as url:
        async with (
            await open_pool(url, "app", 4) as pool,
            await open_pool(url, "clock", 2) as clock_pool,
            owner_of(folder) as owner,
        ):
            key = bytes.fromhex((folder / "secret-key").read_text())
            await run_to(clock_pool, pool, far, key)
            while await owner.fetchval(IS_LEFT, far):
                await run_to(clock_pool, pool, far, key)
            expected, found = [await book_of(owner, one) for one in (unharmed, killed)]
            assert len(expected.keys() - {None}) == 14
            assert differences(expected, found, expected) == []
            for one in (killed, unharmed):
                assert await untrue(owner, one, far) == []
                assert await gaps(owner, one) == []
