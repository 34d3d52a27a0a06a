"""The clock against a real database: once per cause with many clocks, settling time, gap-free numbers."""

import asyncio
from collections import Counter
from contextlib import AsyncExitStack
from datetime import timedelta
from uuid import UUID

import msgspec
import pytest
from msgspec.structs import replace

from service.deadlines.models import Derived, Kind, KnownBy
from service.deadlines.rules import deadline_id
from service.deadlines.said import explanation
from service.deadlines.ticks import MOST_OF_ONE_BUSINESS, sql, tick
from service.deadlines.words import (
    CheckDueSoon,
    CheckOverdue,
    CheckSettled,
    LawnDueSoon,
    LawnFollowupDue,
    LawnOverdue,
    LawnSettled,
    Reminder,
    ReportDue,
    RunLookDue,
    SetSearchDue,
)
from service.kernel.db import Pool, connect, open_pool
from service.kernel.ids import id_of_cause
from tests.deadlines.facts import (
    DAY,
    DUE_AT,
    HOUR,
    MINUTE,
    MONDAY,
    PHONE,
    PLACE,
    derived,
    ended,
    learn,
    new_business,
)

EVENTS: dict[str, type[Reminder]] = {
    one.event_type: one
    for one in (
        CheckDueSoon, CheckOverdue, CheckSettled, SetSearchDue, RunLookDue,
        LawnDueSoon, LawnOverdue, LawnSettled, LawnFollowupDue, ReportDue,
    )
}  # fmt: skip
PATIENCE_SECONDS = 60


async def log(database: str, business_id: UUID) -> list[tuple[str, Reminder]]:
    """Type and data of all that was told, in order; numbers without gap, data strictly as its type says."""
    async with connect(database) as reader:
        rows = await reader.fetch(
            "select sequence, id, type, data::text, cause from setbook.event where business_id = $1 order by 1",
            business_id,
        )
        counted = await reader.fetchval(
            "select value from setbook.counter where business_id = $1", business_id
        )
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
        "explanation": explanation(derived().why),
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
    ("lawn_cover", ["lawn.due_soon", "lawn.overdue"]),
    ("report", ["report.due"]),
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
    async with connect(database) as reader:
        cause: str = await reader.fetchval("select cause from setbook.event where sequence = $1", sequence)
    return cause


async def test_four_clocks_at_once_say_each_thing_once_and_without_gaps(
    database: str, pool: Pool, business_id: UUID
) -> None:
    others = [await new_business(database) for _ in range(3)]
    businesses = [business_id, *others]
    for one in businesses:
        await learn(pool, one, MONDAY, *(derived(n) for n in range(1, 251)))
    async with AsyncExitStack() as pools:
        clocks = [await pools.enter_async_context(await open_pool(database, "clock", 1)) for _ in range(4)]
        writing = [learn(pool, one, DUE_AT + MINUTE, derived(1_000)) for one in businesses]
        said, *_ = await asyncio.gather(
            asyncio.gather(*(tick(one, DUE_AT, limit=40) for one in clocks)), *writing
        )
        assert sum(said) == 4 * 250
        assert await tick(clocks[0], DUE_AT + MINUTE + 10 * MINUTE) == 4
    for one in businesses:
        told = await log(database, one)
        assert Counter(types(told)) == {"check.overdue": 251}
        assert len({event.deadline_id for _, event in told}) == 251


async def test_one_statement_takes_no_more_than_its_share_of_one_business(
    database: str, pool: Pool, clock_pool: Pool, business_id: UUID
) -> None:
    many = range(1, MOST_OF_ONE_BUSINESS + 51)
    await learn(pool, business_id, MONDAY, *(derived(n, "set_search") for n in many))
    first = await clock_pool.fetchrow(
        sql.say_what_is_due.text, DUE_AT, None, None, 1_000, MOST_OF_ONE_BUSINESS
    )
    assert (first["claimed"], first["said"]) == (MOST_OF_ONE_BUSINESS + 50, MOST_OF_ONE_BUSINESS)
    assert await tick(clock_pool, DUE_AT) == 50
    assert len(await log(database, business_id)) == MOST_OF_ONE_BUSINESS + 50


async def test_a_due_instant_that_moved_and_came_back_is_not_told_of_again(
    database: str, pool: Pool, clock_pool: Pool, business_id: UUID
) -> None:
    await learn(pool, business_id, MONDAY, derived(1), derived(2))
    assert await tick(clock_pool, DUE_AT - 3 * HOUR) == 2
    moved = replace(derived(1), due_at=DUE_AT + DAY)
    await learn(pool, business_id, DUE_AT - 2 * HOUR, moved)
    await learn(pool, business_id, DUE_AT - HOUR, derived(1))
    assert await tick(clock_pool, DUE_AT - HOUR) == 0
    assert types(await log(database, business_id)) == ["check.due_soon"] * 2
    assert await tick(clock_pool, DUE_AT) == 2
    assert Counter(types(await log(database, business_id))) == {"check.due_soon": 2, "check.overdue": 2}


async def test_a_report_names_its_permit_and_a_cover_its_set(
    database: str, pool: Pool, clock_pool: Pool, business_id: UUID
) -> None:
    report = replace(derived(1, "report"), property_id=None, due_at=DUE_AT + 14 * DAY)
    await learn(pool, business_id, MONDAY, report, derived(2, "lawn_cover"))
    assert await tick(clock_pool, DUE_AT - HOUR) == 1
    assert await tick(clock_pool, DUE_AT) == 2
    assert await tick(clock_pool, DUE_AT + 15 * DAY) == 0
    told = [event for _, event in await log(database, business_id)]
    soon, *at_once = told
    assert isinstance(soon, LawnDueSoon)
    assert (soon.set_id, soon.sign_id, soon.due_at) == (UUID(int=2), None, DUE_AT)
    (overdue,) = (event for event in at_once if isinstance(event, LawnOverdue))
    assert (overdue.set_id, overdue.property_id) == (UUID(int=2), PLACE.property_id)
    (due,) = (event for event in at_once if isinstance(event, ReportDue))
    assert (due.permit_id, due.due_at) == (UUID(int=1), DUE_AT + 14 * DAY)
    # the cover is taken off too late, the report is sent
    await learn(
        pool, business_id, DUE_AT + 15 * DAY, *(ended_of(one) for one in (report, derived(2, "lawn_cover")))
    )
    *_, (last, settled) = await log(database, business_id)
    assert (last, settled.deadline_id) == ("lawn.settled", overdue.deadline_id)
    assert len(await log(database, business_id)) == 4


def ended_of(one: Derived) -> Derived:
    """The same, done an hour after it was due."""
    return replace(one, state="late", outcome="late", met_at=one.due_at + HOUR, met_by_fact_id=UUID(int=99))


async def test_a_courier_is_woken_by_what_the_clock_says(
    database: str, pool: Pool, clock_pool: Pool, business_id: UUID
) -> None:
    await learn(pool, business_id, MONDAY, derived(1), derived(2))
    heard: asyncio.Queue[object] = asyncio.Queue()
    async with connect(database) as ear:
        await ear.add_listener("setbook_event", lambda *call: heard.put_nowait(call[3]))
        await tick(clock_pool, DUE_AT)
        assert await asyncio.wait_for(heard.get(), PATIENCE_SECONDS) == str(business_id)
    assert heard.empty()
