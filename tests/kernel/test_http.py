"""What is read out of the headers of a request: the media types that are liked, and what is preferred."""

import pytest

from service.kernel.http import accepted, preference

JSON, STREAM = "application/json", "text/event-stream"


@pytest.mark.parametrize(
    ("accept", "liked"),
    [
        (None, JSON),
        ("", JSON),
        ("*/*", JSON),
        ("application/*", JSON),
        ("text/*", STREAM),
        ("text/event-stream", STREAM),
        ("Text/Event-Stream; charset=utf-8", STREAM),
        ("text/event-stream, */*;q=0.1", STREAM),
        ("application/json, text/event-stream", JSON),
        ("application/json;q=0.2, text/event-stream;q=0.9", STREAM),
        ("text/event-stream;q=0", None),
        ("text/html", None),
    ],
)
def test_accept_chooses_by_weight_and_then_by_place(accept, liked):
    """RFC 9110 section 12.5.1."""
    assert accepted(accept, {JSON: JSON, STREAM: STREAM}) == liked


@pytest.mark.parametrize(
    ("lines", "value"),
    [
        ([], None),
        (["return=minimal"], None),
        (["wait=30"], "30"),
        (["respond-async, wait=10"], "10"),
        (["return=minimal", "wait=10"], "10"),
        (["WAIT = 10 ; strict"], "10"),
        (['wait="10"'], "10"),
        (["wait=1, wait=2"], "1"),
        (["wait"], ""),
        (["waiting=30, await=3"], None),
    ],
)
def test_a_preference_is_the_first_of_its_name(lines, value):
    """RFC 7240 section 2."""
    assert preference(lines, "wait") == value
