"""Local calendar days: instants at which a civil date begins in an IANA zone."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

ONE_DAY = timedelta(days=1)
ONE_SECOND = timedelta(seconds=1)


def start_of_day(day: date, zone: ZoneInfo) -> datetime:
    """First instant, in UTC, of `day` or of the next local day that has one.

    A midnight that is skipped yields the first instant after the gap; a doubled one its first occurrence;
    a day that does not exist begins where the next existing one does.
    """
    return first_instant(day, time(), zone)


def first_instant(day: date, clock: time, zone: ZoneInfo) -> datetime:
    """First instant, in UTC, at which the local clock shows `clock` on `day`, or jumps over it."""
    wall = datetime.combine(day, clock, zone)
    at = wall.astimezone(UTC)
    if at.astimezone(zone).replace(tzinfo=None) == wall.replace(tzinfo=None):
        return at
    # The clock jumps over `wall`, which lies before the jump by the offset after it, and the other way round.
    before = wall.replace(fold=1).astimezone(UTC)
    while at - before > ONE_SECOND:
        middle = before + (at - before) // 2
        if middle.astimezone(zone).replace(tzinfo=None) < wall.replace(tzinfo=None):
            before = middle
        else:
            at = middle
    return at.replace(microsecond=0)


def local_date(at: datetime, zone: ZoneInfo) -> date:
    """The civil date of an instant."""
    return at.astimezone(zone).date()


def day_of(at: datetime, zone: ZoneInfo) -> date:
    """The local day that an instant lies in: each begins with its first instant and ends where the next begins.

    So what a clock shows a second time, set back over midnight, lies in the day that had begun; everywhere
    else this is the civil date.
    """
    day = local_date(at, zone)
    following = next_day(day, zone)
    return following if start_of_day(following, zone) <= at else day


def end_of_days(at: datetime, zone: ZoneInfo, days: int) -> datetime:
    """The start of local day D+days+1, D being the local day of `at`; days that do not exist are skipped."""
    day = day_of(at, zone)
    for _ in range(days + 1):
        day = next_day(day, zone)
    return start_of_day(day, zone)


def next_day(day: date, zone: ZoneInfo) -> date:
    """The next local date that has an instant."""
    day += ONE_DAY
    while local_date(start_of_day(day, zone), zone) != day:
        day += ONE_DAY
    return day
