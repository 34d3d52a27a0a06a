"""A book from before the clock's wakes stood in a table of their own says the same, and knows what it said."""

from collections.abc import AsyncIterator
from datetime import datetime
from uuid import UUID

import msgspec
import pytest
from msgspec.structs import asdict, replace

from service.deadlines.models import OF_PERMITS, Derived, Kind, Stored
from service.deadlines.rules import deadline_id
from service.deadlines.said import next_word, wake_of
from service.deadlines.ticks import tick
from service.kernel.db import connect, open_pool
from service.kernel.migrate import migrate, migrations
from tests.conftest import named, new_name
from tests.deadlines.facts import DUE_AT, HOUR, MONDAY, PHONE, derived, ended, learn, new_business

OLDER = 2
KINDS: tuple[Kind, ...] = ("check", "lawn_cover", "set_search", "run_look", "lawn", "lawn_followup", "report")


@pytest.fixture
async def older(server: str, monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[str]:
    """The URL of a book with the first migrations only; those that come are let in again."""
    name = new_name("older")
    all_of_them = migrations()
    async with connect(server) as admin:
        await admin.execute(f"create database {name}")
        with monkeypatch.context() as patched:
            patched.setattr("service.kernel.migrate.migrations", lambda: all_of_them[:OLDER])
            await migrate(named(server, name))
        yield named(server, name)
        await admin.execute(f"drop database {name} with (force)")
        for role in ("migrator", "app", "clock", "courier"):
            await admin.execute(f"drop role {name}_{role}")


def stored(number: int, of: Derived, known_at: datetime, **memory: object) -> Stored:
    """A row as it stood before, with what the clock says next."""
    wake_at, wake_type = next_word(of.kind, of.due_at, known_at)
    known = {"known_at": known_at, "known_by_worker_id": PHONE.worker_id, "known_by_key_id": PHONE.key_id}
    rest = {"wake_at": wake_at, "wake_type": wake_type} | known | memory
    return Stored(id=UUID(int=number), **asdict(of), **rest)  # type: ignore[arg-type]


async def put(url: str, business_id: UUID, rows: list[Stored]) -> None:
    """Into the older table."""
    async with connect(url) as admin:
        await admin.execute("set search_path = setbook")
        await admin.execute(
            "insert into deadline select (jsonb_populate_record(null::deadline, r || jsonb_build_object("
            "'business_id', $1::uuid))).* from jsonb_array_elements($2::text::jsonb) r",
            business_id,
            msgspec.json.encode(rows).decode(),
        )


async def test_each_row_gets_the_wake_that_it_would_have_now(older: str) -> None:
    business_id = await new_business(older)
    rows = [stored(n, derived(n, kind), MONDAY) for n, kind in enumerate(KINDS, 1) if kind not in OF_PERMITS]
    rows += [
        stored(20, replace(derived(20, "report"), property_id=None), MONDAY),
        stored(21, derived(21), DUE_AT + HOUR),
        stored(22, derived(22), MONDAY, episode=2, announced_due_at=DUE_AT, announced_event_id=UUID(int=50)),
        stored(23, derived(23), MONDAY, settled_outcome="late", settled_event_id=UUID(int=51)),
        stored(24, derived(24), MONDAY, wake_at=None, wake_type=None),
    ]
    await put(older, business_id, rows)
    await migrate(older)
    async with connect(older) as admin:
        found = await admin.fetch("select * from setbook.wake order by deadline_id")
    wakes = [wake for row in rows if (wake := wake_of(business_id, row)) is not None]
    assert len(found) == len(wakes) == len(rows) - 1
    for row, wake in zip(found, wakes, strict=True):
        had, has = dict(row), asdict(wake)
        assert had.pop("business_id") == business_id
        assert msgspec.json.decode(had.pop("data")) == msgspec.json.decode(has.pop("data"))
        assert had == has


async def test_what_was_said_before_is_settled_after_and_what_was_not_is_said(older: str) -> None:
    business_id = await new_business(older)
    ids = [deadline_id(business_id, "check", UUID(int=n), UUID(int=n)) for n in (1, 2)]
    overdue_id = UUID(int=60)
    said = {"announced_due_at": DUE_AT, "announced_event_id": overdue_id, "wake_at": None, "wake_type": None}
    rows = [
        replace(stored(1, derived(1), MONDAY, **said), id=ids[0]),
        replace(stored(2, derived(2), MONDAY), id=ids[1]),
    ]
    await put(older, business_id, rows)
    await migrate(older)
    late = [ended("late", DUE_AT + HOUR, n) for n in (1, 2)]
    async with await open_pool(older, "app", 1) as pool, await open_pool(older, "clock", 1) as clock_pool:
        assert await tick(clock_pool, DUE_AT) == 1
        await learn(pool, business_id, DUE_AT + HOUR, *late)
    async with connect(older) as admin:
        told = await admin.fetch("select type, subject from setbook.event order by sequence")
    # the two that settle come of one transaction, in no order between them
    assert [row["type"] for row in told] == ["check.overdue", "check.settled", "check.settled"]
    assert told[0]["subject"] == UUID(int=2)
    assert {row["subject"] for row in told[1:]} == {UUID(int=1), UUID(int=2)}
