"""Instants, dates and zones: RFC 3339 sections 5.6 and 5.8, and the IANA names."""

from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.kernel.faults import faults_of
from service.kernel.instants import known_zone
from service.kernel.values import FutureInstant, Instant, LocalDate, Zone
from tests.bodies import NOW, found


@pytest.mark.parametrize(
    "text",
    [
        "1985-04-12T23:20:50.52Z",
        "1996-12-19T16:39:57-08:00",
        "1937-01-01T12:00:27.87+00:20",
        "2026-01-01t00:00:00z",
        "2026-01-01T00:00:00-00:00",
        "2024-02-29T00:00:00.123456789+14:00",
        "2026-05-14T18:10:00Z",
    ],
)
def test_instants_of_rfc_3339_are_taken(text: str) -> None:
    assert found(text, Instant) == []


@pytest.mark.parametrize(
    ("text", "code", "words"),
    [
        ("2026-05-14T10:00:00", "no_offset", "offset"),
        ("2026-05-14 10:00:00", "no_offset", "offset"),
        ("2026-05-14 10:00:00Z", "not_an_instant", "a T between"),
        ("2026-05-14T10:00:00+0200", "not_an_instant", "a colon in its offset"),
        ("2026-05-14T10:00:00+02", "not_an_instant", "a colon in its offset"),
        ("2026-05-14T10:00Z", "not_an_instant", "such as"),
        ("2026-05-14", "not_an_instant", "such as"),
        ("2026-05-14T10:00:00Z\n", "not_an_instant", "such as"),
        ("２026-05-14T10:00:00Z", "not_an_instant", "such as"),
        ("2026-05-14T10:00:00[Europe/Paris]", "not_an_instant", "such as"),
        ("1990-12-31T23:59:60Z", "not_an_instant", "must say 59"),
        ("2026-02-30T10:00:00Z", "not_an_instant", "exist"),
        ("2026-05-14T24:00:00Z", "not_an_instant", "exist"),
        ("2026-05-14T10:00:00+24:00", "not_an_instant", "exist"),
        ("0001-01-01T00:00:00+14:00", "out_of_range", "1900 to 2200"),
        ("9999-12-31T23:59:59Z", "out_of_range", "1900 to 2200"),
        ("2026-05-14T18:10:00.000001Z", "in_future", "2026-05-14T18:10:00Z"),
        (1778752800, "wrong_type", "not a whole number"),
    ],
)
def test_other_instants_are_refused_with_what_to_mend(text: object, code: str, words: str) -> None:
    (fault,) = faults_of(text, Instant, NOW)
    assert (fault.pointer, fault.code) == ("#", code)
    assert words in fault.detail


def test_only_what_may_lie_ahead_may_lie_ahead() -> None:
    assert found("2027-01-01T00:00:00Z", FutureInstant | None) == []
    assert found("2027-01-01T00:00:00", FutureInstant | None) == [("#", "no_offset")]
    assert found("2027-01-01T00:00:00Z", Instant | None) == [("#", "in_future")]


@given(st.timedeltas(timedelta(minutes=-20), timedelta(minutes=20)))
def test_ten_minutes_ahead_are_taken_and_no_more(ahead: timedelta) -> None:
    faults = found((NOW + ahead).isoformat(), Instant)
    assert bool(faults) == (ahead > timedelta(minutes=10))


@pytest.mark.parametrize(
    ("day", "codes"),
    [
        ("2026-05-14", []),
        ("2024-02-29", []),
        ("2100-01-01", []),
        ("2026-02-29", ["not_a_date"]),
        ("2026-5-14", ["not_a_date"]),
        ("1899-12-31", ["out_of_range"]),
        (20260514, ["wrong_type"]),
    ],
)
def test_dates_must_exist(day: object, codes: list[str]) -> None:
    assert [code for _, code in found(day, LocalDate)] == codes


@pytest.mark.parametrize(
    "name", ["localtime", "Factory", "posix/Europe/Paris", "posixrules", "europe/paris", "../etc", ""]
)
def test_zones_that_are_none_are_unknown(name: str) -> None:
    assert not known_zone(name)


def test_a_zone_is_spelt_as_the_database_spells_it() -> None:
    assert known_zone("America/Los_Angeles")
    assert found("America/Los_Angeles", Zone) == []
    (fault,) = faults_of("America/Los_Angles", Zone, NOW)
    assert (fault.code, "did you mean 'America/Los_Angeles'?" in fault.detail) == ("unknown_zone", True)
