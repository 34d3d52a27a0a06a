"""What of a body is a person's, by every member that a visit may have."""

import json

from service.facts.models import VisitBody
from service.facts.texts import redacted, redacted_bytes
from service.kernel.bodies import decode
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
