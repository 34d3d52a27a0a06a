"""Reporting years: where periods begin and end in the calendar, and when their reports are due. Pure."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, timedelta
from itertools import pairwise

from service.packs.models import ReportPeriod
from service.permits.models import Period

ONE_DAY = timedelta(days=1)


def date_in(year: int, month_day: str) -> date:
    """The date of `MM-DD` in a year; 29 February is the last day of February in every year."""
    month, day = int(month_day[:2]), int(month_day[3:])
    if (month, day) == (2, 29):
        return date(year, 3, 1) - ONE_DAY
    return date(year, month, day)


def next_after(month_day: str, day: date) -> date:
    """The first date of `MM-DD` that comes after `day`."""
    return next(found for year in (day.year, day.year + 1) if (found := date_in(year, month_day)) > day)


def periods_between(stated: Sequence[ReportPeriod], from_on: date, before: date) -> Iterator[Period]:
    """The periods that share a day with those from `from_on` until `before` (exclusive), in order.

    They follow on one another without a gap: each begins on the day after the last day of the one before.
    """
    years = range(from_on.year - 1, before.year + 2)
    ends = sorted({date_in(year, one.ends) for year in years for one in stated})
    for ended_on, last_on in pairwise(ends):
        if from_on <= last_on and ended_on + ONE_DAY < before:
            yield Period(first_on=ended_on + ONE_DAY, last_on=last_on, due_on=_due(stated, last_on))


def _due(stated: Iterable[ReportPeriod], last_on: date) -> date:
    """The earliest day that is stated of the period with this last day."""
    return min(next_after(one.due, last_on) for one in stated if date_in(last_on.year, one.ends) == last_on)
