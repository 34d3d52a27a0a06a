"""Which days, whose, and which versions go into a file."""

from datetime import date, timedelta
from itertools import pairwise
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.kernel.errors import Refused
from service.property_file.asking import asked_for, format_of
from service.property_file.models import TenureRow
from service.property_file.rules import MOST_RECORDS, choose, holders
from service.wording.words import gap_words, months_between, span_words
from tests.property_file.rows import FIRST, HOLDER, TODAY, a_tenure, a_version, asked

BEGIN = date(2026, 1, 1)
days = st.integers(0, 60).map(lambda number: BEGIN + timedelta(days=number))


@st.composite
def tenures(draw: st.DrawFn) -> list[TenureRow]:
    """Some that overlap, meet or leave gaps."""
    rows = []
    for number in range(draw(st.integers(0, 4))):
        from_on = draw(days)
        lasts = draw(st.none() | st.integers(1, 40))
        until_on = None if lasts is None else from_on + timedelta(days=lasts)
        rows.append(a_tenure(number, draw(st.integers(1, 3)), from_on, until_on))
    return rows


def holder_on(rows: list[TenureRow], day: date) -> UUID | None:
    """As records ask the book: half-open, the one that began later, of two that began together the lower id."""
    held = [one for one in rows if one.from_on <= day and (one.until_on is None or one.until_on > day)]
    by_id = sorted(held, key=lambda one: one.id)
    return max(by_id, key=lambda one: one.from_on).customer_id if held else None


@given(tenures(), days, st.integers(1, 60))
def test_parts_cover_every_day_once_and_name_its_holder(rows: list[TenureRow], from_on: date, lasts: int):
    until_on = from_on + timedelta(days=lasts)
    parts = holders(rows, from_on, until_on)
    assert (parts[0].from_on, parts[-1].until_on) == (from_on, until_on)
    for one, following in pairwise(parts):
        assert one.until_on == following.from_on
        assert one.customer_id != following.customer_id
    for part in parts:
        for number in range((part.until_on - part.from_on).days):
            assert holder_on(rows, part.from_on + timedelta(days=number)) == part.customer_id


def test_without_dates_it_is_the_whole_history_until_today():
    rows = [a_tenure(1, 7, date(2020, 1, 1))]
    chosen = choose(asked(), rows, [a_version(2, date(2022, 3, 1)), a_version(1, date(2021, 2, 1))], TODAY)
    assert (chosen.from_on, chosen.until_on) == (date(2021, 2, 1), TODAY + timedelta(days=1))
    assert [one.name for one in chosen.standing()] == ["2026-000001.1", "2026-000002.1"]


def test_a_record_lies_in_the_part_of_its_day_of_service():
    rows = [a_tenure(1, 6, date(2026, 1, 1), date(2026, 3, 1)), a_tenure(2, 7, date(2026, 3, 1))]
    last, first = a_version(1, date(2026, 2, 28), customer_id=UUID(int=6)), a_version(2, date(2026, 3, 1))
    chosen = choose(asked(), rows, [last, first], TODAY)
    assert [(one.customer_id.int if one.customer_id else 0) for one in chosen.parts] == [6, 7]
    assert chosen.versions == [[last], [first]]
    mine = choose(asked("customer"), rows, [last, first], TODAY)
    assert (mine.versions, mine.parts[0].from_on) == ([[first]], date(2026, 3, 1))


def test_a_customer_sees_no_version_that_names_another_and_no_month_that_began_under_another():
    rows = [a_tenure(1, 6, date(2026, 1, 1), date(2026, 3, 10)), a_tenure(2, 7, date(2026, 3, 10))]
    before_it_was_put_right = a_version(1, date(2026, 3, 12), customer_id=UUID(int=6), replaced=True)
    right = a_version(1, date(2026, 3, 12), version=2)
    march = a_version(2, date(2026, 3, 31), first_on=date(2026, 3, 1))
    april = a_version(3, date(2026, 4, 30), first_on=date(2026, 4, 1))
    versions = [before_it_was_put_right, right, march, april]
    chosen = choose(asked("customer"), rows, versions, TODAY)
    assert chosen.versions == [[right, april]]
    assert chosen.left_out == 1
    everybody = choose(asked("auditor"), rows, versions, TODAY)
    assert sum(map(len, everybody.versions)) == 4


def test_days_without_a_holder_count_where_there_are_records_of_them():
    rows = [a_tenure(1, 7, date(2026, 3, 1))]
    alone = a_version(1, date(2026, 1, 5), customer_id=None)
    assert [one.customer_id for one in choose(asked(), rows, [alone], TODAY).parts] == [None, HOLDER]
    since = asked(from_on=date(2026, 2, 1))
    assert [one.customer_id for one in choose(since, rows, [alone], TODAY).parts] == [HOLDER]


def test_a_customer_who_never_held_it_is_not_there_and_without_a_holder_one_must_be_named():
    rows = [a_tenure(1, 6, date(2026, 1, 1), date(2026, 3, 1))]
    with pytest.raises(Refused, match="not in your book"):
        choose(asked("customer", customer_id=UUID(int=9)), rows, [], TODAY)
    with pytest.raises(Refused, match="Nobody is stated to hold this property today"):
        choose(asked("customer"), rows, [], TODAY)
    assert (
        choose(asked("customer", customer_id=UUID(int=6)), rows, [], TODAY).parts[0].customer_id is not None
    )


def test_a_file_of_too_many_records_says_how_to_ask_for_less():
    versions = [a_version(number) for number in range(MOST_RECORDS + 1)]
    with pytest.raises(Refused, match="ask for at most 2000"):
        choose(asked(), [a_tenure(1, 7, FIRST)], versions, TODAY)
    assert len(choose(asked(), [a_tenure(1, 7, FIRST)], versions[1:], TODAY).standing()) == MOST_RECORDS


@pytest.mark.parametrize("until_on", [date.min, date(1, 1, 2), date(2020, 1, 1), date.max, None])
def test_no_end_of_the_calendar_breaks_it(until_on: date | None):
    choose(asked(until_on=until_on), [], [], TODAY)
    choose(asked(until_on=until_on), [a_tenure(1, 7, date.min), a_tenure(2, 6, date.max)], [], date.max)
    choose(asked(from_on=date.max), [], [], TODAY)


def test_what_is_no_request_is_refused_in_one_sentence():
    with pytest.raises(Refused, match="ask for customer, auditor or public"):
        asked_for("parents", None, None, None)
    with pytest.raises(Refused, match="2026-05-01 does not come after 2026-05-01"):
        asked_for("public", date(2026, 5, 1), date(2026, 5, 1), None)
    with pytest.raises(Refused, match="goes with audience=customer"):
        asked_for("auditor", None, None, UUID(int=7))
    with pytest.raises(Refused, match=r"application/pdf \(format=pdf\) or application/zip \(format=zip\)"):
        format_of("docx", None)
    with pytest.raises(Refused, match="ask for one of these"):
        format_of(None, "text/html")


@pytest.mark.parametrize(
    ("wanted", "accept", "form"),
    [
        (None, None, "pdf"),
        (None, "*/*", "pdf"),
        (None, "application/zip", "zip"),
        (None, "application/pdf;q=0.5, application/zip", "zip"),
        ("zip", "application/pdf", "zip"),
    ],
)
def test_the_form_is_what_format_says_else_what_accept_likes_best(
    wanted: str | None, accept: str | None, form: str
):
    assert format_of(wanted, accept) == form


def test_months_without_a_record_are_said_as_spans():
    assert months_between(date(2025, 11, 30), date(2026, 2, 1)) == [(2025, 11), (2025, 12), (2026, 1)]
    assert months_between(date(2026, 2, 1), date(2026, 2, 2)) == [(2026, 2)]
    without = [(2025, 11), (2025, 12), (2026, 1), (2026, 4)]
    assert gap_words(without) == "November 2025 to January 2026, April 2026"
    assert span_words(date(2026, 1, 5), date(2026, 1, 6)) == "5 January 2026"
    assert span_words(date(2026, 1, 5), date(2026, 2, 1)) == "5 January 2026 to 31 January 2026"
