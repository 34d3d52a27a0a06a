"""The clock against a real database: once per cause with many clocks, settling time, gap-free numbers."""

import asyncio
from collections import Counter
from collections.abc import Collection
from datetime import UTC, datetime, timedelta
from uuid import UUID

import asyncpg
import msgspec
import pytest

from service.deadlines.door import postpone, store
from service.deadlines.looks import look_due
from service.deadlines.models import OF_SETS, OF_SIGNS, Covered, Derived, Kind, KnownBy, Place
from service.deadlines.rules import deadline_id
from service.deadlines.ticks import MOST_OF_ONE_BUSINESS, sql, tick
from service.deadlines.why import explain
from service.deadlines.words import (
    CheckDueSoon,
    CheckOverdue,
    CheckSettled,
    LawnDueSoon,
    LawnFollowupDue,
    LawnOverdue,
    LawnSettled,
    Reminder,
    RunLookDue,
    SetSearchDue,
)
from service.events.outbox import entry
from service.identity.actions import add_business
from service.identity.models import HousePolicy
from service.kernel.db import open_pool
from service.kernel.ids import id_of_cause

Pool = asyncpg.Pool
PHONE = KnownBy(worker_id=UUID(int=1), key_id=UUID(int=2))
MINUTE, HOUR, DAY = timedelta(minutes=1), timedelta(hours=1), timedelta(days=1)
PLACE = Place(
    property_id=UUID(int=7), zone="America/Los_Angeles", house_policies=[HousePolicy(calendar_days=1)]
)
# Monday 2 March 2026, 09:00 in Los Angeles; a look is due at the start of Wednesday
MONDAY = datetime(2026, 3, 2, 17, tzinfo=UTC)
DUE_AT = datetime(2026, 3, 4, 8, tzinfo=UTC)
EVENTS: dict[str, type[Reminder]] = {
    one.event_type: one
    for one in (
        CheckDueSoon, CheckOverdue, CheckSettled, SetSearchDue, RunLookDue,
        LawnDueSoon, LawnOverdue, LawnSettled, LawnFollowupDue,
    )
}  # fmt: skip


@pytest.fixture
async def business_id(database: str) -> UUID:
    """An empty book."""
    return await new_business(database)


async def new_business(database: str) -> UUID:
    """One more business."""
    migrator = await open_pool(database, "migrator", 1)
    made, _ = await add_business(migrator, "Alder Mole Catchers", "America/Los_Angeles", MONDAY)
    await migrator.close()
    return made


def derived(subject: int = 1, kind: Kind = "check", started_at: datetime = MONDAY, **more: object) -> Derived:
    """A deadline of one set or sign, started by a fact of the same number."""
    due = look_due(started_at, PLACE, Covered())
    assert due is not None
    return Derived(
        kind=kind,
        subject_id=UUID(int=subject),
        starting_fact_id=UUID(int=subject),
        property_id=PLACE.property_id,
        started_at=started_at,
        due_at=due.due_at,
        why=explain("placed", started_at, due, PLACE),
        **({"state": "open"} | more),  # type: ignore[arg-type]
    )


def ended(state: str, met_at: datetime, subject: int = 1) -> Derived:
    """The same after a look."""
    return derived(subject, state=state, outcome=state, met_at=met_at, met_by_fact_id=UUID(int=99))


async def learn(
    pool: Pool,
    business_id: UUID,
    now: datetime,
    *follows: Derived,
    by: KnownBy = PHONE,
    gone: Collection[int] = (),
) -> None:
    """What a visit does: facts in, deadlines stored, and what waits is put off."""
    subjects = {one.subject_id for one in follows} | {UUID(int=one) for one in gone}
    async with entry(pool, business_id, now, by.key_id) as opened:
        await postpone(opened, by)
        await store(opened, (*OF_SETS, *OF_SIGNS), subjects, list(follows), by)


async def log(database: str, business_id: UUID) -> list[tuple[str, Reminder]]:
    """Type and data of all that was told, in order; numbers without gap, data strictly as its type says."""
    connection = await asyncpg.connect(database)
    rows = await connection.fetch(
        "select sequence, id, type, data::text, cause from setbook.event where business_id = $1 order by 1",
        business_id,
    )
    counted = await connection.fetchval(
        "select value from setbook.counter where business_id = $1", business_id
    )
    await connection.close()
    assert [row["sequence"] for row in rows] == list(range(1, counted + 1))
    told = []
    for row in rows:
        of = EVENTS[row["type"]]
        event = msgspec.json.decode(row["data"], type=of, strict=True)
        assert msgspec.json.decode(msgspec.json.encode(event)) == msgspec.json.decode(row["data"])
        assert row["id"] == id_of_cause(business_id, row["cause"])
        told.append((row["type"], event))
    return told


def types(told: list[tuple[str, Reminder]]) -> list[str]:
    """What kinds of events they are."""
    return [one for one, _ in told]


async def test_an_unmet_look_is_said_soon_then_overdue_with_its_true_instant(
    database: str, pool: Pool, clock_pool: Pool, business_id: UUID
) -> None:
    await learn(pool, business_id, MONDAY, derived())
    assert await tick(clock_pool, DUE_AT - 4 * HOUR - MINUTE) == 0
    assert await tick(clock_pool, DUE_AT - 4 * HOUR) == 1
    assert await tick(clock_pool, DUE_AT - MINUTE) == 0
    # an outage: the clock wakes two days later
    assert await tick(clock_pool, DUE_AT + 2 * DAY) == 1
    assert await tick(clock_pool, DUE_AT + 3 * DAY) == 0
    told = await log(database, business_id)
    words = {
        "deadline_id": deadline_id(business_id, "check", UUID(int=1), UUID(int=1)),
        "property_id": PLACE.property_id,
        "started_at": MONDAY,
        "due_at": DUE_AT,
        "episode": 1,
        "why": derived().why.sentence,
        "set_id": UUID(int=1),
    }
    assert told == [
        ("check.due_soon", CheckDueSoon(**words)),
        ("check.overdue", CheckOverdue(**words)),
    ]


async def test_a_word_due_soon_that_comes_after_the_instant_is_left_out(
    database: str, pool: Pool, clock_pool: Pool, business_id: UUID
) -> None:
    await learn(pool, business_id, MONDAY, derived())
    assert await tick(clock_pool, DUE_AT) == 1
    assert types(await log(database, business_id)) == ["check.overdue"]


async def test_a_look_too_late_while_no_clock_ran_says_that_it_was_overdue(
    database: str, pool: Pool, clock_pool: Pool, business_id: UUID
) -> None:
    await learn(pool, business_id, MONDAY, derived())
    await learn(pool, business_id, DUE_AT + HOUR, ended("late", DUE_AT + HOUR))
    assert await tick(clock_pool, DUE_AT + HOUR) == 0
    told = await log(database, business_id)
    assert types(told) == ["check.overdue", "check.settled"]
    # the visit is withdrawn: overdue again, in place of the last word
    await learn(pool, business_id, DUE_AT + 2 * HOUR, derived())
    await tick(clock_pool, DUE_AT + 3 * HOUR)
    again = (await log(database, business_id))[2][1]
    assert (again.episode, again.replaces) == (2, id_of_cause(business_id, await last_cause(database, 2)))


async def test_instants_with_microseconds_come_out_as_written(
    database: str, pool: Pool, clock_pool: Pool, business_id: UUID
) -> None:
    started_at = MONDAY + timedelta(microseconds=120)
    await learn(pool, business_id, MONDAY, derived(started_at=started_at))
    await tick(clock_pool, DUE_AT)
    ((_, overdue),) = await log(database, business_id)
    assert overdue.started_at == started_at


KINDS: list[tuple[Kind, list[str]]] = [
    ("check", ["check.due_soon", "check.overdue"]),
    ("lawn", ["lawn.due_soon", "lawn.overdue"]),
    ("lawn_cover", ["lawn.due_soon", "lawn.overdue"]),
    ("set_search", ["set.search_due"]),
    ("run_look", ["run.look_due"]),
    ("lawn_followup", ["lawn.followup_due"]),
]


@pytest.mark.parametrize(("kind", "expected"), KINDS)
async def test_each_kind_has_its_words(
    database: str, pool: Pool, clock_pool: Pool, business_id: UUID, kind: Kind, expected: list[str]
) -> None:
    await learn(pool, business_id, MONDAY, derived(kind=kind))
    await tick(clock_pool, DUE_AT - HOUR)
    await tick(clock_pool, DUE_AT)
    assert types(await log(database, business_id)) == expected


async def test_a_late_look_then_an_earlier_one_settle_it_twice(
    database: str, pool: Pool, clock_pool: Pool, business_id: UUID
) -> None:
    # placed Monday, looks of Tuesday and Thursday known; on Friday a phone brings Wednesday's
    await learn(pool, business_id, MONDAY, derived())
    await tick(clock_pool, DUE_AT)
    await learn(pool, business_id, DUE_AT + 34 * HOUR, ended("late", DUE_AT + 34 * HOUR))
    await learn(pool, business_id, DUE_AT + 60 * HOUR, ended("met", DUE_AT - HOUR))
    await learn(pool, business_id, DUE_AT + 61 * HOUR, ended("met", DUE_AT - HOUR))
    told = await log(database, business_id)
    assert types(told) == ["check.overdue", "check.settled", "check.settled"]
    late, met = (event for _, event in told[1:])
    assert isinstance(late, CheckSettled)
    assert isinstance(met, CheckSettled)
    assert (late.outcome, late.replaces) == ("late", None)
    stamp = "2026-03-04T08:00:00.000000Z"
    cause = f"check.settled/{late.set_id}/{late.deadline_id}/{stamp}/late/1"
    assert (met.outcome, met.replaces) == ("met", id_of_cause(business_id, cause))


async def test_a_phone_that_brings_weeks_at_once_raises_no_alarm(
    database: str, pool: Pool, clock_pool: Pool, business_id: UUID
) -> None:
    now = DUE_AT + 42 * DAY
    await learn(pool, business_id, now, *(derived(n) for n in range(1, 21)))
    for n in range(1, 21):
        now += 9 * MINUTE
        if n < 7:
            assert await tick(clock_pool, now) == 0
        await learn(pool, business_id, now, ended("met", DUE_AT - HOUR, n))
        if n == 6:
            break
    # six looks in 54 minutes; the rest is said when the hour is over, though the phone is still busy
    await learn(pool, business_id, now + 5 * MINUTE, derived(100), by=PHONE)
    assert await tick(clock_pool, DUE_AT + 42 * DAY + 59 * MINUTE) == 0
    assert await tick(clock_pool, DUE_AT + 42 * DAY + 60 * MINUTE) == 14
    told = await log(database, business_id)
    assert {event.known_late for _, event in told} == {True}
    assert {event.due_at for _, event in told} == {DUE_AT}


@pytest.mark.parametrize(
    ("by", "is_put_off"),
    [
        (KnownBy(worker_id=PHONE.worker_id, key_id=UUID(int=8)), True),
        (KnownBy(worker_id=UUID(int=9), key_id=PHONE.key_id), True),
        (KnownBy(worker_id=UUID(int=9), key_id=UUID(int=8)), False),
        (KnownBy(worker_id=None, key_id=None), False),
    ],
)
async def test_only_the_worker_or_key_that_made_it_known_puts_it_off(
    pool: Pool, clock_pool: Pool, business_id: UUID, by: KnownBy, is_put_off: bool
) -> None:
    friday = DUE_AT + 60 * HOUR
    await learn(pool, business_id, friday, derived())
    await learn(pool, business_id, friday + 5 * MINUTE, by=by)
    assert await tick(clock_pool, friday + 10 * MINUTE - timedelta(microseconds=1)) == 0
    assert await tick(clock_pool, friday + 10 * MINUTE) == (0 if is_put_off else 1)
    assert await tick(clock_pool, friday + 15 * MINUTE) == (1 if is_put_off else 0)


async def test_what_was_known_in_time_is_never_put_off(
    pool: Pool, clock_pool: Pool, business_id: UUID
) -> None:
    await learn(pool, business_id, MONDAY, derived())
    await learn(pool, business_id, DUE_AT - MINUTE)
    assert await tick(clock_pool, DUE_AT) == 1


async def test_another_business_is_not_put_off(
    database: str, pool: Pool, clock_pool: Pool, business_id: UUID
) -> None:
    friday = DUE_AT + 60 * HOUR
    await learn(pool, business_id, friday, derived())
    await learn(pool, await new_business(database), friday + 5 * MINUTE)
    assert await tick(clock_pool, friday + 10 * MINUTE) == 1


async def test_deadlines_that_no_longer_follow_are_withdrawn_and_those_of_others_left(
    database: str, pool: Pool, clock_pool: Pool, business_id: UUID
) -> None:
    await learn(pool, business_id, MONDAY, derived(1), derived(2))
    await tick(clock_pool, DUE_AT)
    await learn(pool, business_id, DUE_AT + HOUR, gone=[1])
    told = await log(database, business_id)
    assert types(told) == ["check.overdue", "check.overdue", "check.settled"]
    settled = told[2][1]
    assert isinstance(settled, CheckSettled)
    assert (settled.set_id, settled.outcome) == (UUID(int=1), "withdrawn")
    await learn(pool, business_id, DUE_AT + 2 * HOUR, derived(1))
    await tick(clock_pool, DUE_AT + DAY)
    again = (await log(database, business_id))[3][1]
    assert (again.episode, again.replaces) == (2, id_of_cause(business_id, await last_cause(database, 3)))


async def last_cause(database: str, sequence: int) -> str:
    """The cause of one event."""
    connection = await asyncpg.connect(database)
    cause: str = await connection.fetchval("select cause from setbook.event where sequence = $1", sequence)
    await connection.close()
    return cause


async def test_four_clocks_at_once_say_each_thing_once_and_without_gaps(
    database: str, pool: Pool, business_id: UUID
) -> None:
    others = [await new_business(database) for _ in range(3)]
    businesses = [business_id, *others]
    for one in businesses:
        await learn(pool, one, MONDAY, *(derived(n) for n in range(1, 251)))
    clocks = [await open_pool(database, "clock", 1) for _ in range(4)]
    writing = [learn(pool, one, DUE_AT + MINUTE, derived(1_000)) for one in businesses]
    said, *_ = await asyncio.gather(
        asyncio.gather(*(tick(one, DUE_AT, limit=40) for one in clocks)), *writing
    )
    assert sum(said) == 4 * 250
    assert await tick(clocks[0], DUE_AT + MINUTE + 10 * MINUTE) == 4
    for one in clocks:
        await one.close()
    for one in businesses:
        told = await log(database, one)
        assert Counter(types(told)) == {"check.overdue": 251}
        assert len({event.deadline_id for _, event in told}) == 251


async def test_one_statement_takes_no_more_than_its_share_of_one_business(
    database: str, pool: Pool, clock_pool: Pool, business_id: UUID
) -> None:
    await learn(pool, business_id, MONDAY, *(derived(n) for n in range(1, MOST_OF_ONE_BUSINESS + 51)))
    first = await clock_pool.fetchval(sql.say_what_is_due.text, DUE_AT, 1_000, MOST_OF_ONE_BUSINESS)
    assert first == MOST_OF_ONE_BUSINESS
    assert await tick(clock_pool, DUE_AT) == 50
    assert len(await log(database, business_id)) == MOST_OF_ONE_BUSINESS + 50


async def test_what_has_been_told_is_not_told_again_after_the_row_forgot_it(
    database: str, pool: Pool, clock_pool: Pool, business_id: UUID
) -> None:
    await learn(pool, business_id, MONDAY, derived(1), derived(2))
    await tick(clock_pool, DUE_AT)
    connection = await asyncpg.connect(database)
    await connection.execute(
        "update setbook.deadline set wake_at = $1, wake_type = 'check.overdue', announced_event_id = null"
        " where subject_id = $2", DUE_AT, UUID(int=1)
    )  # fmt: skip
    await connection.close()
    assert await tick(clock_pool, DUE_AT + HOUR) == 1
    assert len(await log(database, business_id)) == 2


async def test_a_courier_is_woken_by_what_the_clock_says(
    database: str, pool: Pool, clock_pool: Pool, business_id: UUID
) -> None:
    await learn(pool, business_id, MONDAY, derived(1), derived(2))
    heard: asyncio.Queue[object] = asyncio.Queue()
    ear = await asyncpg.connect(database)
    await ear.add_listener("setbook_event", lambda *call: heard.put_nowait(call[3]))
    await tick(clock_pool, DUE_AT)
    assert await asyncio.wait_for(heard.get(), 10) == str(business_id)
    await ear.close()
    assert heard.empty()


async def test_an_empty_tick_reads_a_few_pages_of_its_index(
    database: str, pool: Pool, clock_pool: Pool, business_id: UUID
) -> None:
    await learn(pool, business_id, MONDAY, *(derived(n) for n in range(1, 1_001)))
    connection = await asyncpg.connect(database)
    await connection.execute("vacuum analyze setbook.deadline")
    await connection.close()
    plan = await clock_pool.fetchval(
        f"explain (analyze, buffers, format json) {sql.say_what_is_due.text}",
        MONDAY,
        1_000,
        MOST_OF_ONE_BUSINESS,
    )
    top = plan[0]["Plan"]
    assert "deadline_wake" in str(plan)
    assert top["Shared Hit Blocks"] + top["Shared Read Blocks"] <= 10
