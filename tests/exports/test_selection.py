"""Which form a reader gets, by RFC 9110 section 12.5.1, and where in the log a cursor goes on."""

from uuid import UUID

import pytest

from service.exports.selection import format_of, span_of
from service.kernel.errors import Refused
from service.kernel.paging import encode_cursor
from service.records.rules import month_in

EPOCH = UUID(int=7)


@pytest.mark.parametrize(
    ("wanted", "accept", "form"),
    [
        (None, None, "json"),
        (None, "*/*", "json"),
        (None, "application/*", "json"),
        (None, "text/*", "csv"),
        (None, "application/json", "json"),
        (None, "application/x-ndjson", "ndjson"),
        (None, "text/csv", "csv"),
        (None, "TEXT/CSV; charset=utf-8", "csv"),
        (None, "text/html, text/csv;q=0.5, application/json;q=0.9", "json"),
        (None, "application/json;q=0.1, text/csv;q=0.5", "csv"),
        (None, "text/csv, application/json", "csv"),
        (None, "application/json;q=0, text/csv;q=0.001", "csv"),
        (None, "text/html, */*;q=0.1", "json"),
        ("csv", "application/json", "csv"),
        ("ndjson", None, "ndjson"),
        ("json", "text/html", "json"),
    ],
)
def test_format_wins_and_accept_decides_by_weight(wanted, accept, form):
    assert format_of(wanted, accept) == form


@pytest.mark.parametrize(
    ("wanted", "accept"),
    [(None, "text/html"), (None, "application/json;q=0"), ("xls", "*/*"), ("pdf", None)],
)
def test_what_there_is_not_is_refused_with_a_list_of_what_there_is(wanted, accept):
    with pytest.raises(Refused) as refusal:
        format_of(wanted, accept)
    assert refusal.value.kind == "not_acceptable"
    for media in ("application/json", "application/x-ndjson", "text/csv"):
        assert media in refusal.value.detail


@pytest.mark.parametrize(
    ("after", "span"),
    [
        (None, (True, 0, 40)),
        ("", (False, 0, 40)),
        (encode_cursor(EPOCH, 0, 12), (False, 12, 40)),
        (encode_cursor(EPOCH, 30, 12), (True, 12, 30)),
    ],
)
def test_a_cursor_says_whether_all_versions_or_a_list_under_way_go_on(after, span):
    assert span_of(after, None, EPOCH, 40) == span


def test_a_cursor_of_another_database_is_gone():
    with pytest.raises(Refused) as refusal:
        span_of(encode_cursor(UUID(int=8), 0, 12), None, EPOCH, 40)
    assert refusal.value.kind == "cursor_gone"


@pytest.mark.parametrize(
    ("text", "first", "following"),
    [("2026-05", "2026-05-01", "2026-06-01"), ("2026-12", "2026-12-01", "2027-01-01")],
)
def test_a_month_is_half_open(text, first, following):
    assert [f"{day}" for day in month_in(text)] == [first, following]


@pytest.mark.parametrize(
    "text", ["2026-13", "2026-00", "2026-5", "2026", "0000-05", "2026-05-01", "", "2026-05\n"]
)
def test_what_is_no_month_is_refused_in_a_sentence(text):
    with pytest.raises(Refused, match="year and month"):
        month_in(text)
