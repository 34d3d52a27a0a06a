"""How long a failure waits: our own setting, a minute doubled up to six hours."""

from datetime import timedelta

import pytest

from service.work.rules import pause_after


@pytest.mark.parametrize(
    ("attempt", "minutes"), [(1, 1), (2, 2), (3, 4), (9, 256), (10, 360), (11, 360), (1000, 360)]
)
def test_a_failure_waits_twice_as_long_each_time_up_to_six_hours(attempt, minutes):
    assert pause_after(attempt) == timedelta(minutes=minutes)
