"""When something is due, against worked cases, published changes of clocks and a second library."""

from datetime import UTC, date, datetime, time, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from whenever import Date, Instant, Time

from service.deadlines.looks import look_due
from service.deadlines.models import Attempt, Covered, Due, Place, RuleApplied
from service.deadlines.rules import day_end_due, deadline_id, earliest, is_met
from service.deadlines.why import explain
from service.identity.models import HousePolicy
from service.kernel.days import day_of, first_instant, local_date, next_day, start_of_day
from service.kernel.instants import known_zone

LA, NY = "America/Los_Angeles", "America/New_York"
DAILY = HousePolicy(calendar_days=1)
DAY_OF_HOURS = HousePolicy(elapsed_hours=24)
TICK = timedelta(microseconds=1)


def at(zone: str, text: str) -> datetime:
    """Local wall clock time as an instant."""
    return datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(zone)).astimezone(UTC)


def utc(text: str) -> datetime:
    """An instant, stated in UTC."""
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def a_place(zone: str, *policies: HousePolicy, attempts: list[Attempt] | None = None) -> Place:
    """A property with the business's policies; with none said, one look on every calendar day."""
    return Place(
        property_id=UUID(int=7), zone=zone, house_policies=list(policies or [DAILY]), attempts=attempts or []
    )


def due_of(started_at: datetime, place: Place) -> Due:
    """The due that there is."""
    due = look_due(started_at, place, Covered())
    assert due is not None
    return due


def test_a_deadline_has_the_same_id_wherever_it_is_worked_out() -> None:
    # RFC 9562 section 5.5, worked out by hand for these three ids
    made = deadline_id(
        UUID("0198f3a0-0000-7000-8000-000000000001"),
        "check",
        UUID("0198f3a0-0000-7000-8000-0000000000a1"),
        UUID("0198f3a0-0000-7000-8000-0000000000b2"),
    )
    assert made == UUID("7da18571-1f39-599a-8272-86cd8c58da76")


# zone, policies, started at (local), due at (UTC), acts (local) and whether each meets it: our own arithmetic
CASES = {
    "placed_in_the_morning": (
        LA, [DAILY], "2026-03-02T09:00", "2026-03-04T08:00",
        {"2026-03-03T17:00": True, "2026-03-03T23:59:59.999999": True, "2026-03-04T00:00": False},
    ),
    "the_look_that_met_it_starts_the_next": (LA, [DAILY], "2026-03-03T17:00", "2026-03-05T08:00", {}),
    "placed_just_before_midnight": (LA, [DAILY], "2026-03-02T23:50", "2026-03-04T08:00", {}),
    "clocks_go_forward_on_the_day_between": (LA, [DAILY], "2026-03-07T10:00", "2026-03-09T07:00", {}),
    "elapsed_over_the_spring_change": (
        NY, [DAY_OF_HOURS], "2026-03-07T06:00", "2026-03-08T11:00",
        {"2026-03-08T06:30": True, "2026-03-08T07:00": True, "2026-03-08T07:00:00.000001": False},
    ),
    "elapsed_over_the_autumn_change": (
        NY, [DAY_OF_HOURS], "2026-10-31T06:00", "2026-11-01T10:00",
        {"2026-11-01T05:00": True, "2026-11-01T05:30": False},
    ),
    "elapsed_and_daily_together": (
        NY, [HousePolicy(calendar_days=1, elapsed_hours=24)], "2026-03-07T06:00", "2026-03-08T11:00",
        {"2026-03-08T06:30": True, "2026-03-08T23:00": False},
    ),
    "a_day_without_midnight": ("Africa/Cairo", [DAILY], "2026-04-22T10:00", "2026-04-23T22:00", {}),
    "a_day_that_does_not_exist": ("Pacific/Apia", [DAILY], "2011-12-29T23:00", "2011-12-31T10:00", {}),
    "the_next_day_by_an_hour": (
        LA, [HousePolicy(latest_hour=12)], "2026-03-02T23:50", "2026-03-03T20:00",
        {"2026-03-03T12:00": True, "2026-03-03T12:00:00.000001": False},
    ),
    "an_hour_that_the_clock_jumps_over": (
        LA, [HousePolicy(latest_hour=2)], "2026-03-07T10:00", "2026-03-08T10:00",
        {"2026-03-08T03:00": True, "2026-03-08T03:00:00.000001": False},
    ),
    "an_hour_in_the_middle_of_a_longer_jump": (
        "Antarctica/Troll", [HousePolicy(latest_hour=2)], "2026-03-28T10:00", "2026-03-29T01:00", {},
    ),
    "the_first_of_an_hour_that_comes_twice": (
        LA, [HousePolicy(latest_hour=1)], "2026-10-31T10:00", "2026-11-01T08:00", {},
    ),
    "an_hour_after_a_day_that_does_not_exist": (
        "Pacific/Apia", [HousePolicy(latest_hour=9)], "2011-12-29T08:00", "2011-12-30T19:00", {},
    ),
    "three_calendar_days": (LA, [HousePolicy(calendar_days=3)], "2026-03-02T09:00", "2026-03-06T08:00", {}),
}  # fmt: skip


@pytest.mark.parametrize(("zone", "policies", "started", "due_at", "acts"), CASES.values(), ids=CASES)
def test_a_look_is_due_and_met_as_worked_out(
    zone: str, policies: list[HousePolicy], started: str, due_at: str, acts: dict[str, bool]
) -> None:
    due = due_of(at(zone, started), a_place(zone, *policies))
    assert due.due_at == utc(due_at)
    assert {act: is_met(at(zone, act), due) for act in acts} == acts


# Calendar-day and elapsed intervals taken apart by Monday-to-Tuesday pairs of looks: our own arithmetic
PAIRS = [
    # last look, next look, met by: a calendar day, 24 h, both, 48 h
    ("2026-03-02T07:00", "2026-03-03T19:00", (True, False, False, True)),
    ("2026-03-02T23:50", "2026-03-04T00:10", (False, False, False, True)),
    ("2026-03-07T06:00", "2026-03-08T06:30", (True, True, True, True)),
    ("2026-10-31T06:00", "2026-11-01T05:30", (True, False, False, True)),
]


@pytest.mark.parametrize(("last", "following", "met"), PAIRS)
def test_calendar_days_and_elapsed_hours_differ(last: str, following: str, met: tuple[bool, ...]) -> None:
    policies = [
        DAILY,
        DAY_OF_HOURS,
        HousePolicy(calendar_days=1, elapsed_hours=24),
        HousePolicy(elapsed_hours=48),
    ]
    found = [is_met(at(NY, following), due_of(at(NY, last), a_place(NY, one))) for one in policies]
    assert tuple(found) == met


def test_each_rule_keeps_its_own_instant() -> None:
    # Mon 23:50 to Wed 00:10 is 24 h 20 min: late by the hours and by the day that had no look
    late = due_of(at(NY, "2026-03-02T23:50"), a_place(NY, HousePolicy(calendar_days=1, elapsed_hours=24)))
    assert [one.due_at for one in late.rules] == [utc("2026-03-04T05:00"), utc("2026-03-04T04:50")]
    assert late.winner == "house_policy/elapsed"


def test_the_policy_of_the_local_date_of_the_start_decides() -> None:
    weekly = HousePolicy(effective_from=date(2026, 3, 1), calendar_days=7)
    summer = HousePolicy(effective_from=date(2026, 6, 1), elapsed_hours=24)
    place = a_place(LA, summer, HousePolicy(calendar_days=2), weekly)
    # 31 May 23:59 in Los Angeles is 1 June in UTC already
    assert due_of(at(LA, "2026-02-28T12:00"), place).due_at == at(LA, "2026-03-03T00:00")
    assert due_of(at(LA, "2026-05-31T23:59"), place).due_at == at(LA, "2026-06-08T00:00")
    assert due_of(at(LA, "2026-06-01T00:00"), place).due_at == at(LA, "2026-06-02T00:00")


def test_of_two_policies_of_one_date_the_one_listed_later_is_in_force() -> None:
    first, second = (HousePolicy(effective_from=date(2026, 3, 1), calendar_days=days) for days in (1, 2))
    assert due_of(at(LA, "2026-03-02T09:00"), a_place(LA, first, second)).due_at == at(LA, "2026-03-05T00:00")


def test_nothing_is_due_where_no_policy_speaks() -> None:
    later = HousePolicy(effective_from=date(2026, 3, 3), calendar_days=1)
    assert look_due(at(LA, "2026-03-02T09:00"), a_place(LA, later), Covered()) is None
    assert look_due(at(LA, "2026-03-02T09:00"), a_place(LA, HousePolicy()), Covered()) is None


def test_the_end_of_a_day_is_the_start_of_the_next_that_exists() -> None:
    due = day_end_due(
        at("Pacific/Apia", "2011-12-29T12:00"), a_place("Pacific/Apia"), 0, "by the day's end", "day_end"
    )
    assert due.due_at == utc("2011-12-30T10:00")
    assert due.winner == "day_end"
    assert is_met(due.due_at - TICK, due)
    assert not is_met(due.due_at, due)


def test_why_is_a_sentence_for_the_person_who_has_to_go() -> None:
    started_at = at(LA, "2026-03-02T09:00")
    why = explain("placed", started_at, due_of(started_at, a_place(LA)), a_place(LA))
    assert why.sentence == (
        "Look by Wed 4 Mar 2026 00:00 (America/Los_Angeles): placed Mon 2 Mar 09:00;"
        " House policy: one look on every local calendar day."
    )
    assert why.notice == "Local codes and licensed practice come first."
    assert (why.started_by, why.started_at, why.zone, why.attempts) == ("placed", started_at, LA, [])


def test_why_shows_every_rule_and_which_one_was_first() -> None:
    place = a_place(NY, HousePolicy(calendar_days=1, elapsed_hours=24, name="Alder policy"))
    started_at = at(NY, "2026-03-07T06:00")
    why = explain("last look", started_at, due_of(started_at, place), place)
    assert why.sentence == (
        "Look by Sun 8 Mar 2026 07:00 (America/New_York): last look Sat 7 Mar 06:00;"
        " Alder policy: a look within 24 hours;"
        " Alder policy: one look on every local calendar day, by Mon 9 Mar 00:00."
    )
    assert [(one.kind, one.inputs, one.due_at) for one in why.rules] == [
        ("calendar_day", {"days": 1}, utc("2026-03-09T04:00")),
        ("elapsed", {"hours": 24}, utc("2026-03-08T11:00")),
    ]
    assert why.winner == "house_policy/elapsed"


def test_a_rule_that_sets_no_instant_is_shown_and_never_computed() -> None:
    regularly = RuleApplied(
        rule_name="regularly",
        rule="Code of practice: looked at regularly",
        kind="qualitative",
        state="law",
        inputs={},
        due_at=None,
    )
    started_at = at(LA, "2026-03-02T09:00")
    due = earliest([regularly, *due_of(started_at, a_place(LA)).rules])
    assert due.due_at == utc("2026-03-04T08:00")
    assert is_met(at(LA, "2026-03-03T12:00"), due)
    assert explain("placed", started_at, due, a_place(LA)).sentence.endswith(
        "one look on every local calendar day; Code of practice: looked at regularly, which sets no instant."
    )


def test_a_locked_gate_shows_in_the_why_and_meets_nothing() -> None:
    tries = [
        Attempt(visit_id=UUID(int=n), arrived_at=at(LA, text), reason="the gate at Mill Lane")
        for n, text in enumerate(["2026-03-02T08:59", "2026-03-03T11:00", "2026-03-04T09:00"])
    ]
    place = a_place(LA, attempts=tries)
    started_at = at(LA, "2026-03-02T09:00")
    due = due_of(started_at, place)
    still_open = explain("placed", started_at, due, place, task="Search")
    assert still_open.attempts == tries[1:]
    assert still_open.sentence.startswith("Search by ")
    assert still_open.sentence.endswith(
        "; no access Tue 3 Mar 11:00, which meets nothing; no access Wed 4 Mar 09:00, which meets nothing."
    )
    closed = explain("placed", started_at, due, place, met_at=at(LA, "2026-03-03T17:00"))
    assert closed.attempts == tries[1:2]


# Changes of the clock: zone, instant of the change, offset before and after in minutes. Source: IANA time
# zone database, release 2026, files northamerica (15 U.S.C. 260a), europe (Directive 2000/84/EC), africa,
# asia, australasia (Daylight Time Order 2007; Standard Time Acts of states), southamerica and antarctica.
CHANGES = [
    ("America/Los_Angeles", "2026-03-08T10:00", -480, -420),
    ("America/Los_Angeles", "2026-11-01T09:00", -420, -480),
    ("America/New_York", "2026-03-08T07:00", -300, -240),
    ("America/New_York", "2026-11-01T06:00", -240, -300),
    ("America/St_Johns", "2026-03-08T05:30", -210, -150),
    ("Europe/Amsterdam", "2026-03-29T01:00", 60, 120),
    ("Europe/Amsterdam", "2026-10-25T01:00", 120, 60),
    ("Europe/London", "2026-03-29T01:00", 0, 60),
    ("Africa/Cairo", "2026-04-23T22:00", 120, 180),
    ("Africa/Cairo", "2026-10-29T21:00", 180, 120),
    ("Asia/Beirut", "2026-03-28T22:00", 120, 180),
    ("Asia/Beirut", "2026-10-24T21:00", 180, 120),
    ("Pacific/Auckland", "2026-04-04T14:00", 780, 720),
    ("Pacific/Auckland", "2026-09-26T14:00", 720, 780),
    ("Australia/Sydney", "2026-04-04T16:00", 660, 600),
    ("Australia/Sydney", "2026-10-03T16:00", 600, 660),
    ("Australia/Lord_Howe", "2026-04-04T15:00", 660, 630),
    ("Australia/Lord_Howe", "2026-10-03T15:30", 630, 660),
    ("America/Santiago", "2026-04-05T03:00", -180, -240),
    ("America/Santiago", "2026-09-06T04:00", -240, -180),
    ("America/Sao_Paulo", "2018-11-04T03:00", -180, -120),
    ("America/Sao_Paulo", "2019-02-17T02:00", -120, -180),
    ("Antarctica/Troll", "2026-03-29T01:00", 0, 120),
    ("Pacific/Apia", "2011-12-30T10:00", -600, 840),
]


@pytest.mark.parametrize(("zone", "instant", "before", "after"), CHANGES)
def test_the_zone_data_knows_the_published_changes(zone: str, instant: str, before: int, after: int) -> None:
    change = utc(instant)
    offsets = [(change + step).astimezone(ZoneInfo(zone)).utcoffset() for step in (-TICK, timedelta())]
    assert offsets == [timedelta(minutes=before), timedelta(minutes=after)]


@pytest.mark.parametrize(("zone", "instant", "before", "after"), CHANGES)
def test_days_and_hours_round_a_change_begin_where_a_second_library_says(
    zone: str, instant: str, before: int, after: int
) -> None:
    change = utc(instant)
    middle = local_date(change, ZoneInfo(zone))
    for day in (middle + timedelta(days=n) for n in range(-2, 3)):
        assert start_of_day(day, ZoneInfo(zone)) == _first_by_whenever(day, 0, zone), day
        for hour in range(24):
            assert first_instant(day, time(hour), ZoneInfo(zone)) == _first_by_whenever(day, hour, zone)


def _first_by_whenever(day: date, hour: int, zone: str) -> datetime:
    """The first instant of a local hour: as read, or the end of the gap that it falls into."""
    wall = Date(day.year, day.month, day.day).at(Time(hour))
    found = wall.assume_tz(zone, disambiguation="earlier")
    if found.to_plain() != wall:
        # `earlier` reads a skipped time by the offset after the gap; minute by minute on to the far side
        step = found.to_instant()
        while step.to_tz(zone).to_plain() < wall:
            step = step.add(minutes=1)
        return datetime.fromisoformat(str(step))
    return datetime.fromisoformat(str(found.to_instant()))


def test_a_midnight_inside_a_jump_begins_the_day_where_the_jump_ends() -> None:
    # Toronto, 1919: 23:30 on 30 March was followed by 00:30 (IANA time zone database, file northamerica)
    begins = start_of_day(date(1919, 3, 31), ZoneInfo("America/Toronto"))
    assert begins == utc("1919-03-31T04:30")


some_zones = st.timezone_keys(allow_prefix=False).filter(known_zone)
some_days = st.dates(date(2010, 1, 1), date(2040, 12, 31))
some_instants = st.datetimes(datetime(2010, 1, 2), datetime(2040, 12, 30), timezones=st.just(UTC))  # noqa: DTZ001


@given(some_zones, some_days)
def test_days_cover_the_line_without_gap_or_overlap(key: str, day: date) -> None:
    zone = ZoneInfo(key)
    following = next_day(day, zone)
    begins, ends = start_of_day(day, zone), start_of_day(following, zone)
    assert ends == start_of_day(day + timedelta(days=1), zone)
    is_a_day = local_date(begins, zone) == day
    assert begins < ends if is_a_day else begins == ends
    # nothing of the day lies before its start, nothing of the next before its end
    assert local_date(begins - TICK, zone) < day
    assert local_date(ends - TICK, zone) < following


@given(some_zones, some_instants)
def test_every_instant_lies_in_its_day(key: str, instant: datetime) -> None:
    zone = ZoneInfo(key)
    assert start_of_day(local_date(instant, zone), zone) <= instant
    second = Instant(instant.isoformat()).to_tz(key).date()
    assert local_date(instant, zone) == date(second.year, second.month, second.day)


@given(some_zones, some_instants, st.timedeltas(timedelta(), timedelta(days=3)), st.integers(1, 14))
def test_a_later_look_is_never_due_earlier(key: str, instant: datetime, later: timedelta, days: int) -> None:
    place = a_place(key, HousePolicy(calendar_days=days))
    first, second = due_of(instant, place), due_of(instant + later, place)
    assert first.due_at <= second.due_at


@given(some_zones, some_instants, st.integers(1, 14))
def test_calendar_days_end_with_the_nth_day_after(key: str, instant: datetime, days: int) -> None:
    zone = ZoneInfo(key)
    due = due_of(instant, a_place(key, HousePolicy(calendar_days=days)))
    last = day_of(instant, zone)
    for _ in range(days):
        last = next_day(last, zone)
    assert is_met(instant, due)
    assert is_met(start_of_day(last, zone), due)
    assert local_date(due.due_at - TICK, zone) == last
    assert local_date(due.due_at, zone) == next_day(last, zone)


some_policies = st.builds(
    HousePolicy,
    calendar_days=st.none() | st.integers(1, 14),
    latest_hour=st.none() | st.integers(1, 23),
    elapsed_hours=st.none() | st.integers(1, 336),
)


@given(some_zones, some_instants, some_policies, st.timedeltas(-timedelta(days=2), timedelta(days=2)))
def test_due_is_the_minimum_and_met_asks_every_rule(
    key: str, instant: datetime, policy: HousePolicy, off: timedelta
) -> None:
    due = look_due(instant, a_place(key, policy), Covered())
    parts = [
        look_due(instant, a_place(key, one), Covered())
        for one in (
            HousePolicy(calendar_days=policy.calendar_days),
            HousePolicy(latest_hour=policy.latest_hour),
            HousePolicy(elapsed_hours=policy.elapsed_hours),
        )
    ]
    computed = [one for one in parts if one is not None]
    if due is None:
        assert computed == []
        return
    assert due.due_at == min(one.due_at for one in computed)
    act = due.due_at + off
    assert is_met(act, due) == all(is_met(act, one) for one in computed)
    assert not is_met(due.due_at + TICK, due)
    assert is_met(due.due_at - TICK, due)


def test_what_a_clock_shows_twice_over_midnight_lies_in_the_day_that_had_begun() -> None:
    # St. John's, 2010-11-07: at 00:01 the clock went back to 23:01 (IANA time zone database, file northamerica)
    zone = ZoneInfo("America/St_Johns")
    began = at("America/St_Johns", "2010-11-07T00:00:30")
    again = began + timedelta(minutes=30)
    assert (local_date(again, zone), day_of(again, zone)) == (date(2010, 11, 6), date(2010, 11, 7))
    place = a_place("America/St_Johns")
    assert due_of(began, place).due_at == due_of(again, place).due_at
