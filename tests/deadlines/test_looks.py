"""Every kind of rule of a pack, alone and beside others: what is due, who may look, what is left out."""

from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from astral import Observer
from astral.sun import sunrise
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from service.deadlines.looks import is_accepted, look_due
from service.deadlines.models import Covered
from service.deadlines.rules import is_met
from service.deadlines.sun import rises_at
from service.deadlines.why import explain
from service.identity.models import HousePolicy
from service.packs.models import (
    AfterSunrise,
    CalendarDay,
    Elapsed,
    Exemption,
    LatestHour,
    Qualitative,
    Rule,
    SinceWord,
    WhoMayLook,
    Word,
)
from tests.deadlines.builders import DAILY, a_pack, a_place, a_point, a_word, at, due_of

LA, NY, PARIS, AUCKLAND = "America/Los_Angeles", "America/New_York", "Europe/Paris", "Pacific/Auckland"
TICK = timedelta(microseconds=1)
DAY = CalendarDay(id="daily", sentence="A look on every local calendar day.")
HOURS_24 = Elapsed(id="each-24-h", sentence="A look within 24 hours.", hours=24)
HOURS_48 = Elapsed(id="each-48-h", sentence="A look within 48 hours.", hours=48)


# last look and next (local), and whether a calendar day, 24 h, both, and 48 h are met: our own arithmetic
VECTORS = [
    ("2026-03-02T07:00", "2026-03-03T19:00", (True, False, False, True)),
    ("2026-03-02T23:50", "2026-03-04T00:10", (False, False, False, True)),
    # wall 24 h 30, elapsed 23 h 30: clocks went forward on Sunday the 8th (15 U.S.C. 260a)
    ("2026-03-07T06:30", "2026-03-08T07:00", (True, True, True, True)),
    # wall 23 h 30, elapsed 24 h 30: clocks went back on Sunday 1 November
    ("2026-10-31T06:30", "2026-11-01T06:00", (True, False, False, True)),
]


@pytest.mark.parametrize(("last", "following", "met"), VECTORS)
def test_days_and_hours_are_met_each_by_its_own_measure(
    last: str, following: str, met: tuple[bool, ...]
) -> None:
    packs = [a_pack(DAY), a_pack(HOURS_24), a_pack(DAY, HOURS_24), a_pack(HOURS_48)]
    found = [is_met(at(LA, following), due_of(at(LA, last), a_place(LA, pack))) for pack in packs]
    assert tuple(found) == met


def test_a_latest_hour_holds_on_the_next_day_and_takes_the_hour_itself() -> None:
    place = a_place(PARIS, a_pack(LatestHour(id="noon", sentence="By noon on every morning.", hour=12)))
    for started in ("2026-05-11T00:05", "2026-05-11T11:00", "2026-05-11T23:55"):
        due = due_of(at(PARIS, started), place)
        assert due.due_at == at(PARIS, "2026-05-12T12:00")
        assert (is_met(due.due_at, due), is_met(due.due_at + TICK, due)) == (True, False)


# Sunrise ----------------------------------------------------------------------------------------------------
PLACES = [
    ("Pacific/Auckland", 174.76, -36.85), ("Pacific/Auckland", 170.50, -45.87), ("Europe/Paris", 2.35, 48.86),
    ("America/Los_Angeles", -124.16, 40.80), ("America/Lima", -77.03, -12.05), ("Europe/London", -4.20, 57.50),
    ("Asia/Kolkata", 77.21, 28.61), ("Pacific/Apia", -171.77, -13.83),
]  # fmt: skip


@pytest.mark.parametrize(("zone", "longitude", "latitude"), PLACES)
def test_sunrise_agrees_with_a_second_library_to_two_minutes(
    zone: str, longitude: float, latitude: float
) -> None:
    for day in (date(2026, 1, 1) + timedelta(days=9 * step) for step in range(41)):
        second = sunrise(Observer(latitude, longitude), date=day, tzinfo=ZoneInfo(zone))
        found = rises_at(day, a_point(longitude, latitude), ZoneInfo(zone))
        assert found is not None
        assert found.astimezone(ZoneInfo(zone)).date() == day
        assert abs(found - second) <= timedelta(minutes=2), day


AFTER_12 = AfterSunrise(id="sunrise", sentence="Within 12 hours after sunrise on each day.", hours=12)


def test_hours_after_sunrise_run_from_the_next_days_sunrise_at_the_property() -> None:
    place = a_place(AUCKLAND, a_pack(AFTER_12), position=a_point(174.76, -36.85))
    due = due_of(at(AUCKLAND, "2026-11-24T09:00"), place)
    rise = rises_at(date(2026, 11, 25), a_point(174.76, -36.85), ZoneInfo(AUCKLAND))
    assert rise is not None
    assert due.due_at == rise + timedelta(hours=12)
    assert due.rules[0].inputs["sunrise_at"] == f"{rise:%Y-%m-%dT%H:%M:%SZ}"
    assert is_met(due.due_at, due)


@pytest.mark.parametrize(
    ("zone", "started", "position", "said"),
    [
        (AUCKLAND, "2026-11-24T09:00", None, "the property has no position"),
        # 70 degrees north: from late November the sun stays down for two months
        ("Europe/Oslo", "2026-12-20T09:00", a_point(25.8, 70.5), "the sun does not rise on that day"),
        ("Europe/Oslo", "2026-06-20T09:00", a_point(25.8, 70.5), "the sun does not rise on that day"),
    ],
)
def test_without_a_sunrise_the_calendar_day_decides_and_the_why_says_so(
    zone: str, started: str, position: Any, said: str
) -> None:
    place = a_place(zone, a_pack(AFTER_12), position=position)
    started_at = at(zone, started)
    due = due_of(started_at, place)
    assert due.due_at == due_of(started_at, a_place(zone, a_pack(DAY))).due_at
    assert said in explain("placed", started_at, due, place).sentence


# Words of a monitor, and notices --------------------------------------------------------------------------
ALARM = SinceWord(
    id="alarm", sentence="Within 24 hours of the alarm.", word="alarm", hours=24, instead_of=["daily"]
)
CONTACT = SinceWord(
    id="contact",
    sentence="Within 24 hours of the last contact.",
    word="last_contact",
    hours=24,
    instead_of=["daily"],
)
MONITORED = a_pack(DAY, ALARM, CONTACT)


def heard(*words: tuple[str, str]) -> list[Any]:
    """Contacts in New York: local time, and what was said."""
    return [
        a_word(at(NY, when), *(["alarm", "last_contact"] if said == "alarm" else [said]), number=n)  # type: ignore[list-item]
        for n, (when, said) in enumerate(words)
    ]


# set on Monday 11 May at 09:00; the day's rule alone says the start of Wednesday the 13th: our own arithmetic
MONITORS = {
    "silent": ([], "2026-05-13T00:00", "sample-act/daily"),
    "it_works": ([("2026-05-11T21:00", "last_contact")], "2026-05-12T21:00", "sample-act/contact"),
    "it_goes_on_working": (
        [
            ("2026-05-12T08:00", "last_contact"),
            ("2026-05-11T21:00", "last_contact"),
            ("2026-05-13T07:30", "last_contact"),
        ],
        "2026-05-14T07:30", "sample-act/contact",
    ),
    "after_a_silence_the_look_was_owed": (
        [("2026-05-11T21:00", "last_contact"), ("2026-05-12T22:00", "last_contact")],
        "2026-05-12T21:00", "sample-act/contact",
    ),
    "an_alarm_counts_from_the_first": (
        [("2026-05-11T21:00", "last_contact"), ("2026-05-12T05:00", "alarm"), ("2026-05-12T06:00", "alarm")],
        "2026-05-13T05:00", "sample-act/alarm",
    ),
    "a_monitor_that_wakes_too_late_undoes_nothing": (
        [("2026-05-13T08:00", "last_contact")], "2026-05-13T00:00", "sample-act/daily",
    ),
}  # fmt: skip


@pytest.mark.parametrize(("words", "due_at", "winner"), MONITORS.values(), ids=MONITORS)
def test_a_monitor_that_reports_stands_in_for_the_daily_look(
    words: list[tuple[str, str]], due_at: str, winner: str
) -> None:
    started_at = at(NY, "2026-05-11T09:00")
    due = due_of(started_at, a_place(NY, MONITORED), *heard(*words))
    assert (due.due_at, due.winner) == (at(NY, due_at), winner)
    daily = next(one for one in due.rules if one.rule_name == "sample-act/daily")
    assert (daily.replaced_by is None) == (winner == "sample-act/daily")
    # the house policy is a rule like any other, and no monitor stands in for it
    both = due_of(started_at, a_place(NY, MONITORED, policies=DAILY), *heard(*words))
    assert both.due_at == min(due.due_at, at(NY, "2026-05-13T00:00"))


def test_a_notice_of_a_capture_asks_for_a_look_within_its_hours() -> None:
    notice = SinceWord(id="notice", sentence="Within 24 hours of notice.", word="notice", hours=24)
    place = a_place(LA, a_pack(HOURS_48, notice))
    started_at = at(LA, "2026-05-11T09:00")
    assert due_of(started_at, place).due_at == at(LA, "2026-05-13T09:00")
    due = due_of(started_at, place, a_word(at(LA, "2026-05-11T18:00"), "notice"))
    assert (due.due_at, due.winner) == (at(LA, "2026-05-12T18:00"), "sample-act/notice")


def test_words_by_day_and_by_night_count_from_the_hour_and_from_sunrise() -> None:
    by_day = SinceWord(id="day", sentence="Within 5 hours.", word="alarm", hours=5, part_of_day="day")
    by_night = SinceWord(
        id="night",
        sentence="Within 2 hours after sunrise.",
        word="alarm",
        hours=2,
        part_of_day="night",
        from_sunrise=True,
    )
    place = a_place(PARIS, a_pack(by_day, by_night), position=a_point(2.35, 48.86), policies=DAILY)
    started_at = at(PARIS, "2026-05-11T09:00")
    noon = due_of(started_at, place, a_word(at(PARIS, "2026-05-11T12:00"), "alarm"))
    assert (noon.due_at, noon.winner) == (at(PARIS, "2026-05-11T17:00"), "sample-act/day")
    night = due_of(started_at, place, a_word(at(PARIS, "2026-05-11T23:30"), "alarm"))
    rise = rises_at(date(2026, 5, 12), a_point(2.35, 48.86), ZoneInfo(PARIS))
    assert rise is not None
    assert (night.due_at, night.winner) == (rise + timedelta(hours=2), "sample-act/night")


# Scope --------------------------------------------------------------------------------------------------------
MOLES = Exemption(id="moles", sentence="Moles are outside.", species=["Talpa", "Scapanus"])


def test_an_exemption_leaves_out_what_it_surely_covers_and_is_shown() -> None:
    noon = LatestHour(id="noon", sentence="By noon on every morning.", hour=12)
    place = a_place(PARIS, a_pack(noon, MOLES), policies=DAILY)
    started_at = at(PARIS, "2026-05-11T09:00")
    mole = due_of(started_at, place, target="Talpa europaea")
    assert mole.winner == "house_policy/calendar-day"
    shown = {one.rule_name: (one.due_at, one.exempted_by) for one in mole.rules}
    assert shown["sample-act/noon"] == (None, "sample-act/moles")
    assert "Moles are outside (law, Sample Act s 1)" in explain("placed", started_at, mole, place).sentence
    for target in ("Arvicola amphibius", "unidentified", None):
        assert due_of(started_at, place, target=target).winner == "sample-act/noon"


def test_a_rule_covers_its_mechanisms_its_animals_and_work_under_a_permit() -> None:
    cages = replace(HOURS_24, id="cages", mechanisms=["live_tunnel"])
    gophers = replace(HOURS_24, id="gophers", species=["Thomomys"])
    permitted = replace(HOURS_24, id="permitted", under_permit=True)

    def winner(rule: Rule, **covered: Any) -> str:
        return due_of(at(LA, "2026-05-11T09:00"), a_place(LA, a_pack(rule), policies=DAILY), **covered).winner

    house = "house_policy/calendar-day"
    assert winner(cages, mechanism="live_tunnel") == "sample-act/cages"
    assert winner(cages, mechanism="scissor_jaw") == house
    assert winner(gophers, target="Thomomys bottae") == "sample-act/gophers"
    assert winner(gophers, target="Scapanus latimanus") == house
    assert winner(permitted, under_permit=True) == "sample-act/permitted"
    assert winner(permitted) == house
    # of a set that nobody placed nothing is known: the stricter way
    assert (winner(cages), winner(gophers)) == ("sample-act/cages", "sample-act/gophers")


@pytest.mark.parametrize(
    ("place", "holds"),
    [
        ({"county": "Laurel County"}, True),
        ({"county": "laurel"}, True),
        ({"county": "Alder"}, False),
        ({"locality": "Dry Slough"}, True),
        ({}, False),
    ],
)
def test_a_pack_may_hold_in_some_counties_and_towns_alone(place: dict[str, str], holds: bool) -> None:
    pack = a_pack(HOURS_24, sub_areas=["Laurel"], places=["Dry Slough"])
    due = due_of(at(LA, "2026-05-11T09:00"), a_place(LA, pack, policies=DAILY, **place))
    assert (due.winner == "sample-act/each-24-h") == holds


def test_a_pack_holds_by_the_local_date_of_the_start_whatever_day_it_is_now() -> None:
    pack = a_pack(HOURS_24, effective_from=date(2026, 5, 11), effective_until=date(2026, 5, 12))
    place = a_place(LA, pack, policies=DAILY)
    winners = [due_of(at(LA, f"2026-05-{day}T23:59"), place).winner for day in (10, 11, 12)]
    assert winners == ["house_policy/calendar-day", "sample-act/each-24-h", "house_policy/calendar-day"]


def test_the_house_policy_may_be_off_where_a_law_speaks_and_nowhere_else() -> None:
    off = [HousePolicy(calendar_days=1, off_where_law_speaks=True)]
    started_at = at(LA, "2026-05-11T09:00")
    assert due_of(started_at, a_place(LA, a_pack(HOURS_48), policies=off)).due_at == at(
        LA, "2026-05-13T09:00"
    )
    caution = a_pack(HOURS_48, state="caution")
    assert due_of(started_at, a_place(LA, caution, policies=off)).due_at == at(LA, "2026-05-13T00:00")
    regularly = a_pack(Qualitative(id="regularly", sentence="Checked regularly."))
    assert due_of(started_at, a_place(LA, regularly, policies=off)).winner == "house_policy/calendar-day"


def test_a_rule_without_a_figure_is_shown_and_the_house_policy_decides() -> None:
    regularly = a_pack(Qualitative(id="regularly", sentence="Checked on a regular basis."))
    place = a_place(LA, regularly, policies=DAILY)
    started_at = at(LA, "2026-03-02T09:00")
    due = due_of(started_at, place)
    assert due.due_at == datetime(2026, 3, 4, 8, tzinfo=UTC)
    why = explain("placed", started_at, due, place)
    assert "Checked on a regular basis (law, Sample Act s 1), which sets no instant" in why.sentence
    assert why.notice.endswith("Sample Act s 1: text as of 2025, read on 2026-01-01, not reviewed.")
    assert look_due(started_at, a_place(LA, regularly), Covered()) is None


def test_a_region_in_which_no_pack_sets_a_look_is_said_to_be_so() -> None:
    place = a_place(LA, policies=DAILY)
    started_at = at(LA, "2026-03-02T09:00")
    why = explain("placed", started_at, due_of(started_at, place), place)
    assert why.notice.endswith(
        "No rule pack sets a look in AQ: the house policy decides; look up the local code."
    )


def test_whose_look_counts_is_for_every_rule_to_say() -> None:
    setter = WhoMayLook(id="setter", sentence="By the one who set it.", accepts=["setter"])
    anyone = WhoMayLook(
        id="anyone", sentence="By setter, owner or agent.", accepts=["worker", "customer", "agent"]
    )
    started_at = at(LA, "2026-05-11T09:00")
    strict = due_of(started_at, a_place(LA, a_pack(DAY, setter, anyone)))
    assert is_accepted(strict, {"worker", "setter"})
    assert not is_accepted(strict, {"worker"})
    assert not is_accepted(strict, {"customer"})
    mild = due_of(started_at, a_place(LA, a_pack(DAY, anyone)))
    assert is_accepted(mild, {"customer"})
    assert is_accepted(due_of(started_at, a_place(LA, policies=DAILY)), {"agent"})
    exempt = a_pack(DAY, setter, replace(MOLES, of=["setter"]))
    assert is_accepted(due_of(started_at, a_place(LA, exempt), target="Scapanus latimanus"), {"customer"})


# For all rules ------------------------------------------------------------------------------------------------
figures = st.integers(1, 100)
RULES = st.lists(
    st.one_of(
        st.builds(lambda n: CalendarDay(id=f"d{n}", sentence="Days.", days=1 + n % 14), figures),
        st.builds(lambda n: Elapsed(id=f"e{n}", sentence="Hours.", hours=n), figures),
        st.builds(lambda n: LatestHour(id=f"l{n}", sentence="Hour.", hour=1 + n % 23), figures),
        st.builds(lambda n: AfterSunrise(id=f"s{n}", sentence="Sun.", hours=1 + n % 20), figures),
        st.builds(
            lambda n: SinceWord(id=f"c{n}", sentence="Contact.", word="last_contact", hours=n), figures
        ),
        st.builds(lambda n: SinceWord(id=f"a{n}", sentence="Alarm.", word="alarm", hours=n), figures),
    ),
    min_size=1,
    max_size=5,
    unique_by=lambda one: one.id,
)
ZONES = st.sampled_from([LA, NY, AUCKLAND, "Europe/London", "Africa/Cairo", "Australia/Lord_Howe", "America/Santiago",
                         "America/St_Johns", "Asia/Kolkata", "Pacific/Apia", "Asia/Beirut"])  # fmt: skip
STARTS = st.datetimes(datetime(2010, 1, 2), datetime(2030, 12, 30), timezones=st.just(UTC))  # noqa: DTZ001
HOURS = st.lists(st.integers(0, 200), max_size=6)
POSITION = a_point(20.0, 45.0)


def words_after(started_at: datetime, hours: list[int]) -> list[Any]:
    """Contacts so many hours after a start, every third of them an alarm."""
    said: list[list[Word]] = [
        ["alarm", "last_contact"] if n % 3 == 2 else ["last_contact"] for n in range(len(hours))
    ]
    return [a_word(started_at + timedelta(hours=hours[n]), *words, number=n) for n, words in enumerate(said)]


@given(RULES, ZONES, STARTS, HOURS, st.randoms(use_true_random=False))
def test_due_is_the_earliest_of_the_rules_in_whatever_order_they_and_the_words_stand(
    rules: list[Rule], zone: str, started_at: datetime, hours: list[int], dice: Any
) -> None:
    words = words_after(started_at, hours)
    found = look_due(started_at, a_place(zone, a_pack(*rules), position=POSITION), Covered(), words)
    alone = [
        look_due(started_at, a_place(zone, a_pack(one), position=POSITION), Covered(), words) for one in rules
    ]
    computed = [one.due_at for one in alone if one is not None]
    assert (found and found.due_at) == min(computed, default=None)
    dice.shuffle(rules)
    dice.shuffle(words)
    again = look_due(started_at, a_place(zone, a_pack(*rules), position=POSITION), Covered(), words)
    assert (again and (again.due_at, again.winner)) == (found and (found.due_at, found.winner))


@given(RULES, ZONES, STARTS, st.timedeltas(timedelta(), timedelta(days=3)))
def test_under_one_rule_a_later_look_is_never_due_earlier(
    rules: list[Rule], zone: str, started_at: datetime, later: timedelta
) -> None:
    for rule in rules:
        place = a_place(zone, a_pack(rule), position=POSITION)
        first, second = (look_due(one, place, Covered()) for one in (started_at, started_at + later))
        assert first is None or second is None or first.due_at <= second.due_at


@given(RULES, ZONES, STARTS, HOURS, st.integers(-840, 840))
def test_an_instant_is_the_same_in_whatever_offset_it_is_written(
    rules: list[Rule], zone: str, started_at: datetime, hours: list[int], minutes: int
) -> None:
    place = a_place(zone, a_pack(*rules), position=POSITION)
    words = words_after(started_at, hours)
    shifted = started_at.astimezone(timezone(timedelta(minutes=minutes)))
    assert look_due(shifted, place, Covered(), words) == look_due(started_at, place, Covered(), words)
