"""What a start does where the zone database or the shipped packs are others than at the last one."""

import asyncio
import logging
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack
from functools import partial
from pathlib import Path

import pytest
import tzdata

from service.kernel.db import Pool, connect, open_pool
from service.methods.rules import shipped_file
from service.packs.actions import note_rules, rules_digest
from service.packs.rules import shipped_files
from tests.bodies import NOW, an_id
from tests.http import PROPERTY, Api, a_property
from tests.processes import setbook, until

Owner = "asyncpg.Connection[asyncpg.Record]"
IS_BLOCKED = """select exists (select from pg_stat_activity where datname = current_database()
    and application_name = $1 and wait_event_type = 'Lock')"""
HAS_TICKED = """select exists (select from pg_stat_activity where datname = current_database()
    and application_name = $1 and state = 'idle' and query like '%claimed as materialized%')"""
ALL = "select business_id, subject_id::text from work where kind = 'property_anew'"


@pytest.fixture
async def migrator(database: str) -> AsyncIterator[Pool]:
    """Connections as a start uses them, of two processes at once."""
    opened = await open_pool(database, "migrator", 2)
    yield opened
    await opened.close()


@pytest.fixture
async def properties(api: Api, other: Api, owner: Owner) -> set[tuple[str, str]]:
    """Three, of two businesses, and nothing to be done."""
    await api.made(f"properties/{an_id(9)}", a_property(region="NZ"))
    await owner.execute("delete from work")
    mine, theirs = str(api.business_id), str(other.business_id)
    return {(mine, PROPERTY), (mine, an_id(9)), (theirs, PROPERTY)}


async def queued(owner: Owner) -> set[tuple[str, str]]:
    return {(str(row["business_id"]), row["subject_id"]) for row in await owner.fetch(ALL)}


async def test_other_rules_queue_every_property_of_every_business_once(
    migrator: Pool, owner: Owner, properties: set[tuple[str, str]], caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO)
    assert await note_rules(migrator, NOW, "one") == 3
    assert await queued(owner) == properties
    assert [one.message for one in caplog.records if "worked out anew" in one.message] == [
        "zones, shipped packs or shipped methods changed: 3 properties are worked out anew"
    ]
    await owner.execute("delete from work")
    assert await note_rules(migrator, NOW, "one") == 0
    assert await queued(owner) == set()
    assert await note_rules(migrator, NOW, "two") == 3
    assert await queued(owner) == properties


async def test_of_processes_that_start_at_once_one_queues_them(
    migrator: Pool, owner: Owner, properties: set[tuple[str, str]]
) -> None:
    both = await asyncio.gather(note_rules(migrator, NOW, "one"), note_rules(migrator, NOW, "one"))
    assert sorted(both) == [0, 3]
    assert await queued(owner) == properties


async def test_of_clocks_that_start_at_once_one_says_that_the_rules_changed(
    database: str, owner: Owner, properties: set[tuple[str, str]], tmp_path: Path
) -> None:
    """Both wait for the row that says what the rules were; the one that comes second finds it changed."""
    holding = owner.transaction()
    await holding.start()
    await owner.execute("select from installation for update")
    async with AsyncExitStack() as stack, connect(database) as watching:
        for name in ("first", "second"):
            url = f"{database}{'&' if '?' in database else '?'}application_name={name}"
            clock = setbook(tmp_path / name, "serve", "--role", "clock", SETBOOK_DATABASE_URL=url)
            process = await stack.enter_async_context(clock)
            await until(partial(watching.fetchval, IS_BLOCKED, name), process)
        await holding.commit()
        for name in ("first", "second"):
            await until(partial(watching.fetchval, HAS_TICKED, name), process)
    assert await owner.fetchval("select rules_digest from installation") == rules_digest(shipped_file())
    said = [line for name in ("first", "second") for line in (tmp_path / name).read_text().splitlines()]
    assert [line for line in said if "worked out anew" in line] == [
        "service.packs.actions: zones, shipped packs or shipped methods changed: 3 properties are worked out anew"
    ]


async def test_a_property_that_waits_already_stays_one_row(
    migrator: Pool, owner: Owner, api: Api, properties: set[tuple[str, str]]
) -> None:
    await owner.execute(
        "insert into work (business_id, kind, subject_id, since_at, first_at, run_at, attempt) "
        "values ($1, 'property_anew', $2, $3, $3, '2026-05-15', 3)",
        api.business_id,
        PROPERTY,
        NOW,
    )
    assert await note_rules(migrator, NOW, "one") == 3
    row = await owner.fetchrow(
        "select since_at, run_at, attempt from work where business_id = $1 and subject_id = $2",
        api.business_id,
        PROPERTY,
    )
    assert tuple(row) == (None, NOW, 0)


def test_the_digest_is_of_the_zones_of_every_pack_and_of_the_register(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    before = rules_digest(shipped_file())
    assert before == rules_digest(shipped_file())
    with monkeypatch.context() as other:
        other.setattr(tzdata, "IANA_VERSION", "2030z")
        assert rules_digest(shipped_file()) != before
    assert rules_digest(shipped_file() + b"\n") != before
    name, text = next(iter(shipped_files().items()))
    monkeypatch.setitem(shipped_files(), name, text + b"\n")
    assert rules_digest(shipped_file()) != before


def test_zones_come_from_the_package_alone() -> None:
    """A zone database of the machine would differ from one to the next."""
    import zoneinfo  # noqa: PLC0415 - beside what it is about

    assert zoneinfo.TZPATH == ()
    packaged = Path(str(tzdata.__file__)).parent / "zones"
    assert zoneinfo.available_timezones() == set(packaged.read_text().split())
