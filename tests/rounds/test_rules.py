"""When a day ends, by published transitions and our own arithmetic, and what a round's address may say."""

from datetime import UTC, date, datetime

import pytest

from service.kernel.errors import Refused
from service.rounds.rules import day_named, end_of


@pytest.mark.parametrize(
    ("day", "zone", "ends_at"),
    [
        ("2026-05-14", "America/Los_Angeles", "2026-05-15T07:00:00Z"),
        # clocks go forward in the night to Sunday 8 March
        ("2026-03-07", "America/Los_Angeles", "2026-03-08T08:00:00Z"),
        ("2026-03-08", "America/Los_Angeles", "2026-03-09T07:00:00Z"),
        # Friday 24 April 2026 has no midnight in Cairo: it begins at one o'clock
        ("2026-04-23", "Africa/Cairo", "2026-04-23T22:00:00Z"),
        # 30 December 2011 does not exist in Apia: the 29th ends where the 31st begins
        ("2011-12-29", "Pacific/Apia", "2011-12-30T10:00:00Z"),
    ],
)
def test_a_day_ends_where_the_next_one_that_exists_begins(day: str, zone: str, ends_at: str) -> None:
    assert end_of(day_named(day), zone).astimezone(UTC) == datetime.fromisoformat(ends_at)


def test_a_day_is_written_as_year_month_and_day() -> None:
    assert day_named("2028-02-29") == date(2028, 2, 29)
    for text, kind in [
        ("tomorrow", "unreadable"),
        ("2026-5-14", "unreadable"),
        ("20260514", "unreadable"),
        ("2026-05-14T10:00", "unreadable"),
        ("2026-13-01", "unreadable"),
        ("9999-12-31", "unreadable"),
        ("2026-02-30", "not_found"),
    ]:
        with pytest.raises(Refused) as refused:
            day_named(text)
        assert refused.value.kind == kind, text
