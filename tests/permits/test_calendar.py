"""Reporting years in the calendar: worked out by hand, and without a gap whatever their periods are."""

from datetime import date, timedelta
from itertools import pairwise

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.packs.models import MonthDay, ReportPeriod
from service.permits.calendar import date_in, next_after, periods_between
from service.permits.models import Period

ONE_DAY = timedelta(days=1)
LONGEST = timedelta(days=366)
YEAR_2000 = [date(2000, 1, 1) + number * ONE_DAY for number in range(366)]
month_days = st.sampled_from([f"{day:%m-%d}" for day in YEAR_2000])
stated = st.lists(st.builds(ReportPeriod, ends=month_days, due=month_days), min_size=1, max_size=5)
days = st.dates(date(1990, 1, 1), date(2060, 12, 31))


def day(text: str) -> date:
    return date.fromisoformat(text)


def test_a_year_that_ends_in_november_is_due_on_the_last_of_december() -> None:
    # RCSA 26-47-1: 1 December to 30 November, reported by 31 December
    found = list(
        periods_between([ReportPeriod(ends="11-30", due="12-31")], day("2026-03-01"), day("2026-12-02"))
    )
    assert found == [
        Period(first_on=day("2025-12-01"), last_on=day("2026-11-30"), due_on=day("2026-12-31")),
        Period(first_on=day("2026-12-01"), last_on=day("2027-11-30"), due_on=day("2027-12-31")),
    ]


def test_half_years_are_due_in_the_next_half() -> None:
    # OAR 635-435-0055: 31 July and 31 January; the order in which they are stated does not matter
    halves = [ReportPeriod(ends="12-31", due="01-31"), ReportPeriod(ends="06-30", due="07-31")]
    found = list(periods_between(halves, day("2026-06-30"), day("2027-01-01")))
    assert [(one.first_on, one.last_on, one.due_on) for one in found] == [
        (day("2026-01-01"), day("2026-06-30"), day("2026-07-31")),
        (day("2026-07-01"), day("2026-12-31"), day("2027-01-31")),
    ]


def test_the_last_of_february_is_the_29th_where_there_is_one() -> None:
    # Gregorian calendar: 2024 and 2028 are leap years, 2100 is none
    assert [date_in(year, "02-29").isoformat() for year in (2024, 2025, 2100)] == [
        "2024-02-29", "2025-02-28", "2100-02-28",
    ]  # fmt: skip
    found = list(
        periods_between([ReportPeriod(ends="02-29", due="03-31")], day("2027-06-01"), day("2028-06-01"))
    )
    assert [(one.first_on.isoformat(), one.last_on.isoformat()) for one in found] == [
        ("2027-03-01", "2028-02-29"), ("2028-03-01", "2029-02-28"),
    ]  # fmt: skip


def test_the_day_itself_is_not_the_next_after_it() -> None:
    assert next_after("12-31", day("2026-12-30")) == day("2026-12-31")
    assert next_after("12-31", day("2026-12-31")) == day("2027-12-31")


def test_of_two_days_for_one_period_the_earlier_counts() -> None:
    twice = [ReportPeriod(ends="12-31", due="03-01"), ReportPeriod(ends="12-31", due="01-31")]
    (one,) = periods_between(twice, day("2026-01-01"), day("2026-12-31"))
    assert (one.last_on, one.due_on) == (day("2026-12-31"), day("2027-01-31"))


@pytest.mark.parametrize(
    "text", ["02-30", "04-31", "06-31", "09-31", "11-31", "00-10", "13-01", "1-1", "12-32"]
)
def test_a_day_that_no_year_has_is_no_month_and_day(text: str) -> None:
    with pytest.raises(msgspec.ValidationError):
        msgspec.convert(text, MonthDay)


def test_every_day_of_a_leap_year_is_one() -> None:
    texts = [f"{one:%m-%d}" for one in YEAR_2000]
    assert msgspec.convert(texts, list[MonthDay]) == texts


@given(stated, days, st.integers(1, 1500))
def test_every_day_lies_in_exactly_one_period(
    periods: list[ReportPeriod], from_on: date, length: int
) -> None:
    found = list(periods_between(periods, from_on, from_on + length * ONE_DAY))
    assert found[0].first_on <= from_on <= found[0].last_on
    assert found[-1].first_on <= from_on + (length - 1) * ONE_DAY <= found[-1].last_on
    for one, following in pairwise(found):
        assert following.first_on == one.last_on + ONE_DAY
    for one in found:
        assert one.first_on <= one.last_on < one.due_on <= one.last_on + LONGEST
        assert one.last_on - one.first_on < LONGEST
