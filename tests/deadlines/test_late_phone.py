"""A phone that brings its looks late: what the clock says before, and takes back after. Our own arithmetic.

Los Angeles in the first week of March 2026, UTC-8: a look on every local calendar day.
"""

import itertools
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

import msgspec

from service.deadlines.rules import deadline_id
from service.deadlines.ticks import tick
from service.kernel.db import Pool
from tests.bodies import a_check, a_set, a_visit, an_id
from tests.http import Api, Clock

SET = an_id(30)
MONDAY, TUESDAY, WEDNESDAY, THURSDAY, FRIDAY = (
    datetime.fromisoformat(f"2026-03-0{day}T{clock}:00-08:00")
    for day, clock in ((2, "09:00"), (3, "17:00"), (4, "16:00"), (5, "10:00"), (6, "09:00"))
)
MOMENT = timedelta(minutes=5)


def visit(number: int, at: datetime, set_id: str = SET) -> dict[str, Any]:
    """Visit 100, 101 ... at an instant: the first places the set, the others look at it."""
    if at == MONDAY:
        facts = {"sets": [a_set(id=set_id, placed_at=at.isoformat())]}
    else:
        facts = {"checks": [a_check(id=an_id(number + 0x1000), set_id=set_id, checked_at=at.isoformat())]}
    return a_visit(id=an_id(number), arrived_at=at.isoformat(), **facts)


async def send(api: Api, clock: Clock, number: int, at: datetime, now: datetime) -> None:
    """The phone brings the visit at that instant."""
    clock.now = now
    answer = await api.post("visits", visit(number, at))
    assert answer.status_code == 201, answer.text


async def words(api: Api) -> list[tuple[str, str, str | None]]:
    """Of each word about checks: its type, the due instant it speaks of, the outcome."""
    told = [one for one in await api.told() if one["type"].startswith("check.")]
    return [(one["type"], one["data"]["due_at"], one["data"].get("outcome")) for one in told]


async def checks_of(api: Api, set_id: str = SET) -> list[tuple[str, str, str | None]]:
    """Of each look due at the set: the due instant, the state, when it was met."""
    rows = await api.items(f"deadlines?subject_id={set_id}&kind=check")
    return [(one["due_at"], one["state"], one.get("met_at")) for one in rows]


async def test_a_look_that_comes_late_takes_a_false_alarm_back(
    api: Api, clock: Clock, clock_pool: Pool
) -> None:
    await send(api, clock, 100, MONDAY, MONDAY + MOMENT)
    await send(api, clock, 101, TUESDAY, TUESDAY + MOMENT)
    # the clock wakes every ten minutes, from Wednesday noon to a quarter past midnight
    for waking in range(74):
        await tick(clock_pool, datetime.fromisoformat("2026-03-04T12:00:00-08:00") + waking * MOMENT * 2)
    alarm = [
        ("check.due_soon", "2026-03-05T08:00:00Z", None),
        ("check.overdue", "2026-03-05T08:00:00Z", None),
    ]
    assert await words(api) == alarm
    await send(api, clock, 103, THURSDAY, THURSDAY + MOMENT)
    settled = [("check.settled", "2026-03-05T08:00:00Z", "late")]
    assert await words(api) == alarm + settled
    assert await checks_of(api) == [
        ("2026-03-04T08:00:00Z", "met", "2026-03-04T01:00:00Z"),
        ("2026-03-05T08:00:00Z", "late", "2026-03-05T18:00:00Z"),
        ("2026-03-07T08:00:00Z", "open", None),
    ]
    await send(api, clock, 102, WEDNESDAY, FRIDAY)
    await tick(clock_pool, FRIDAY + MOMENT)
    assert await words(api) == [*alarm, *settled, ("check.settled", "2026-03-05T08:00:00Z", "met")]
    assert await checks_of(api) == [
        ("2026-03-04T08:00:00Z", "met", "2026-03-04T01:00:00Z"),
        ("2026-03-05T08:00:00Z", "met", "2026-03-05T00:00:00Z"),
        ("2026-03-06T08:00:00Z", "met", "2026-03-05T18:00:00Z"),
        ("2026-03-07T08:00:00Z", "open", None),
    ]
    overdue, late, met = await api.told("check.overdue", "check.settled")
    started_by_tuesday = deadline_id(api.business_id, "check", UUID(SET), UUID(an_id(0x1000 + 101)))
    assert {one["data"]["deadline_id"] for one in (overdue, late, met)} == {str(started_by_tuesday)}
    assert ("replaces" in late["data"], met["data"]["replaces"]) == (False, late["id"])
    assert met["data"]["met_at"] == "2026-03-05T00:00:00Z"


async def test_what_comes_all_at_once_raises_no_alarm_in_whatever_order(
    api: Api, clock: Clock, clock_pool: Pool
) -> None:
    orders = list(itertools.permutations((MONDAY, TUESDAY, WEDNESDAY, THURSDAY)))
    clock.now = FRIDAY
    for place, order in enumerate(orders):
        queue = [visit(place * 4 + 0x2000 + part, at, an_id(0x100 + place)) for part, at in enumerate(order)]
        body = b"\n".join(msgspec.json.encode({"visit": one}) for one in queue)
        answer = await api.post("visits/batch", body, Content_Type="application/x-ndjson")
        assert [msgspec.json.decode(line)["status"] for line in answer.content.splitlines()] == [201] * 4
        await tick(clock_pool, clock.now)
    # the settling time is over, and after it the longest one
    for later in (timedelta(minutes=11), timedelta(minutes=61), timedelta(hours=10)):
        await tick(clock_pool, FRIDAY + later)
    assert await words(api) == []
    for place in range(len(orders)):
        assert await checks_of(api, an_id(0x100 + place)) == [
            ("2026-03-04T08:00:00Z", "met", "2026-03-04T01:00:00Z"),
            ("2026-03-05T08:00:00Z", "met", "2026-03-05T00:00:00Z"),
            ("2026-03-06T08:00:00Z", "met", "2026-03-05T18:00:00Z"),
            ("2026-03-07T08:00:00Z", "open", None),
        ]
    await tick(clock_pool, datetime.fromisoformat("2026-03-07T00:00:00-08:00"))
    overdue = [one for one in await words(api) if one[0] == "check.overdue"]
    assert overdue == [("check.overdue", "2026-03-07T08:00:00Z", None)] * len(orders)


async def test_a_false_alarm_that_was_true_after_all_is_said_again(
    api: Api, clock: Clock, clock_pool: Pool
) -> None:
    await send(api, clock, 100, MONDAY, MONDAY + MOMENT)
    await send(api, clock, 101, TUESDAY, TUESDAY + MOMENT)
    await tick(clock_pool, THURSDAY - timedelta(hours=1))
    await send(api, clock, 102, WEDNESDAY, THURSDAY)
    # the office takes the look back: nobody was there on Wednesday
    clock.now = THURSDAY + MOMENT
    assert (await api.delete(f"visits/{an_id(102)}", If_Match='"1"')).status_code == 200
    # known late, it is said again once the phone has been quiet for ten minutes
    await tick(clock_pool, THURSDAY + 2 * MOMENT)
    await tick(clock_pool, THURSDAY + 3 * MOMENT)
    due_at = "2026-03-05T08:00:00Z"
    assert await words(api) == [
        ("check.overdue", due_at, None),
        ("check.settled", due_at, "met"),
        ("check.overdue", due_at, None),
    ]
    first, again = await api.told("check.overdue")
    assert (first["data"]["episode"], again["data"]["episode"]) == (1, 2)
