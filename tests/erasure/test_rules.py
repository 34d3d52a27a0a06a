"""What of a body is a person's, by every member that a visit may have."""

import json
from datetime import UTC, date, datetime
from typing import Any
from uuid import UUID

import msgspec
import pytest

from service.erasure.models import Place
from service.erasure.rules import kept_until
from service.facts.models import VisitBody
from service.facts.texts import redacted, redacted_bytes
from service.kernel.bodies import decode
from service.packs.models import Pack
from tests.bodies import NOW, full_visit

TEXTS = ("the groundskeeper", "wet\nsoil", "Gate closed again.", "one bed locked", "forgot the mowing")


def test_free_texts_go_and_all_else_stays() -> None:
    left = redacted(full_visit())
    written = json.dumps(left)
    for text in TEXTS:
        assert json.dumps(text) not in written
    stated = full_visit()
    for name in ("signs", "sets", "checks", "clearings", "repairs", "surveys", "looks", "tampings"):
        for before, after in zip(stated.get(name, []), left.get(name, []), strict=True):
            assert {key: value for key, value in before.items() if key != "told_by"} == after
    body = {name: value for name, value in left.items() if name not in ("id", "amends", "amend_reason")}
    decode(json.dumps(body).encode(), VisitBody, NOW)


def test_redacting_twice_changes_nothing_more() -> None:
    once = redacted(full_visit())
    assert redacted(once) == once


def test_of_a_body_that_cannot_be_read_nothing_stays() -> None:
    for raw in (b"", b"\xff\xfe", b"{", b'"\\ud800"', b'{"a":1e999}'):
        assert redacted_bytes(raw) == b""


def a_place(rule: dict[str, Any] | None = None, pack: dict[str, Any] | None = None, **place: Any) -> Place:
    """A garden, last worked at in May 2026, where a text of the business's own asks for five years."""
    asked = {
        "kind": "keep_for",
        "id": "keep",
        "sentence": "Keep it five years.",
        "what": "service_record",
        "years": 5,
    }
    told = {"name": "keeping", "region": "US-ID", "authority": "the county", "citation": "Code 1.", "state": "law",
            "verified_on": "2026-01-01", "rules": [asked | (rule or {})], "id": UUID(int=1), "version": 1,
            "received_at": datetime(2026, 1, 1, tzinfo=UTC)}  # fmt: skip
    members = {"property_id": UUID(int=2), "kind": "garden", "region": "US-ID", "county": None, "locality": None,
               "packs": [msgspec.convert(told | (pack or {}), Pack)], "treated": False, "under_permit": False,
               "last_on": date(2026, 5, 14)}  # fmt: skip
    return Place(**members | place)


@pytest.mark.parametrize(
    ("pack", "until"),
    [
        ({}, date(2031, 5, 14)),
        ({"effective_from": "2020-01-01", "effective_until": "2027-01-02"}, date(2031, 5, 14)),
        ({"effective_until": "2027-01-01"}, None),
        ({"effective_from": "2027-01-02"}, None),
    ],
)
def test_a_text_bids_while_it_is_in_force(pack: dict[str, Any], until: date | None) -> None:
    bids = kept_until([a_place(pack=pack)], date(2027, 1, 1))
    assert (bids and bids[0]) == until


@pytest.mark.parametrize(
    ("what", "place", "bids"),
    [
        ("service_record", {}, True),
        ("organic_record", {}, True),
        ("pesticide_use_record", {}, False),
        ("pesticide_use_record", {"treated": True}, True),
        ("affidavit", {"treated": True}, False),
        ("affidavit", {"under_permit": True}, True),
        ("service_record", {"last_on": None}, False),
    ],
)
def test_a_text_bids_for_what_it_names(what: str, place: dict[str, Any], bids: bool) -> None:
    assert (kept_until([a_place({"what": what}, **place)], date(2027, 1, 1)) is not None) is bids
