"""When the sun rises and sets at a position on a local day: pure, by the library `ephem` (VSOP87)."""

from datetime import UTC, date, datetime
from math import radians
from zoneinfo import ZoneInfo

import ephem  # type: ignore[import-untyped]

from service.kernel.days import local_date, next_day, start_of_day
from service.kernel.values import Point

# The upper limb, which the library takes, on a horizon lowered by mean refraction, 34', as almanacs have it.
_HORIZON = "-0:34"


def rises_at(day: date, position: Point, zone: ZoneInfo) -> datetime | None:
    """The first sunrise of a local day, in UTC and to the second; None where the sun does not rise on it."""
    return next_rise(start_of_day(day, zone), position, start_of_day(next_day(day, zone), zone))


def next_rise(at: datetime, position: Point, before: datetime) -> datetime | None:
    """The first sunrise from `at` on that lies before another instant, in UTC and to the second."""
    return _first("next_rising", at, position, before)


def is_daytime(at: datetime, position: Point, zone: ZoneInfo) -> bool | None:
    """Whether the sun is up at an instant; None where it does not rise on that local day or the next."""
    day = local_date(at, zone)
    horizon = start_of_day(next_day(next_day(day, zone), zone), zone)
    up = _first("next_rising", at, position, horizon)
    down = _first("next_setting", at, position, horizon)
    return None if up is None or down is None else down < up


def _first(event: str, at: datetime, position: Point, before: datetime) -> datetime | None:
    longitude, latitude = position.coordinates[:2]
    there = ephem.Observer()
    there.lat, there.lon = radians(latitude), radians(longitude)
    there.pressure, there.horizon = 0, _HORIZON
    there.date = at.astimezone(UTC)  # the library reads no offset
    try:
        found = getattr(there, event)(ephem.Sun()).datetime().replace(tzinfo=UTC, microsecond=0)
    except ephem.CircumpolarError:
        return None
    return found if found < before else None
