"""Checks of instants and dates (RFC 3339), and of IANA time zones."""

import re
import zoneinfo
from collections.abc import Sequence
from datetime import date, datetime
from functools import cache

import msgspec

from service.kernel.errors import Fault
from service.kernel.sentences import CLEAN, Check, fault, nearest, shown, wrong_type

EARLIEST_YEAR, LATEST_YEAR = "1900", "2200"

_DAY = r"[0-9]{4}-[0-9]{2}-[0-9]{2}"
_CLOCK = r"[0-9]{2}:[0-9]{2}:([0-9]{2})(?:\.[0-9]+)?"
_INSTANT = re.compile(rf"{_DAY}[Tt]{_CLOCK}(?:[Zz]|[+-][0-9]{{2}}:[0-9]{{2}})")
_DATE = re.compile(_DAY)
# Ways in which phones miss the form, each with what to mend.
_MISSES = (
    (rf"{_DAY}[Tt ]{_CLOCK}", "no_offset", "must end with its offset from UTC, such as -07:00 or Z"),
    (rf"{_DAY}[ _].*", "not_an_instant", "must have a T between date and time"),
    (
        rf"{_DAY}[Tt]{_CLOCK}[+-][0-9]{{2,4}}",
        "not_an_instant",
        "must have a colon in its offset, such as +02:00",
    ),
)


def instant(label: str, *, may_be_ahead: bool = False) -> Check:
    """RFC 3339 section 5.6, strictly; not after `latest` unless it may lie ahead."""

    def check(value: object, latest: datetime) -> Sequence[Fault]:
        if type(value) is not str:
            return wrong_type(label, "text such as '2026-05-14T10:00:00-07:00'", value)
        form = _INSTANT.fullmatch(value)
        if form is None:
            return _miss(label, value)
        try:
            at = msgspec.convert(value, datetime)
        except msgspec.ValidationError:
            return _impossible(label, value, form.group(1))
        if not EARLIEST_YEAR <= value[:4] <= LATEST_YEAR:
            return _far(label, value)
        if at > latest and not may_be_ahead:
            ahead = (
                f"{label} lies in the future; the latest that is taken now is {latest:%Y-%m-%dT%H:%M:%SZ}."
            )
            return fault(ahead, "in_future")
        return CLEAN

    return check


def calendar_date(label: str) -> Check:
    """RFC 3339 full-date."""

    def check(value: object, _: datetime) -> Sequence[Fault]:
        if type(value) is not str:
            return wrong_type(label, "text such as '2026-05-14'", value)
        if _DATE.fullmatch(value) is None:
            return fault(f"{label} must be a date such as '2026-05-14', not {shown(value)}.", "not_a_date")
        try:
            msgspec.convert(value, date)
        except msgspec.ValidationError:
            return fault(f"{label} must be a date that exists, not {shown(value)}.", "not_a_date")
        return CLEAN if EARLIEST_YEAR <= value[:4] <= LATEST_YEAR else _far(label, value)

    return check


def known_zone(name: str) -> bool:
    """Whether `name` is an IANA time zone, spelt as the database spells it."""
    return name in _zones()


def zone_faults(name: str) -> Sequence[Fault]:
    """The zone must be a known one."""
    if known_zone(name):
        return CLEAN
    return fault(f"Name a known IANA time zone, not {shown(name)}{nearest(name, _zones())}", "unknown_zone")


@cache
def _zones() -> frozenset[str]:
    # `localtime` differs from machine to machine, `Factory` is no place; posix/ and right/ are copies.
    names = zoneinfo.available_timezones() - {"localtime", "Factory"}
    return frozenset(name for name in names if not name.startswith(("posix/", "right/")))


def _miss(label: str, value: str) -> list[Fault]:
    for form, code, advice in _MISSES:
        if re.fullmatch(form, value):
            return fault(f"{label} {advice}, not {shown(value)}.", code)
    return fault(
        f"{label} must be an instant such as '2026-05-14T10:00:00-07:00', not {shown(value)}.",
        "not_an_instant",
    )


def _impossible(label: str, value: str, seconds: str) -> list[Fault]:
    if seconds == "60":
        return fault(f"{label} must say 59 where it says 60: leap seconds are not kept.", "not_an_instant")
    return fault(f"{label} must be a date and time that exist, not {shown(value)}.", "not_an_instant")


def _far(label: str, value: str) -> list[Fault]:
    return fault(
        f"{label} must lie in the years {EARLIEST_YEAR} to {LATEST_YEAR}, not in {value[:4]}.", "out_of_range"
    )
