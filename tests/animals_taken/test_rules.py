"""Where asked dates begin and end in a zone, how rows add up, and CSV that another reader reads back."""

import csv
import io
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.animals_taken.models import PermitTaken, TakenRow
from service.animals_taken.rules import as_csv, bounds_in, check_asked, report
from service.kernel.errors import Refused
from service.kernel.instants import known_zone

NOW = datetime(2026, 7, 1, tzinfo=UTC)
FIRST, END = date(2026, 1, 1), date(2026, 7, 1)
# midnights that are skipped, doubled, or of a day that does not exist
ZONES = [
    *(
        "America/Los_Angeles",
        "America/Sao_Paulo",
        "America/Havana",
        "Africa/Cairo",
        "Asia/Beirut",
        "Asia/Tehran",
    ),
    *(
        "Pacific/Apia",
        "Pacific/Kiritimati",
        "Pacific/Kwajalein",
        "Europe/London",
        "Australia/Lord_Howe",
        "UTC",
    ),
]
days = st.dates(date(1990, 1, 1), date(2060, 12, 31))
instants = st.datetimes(datetime(1990, 1, 2), datetime(2060, 12, 30), timezones=st.just(UTC))  # noqa: DTZ001


def a_row(*numbers: int, **members: Any) -> TakenRow:
    """Catches of these numbers."""
    whole = {
        "species": "Scapanus orarius",
        "sex": "male",
        "region": "US-OR",
        "county": "Lane",
        "mechanism": "box",
        "fate": "dispatched",
    }
    return TakenRow(**(whole | members), catch_ids=[UUID(int=one) for one in numbers])


def a_permit(**members: Any) -> PermitTaken:
    """A permit for 20 animals."""
    whole: dict[str, Any] = {
        "id": UUID(int=7),
        "number": "17",
        "authority": "State",
        "region": "US-OR",
        "from_on": FIRST,
        "until_on": None,
        "quota": 20,
        "taken": 0,
        "left": 20,
        "nil_due": None,
        "periods": [],
    }
    return PermitTaken(**(whole | members))


def read_back(content: bytes) -> list[dict[str, str]]:
    """As Python's own reader of CSV reads it, strictly."""
    return list(csv.DictReader(io.StringIO(content.decode(), newline=""), strict=True))


@given(instants, st.sampled_from(ZONES), st.lists(days, min_size=2, max_size=6, unique=True))
def test_an_instant_lies_in_exactly_one_part_of_dates_that_are_split(
    at: datetime, zone: str, split: list[date]
) -> None:
    assert known_zone(zone)
    ends = sorted(split)
    parts = [bounds_in(first, end, [zone])[0] for first, end in pairwise(ends)]
    (whole,) = bounds_in(ends[0], ends[-1], [zone])
    holding = [one for one in parts if one.from_at <= at < one.until_at]
    assert len(holding) == (1 if whole.from_at <= at < whole.until_at else 0)
    assert (whole.from_at <= at < whole.until_at) == (
        ends[0] <= at.astimezone(ZoneInfo(zone)).date() < ends[-1]
    )


def test_dates_begin_at_local_midnight() -> None:
    # Los Angeles is at UTC-8 in January and at UTC-7 in July, Kiritimati at UTC+14 all year
    found = bounds_in(FIRST, END, ["America/Los_Angeles", "Pacific/Kiritimati"])
    assert [(one.from_at.isoformat(), one.until_at.isoformat()) for one in found] == [
        ("2026-01-01T08:00:00+00:00", "2026-07-01T07:00:00+00:00"),
        ("2025-12-31T10:00:00+00:00", "2026-06-30T10:00:00+00:00"),
    ]


@pytest.mark.parametrize(
    ("first", "end"), [(date.min, date.max), (date.min, date(2, 1, 1)), (date(9999, 1, 1), date.max)]
)
def test_dates_beyond_the_book_are_no_trouble(first: date, end: date) -> None:
    (found,) = bounds_in(first, end, ["Pacific/Kiritimati"])
    assert found.from_at <= found.until_at


@pytest.mark.parametrize(
    ("first", "end", "region", "said"),
    [
        (FIRST, FIRST, None, "2026-01-01 does not come after 2026-01-01"),
        (END, FIRST, None, "2026-01-01 does not come after 2026-07-01"),
        (FIRST, END, "Oregon", "ISO 3166-2 code such as US-OR, not 'Oregon'"),
        (FIRST, END, "US-", "ISO 3166-2"),
        (FIRST, END, "US-OR\n", "ISO 3166-2"),
    ],
)
def test_what_cannot_be_asked_is_refused_in_one_sentence(
    first: date, end: date, region: str | None, said: str
) -> None:
    with pytest.raises(Refused) as refused:
        check_asked(first, end, region)
    assert refused.value.kind == "unreadable"
    assert said in refused.value.detail
    check_asked(FIRST, FIRST + timedelta(days=1), "US-OR")


def test_rows_are_counted_and_stand_in_one_order() -> None:
    rows = [
        a_row(1, 2),
        a_row(3, sex="female"),
        a_row(4, county=None),
        a_row(5, species="Microtus californicus"),
    ]
    found = report(FIRST, END, None, None, rows, NOW)
    assert found == report(FIRST, END, None, None, rows[::-1], NOW)
    assert [(one.species, one.sex, one.county, one.count) for one in found.rows] == [
        ("Microtus californicus", "male", "Lane", 1),
        ("Scapanus orarius", "female", "Lane", 1),
        ("Scapanus orarius", "male", None, 1),
        ("Scapanus orarius", "male", "Lane", 2),
    ]
    assert (found.total, found.nil) == (5, False)
    assert found.sentence == "5 animals were taken from 2026-01-01 to 2026-06-30."
    assert found.notice == "Local codes and licensed practice come first."


@pytest.mark.parametrize(
    ("permit", "sentence"),
    [
        (None, "No animal was taken from 2026-01-01 to 2026-06-30: this is a nil report."),
        (
            a_permit(),
            "No animal was taken from 2026-01-01 to 2026-06-30 under permit 17: this is a nil report.",
        ),
        (
            a_permit(nil_due=True),
            "No animal was taken from 2026-01-01 to 2026-06-30 under permit 17: this is a nil report, and one is due.",
        ),
    ],
)
def test_where_nothing_was_taken_the_report_says_so(permit: PermitTaken | None, sentence: str) -> None:
    found = report(FIRST, END, None, permit, [], NOW)
    assert (found.total, found.nil, found.rows, found.sentence) == (0, True, [], sentence)


def test_csv_reads_back_as_what_it_says() -> None:
    rows = [a_row(1, 2, county='Lane, "upper"', mechanism="by hand\r\nat night"), a_row(3, county=None)]
    content = as_csv(report(FIRST, END, None, a_permit(), rows, NOW))
    first, second = read_back(content)
    assert second == {
        "from_on": "2026-01-01",
        "until_on": "2026-07-01",
        "count": "2",
        "species": "Scapanus orarius",
        "sex": "male",
        "fate": "dispatched",
        "region": "US-OR",
        "catch_ids": f"{UUID(int=1)} {UUID(int=2)}",
        "county": 'Lane, "upper"',
        "mechanism": "by hand\r\nat night",
        "permit": "17",
        "authority": "State",
    }
    assert (first["count"], first["county"]) == ("1", "")


def test_a_nil_report_is_a_row_that_counts_nothing() -> None:
    (row,) = read_back(as_csv(report(FIRST, END, "US-OR", a_permit(), [], NOW)))
    assert {name: each for name, each in row.items() if each} == {
        "from_on": "2026-01-01",
        "until_on": "2026-07-01",
        "count": "0",
        "region": "US-OR",
        "permit": "17",
        "authority": "State",
    }


# OWASP, CSV injection: cells that begin with = + - @ tab or return; full-width signs count as well in some programs
@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\tx", "\rx", " =1", "\u3000=1", "＝1", "＠x"])
def test_a_text_that_a_spreadsheet_takes_for_a_formula_is_guarded(text: str) -> None:
    rows = [a_row(1, county=text, mechanism=text)]
    (row,) = read_back(as_csv(report(FIRST, END, None, a_permit(number=text, authority=text), rows, NOW)))
    assert {row[name] for name in ("county", "mechanism", "permit", "authority")} == {f"'{text}"}


@given(st.text(st.characters(codec="utf-8"), max_size=20))
def test_any_text_reads_back(text: str) -> None:
    (row,) = read_back(as_csv(report(FIRST, END, None, None, [a_row(1, mechanism=text)], NOW)))
    assert row["mechanism"] in (text, f"'{text}")
    assert len(row) == 12
