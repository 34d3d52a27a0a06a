"""Canonical bytes, and what does not count when two bodies are compared."""

import json
from datetime import datetime, timedelta, timezone
from typing import Any

import msgspec
import pytest
import rfc8785
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec import inspect

from service.facts.models import NewVisit, VisitBody
from service.kernel.canonical import canonical, compared, sha256
from tests.bodies import a_check, a_set, a_sign, a_visit, an_id, full_visit, of

THOROUGH = settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def read(body: dict[str, Any]) -> NewVisit:
    return msgspec.convert(body, NewVisit)


# cyberphone/json-canonicalization, testdata/input and testdata/output, restated.
@pytest.mark.parametrize(
    ("given_json", "bytes_as_text"),
    [
        pytest.param(
            '[56, {"d": true, "10": null, "1": [ ]}]', '[56,{"1":[],"10":null,"d":true}]', id="arrays"
        ),
        pytest.param(
            '{"peach": "This sorting order", "péché": "is wrong according to French", '
            '"pêche": "but canonicalization MUST", "sin": "ignore locale"}',
            '{"peach":"This sorting order","péché":"is wrong according to French",'
            '"pêche":"but canonicalization MUST","sin":"ignore locale"}',
            id="french",
        ),
        pytest.param(
            r'{"1": {"f": {"f": "hi", "F": 5}, "\n": 56.0}, "10": {}, "": "empty", "a": {}, '
            r'"111": [{"e": "yes", "E": "no"}], "A": {}}',
            r'{"":"empty","1":{"\n":56,"f":{"F":5,"f":"hi"}},"10":{},"111":[{"E":"no","e":"yes"}],"A":{},"a":{}}',
            id="structures",
        ),
        pytest.param(
            r'{"Unnormalized Unicode": "A\u030a"}', '{"Unnormalized Unicode":"A\u030a"}', id="unicode"
        ),
        pytest.param(
            r'{"numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001], '
            r'"string": "\u20ac$\u000F\u000aA' + r"""'\u0042\u0022\u005c\\\"\/", """
            r'"literals": [null, true, false]}',
            '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
            r""""string":"€$\u000f\nA'B\"\\\\\"/"}""",
            id="values",
        ),
        pytest.param(
            r'{"\u20ac": "Euro Sign", "\r": "Carriage Return", "\u000a": "Newline", "1": "One", '
            r'"\u0080": "Control\u007f", "\ud83d\ude02": "Smiley", '
            r'"\u00f6": "Latin Small Letter O With Diaeresis", "\ufb33": "Hebrew Letter Dalet With Dagesh", '
            r'"</script>": "Browser Challenge"}',
            r'{"\n":"Newline","\r":"Carriage Return","1":"One","</script>":"Browser Challenge",'
            '"\u0080":"Control\u007f","ö":"Latin Small Letter O With Diaeresis","€":"Euro Sign",'
            '"\U0001f602":"Smiley","\ufb33":"Hebrew Letter Dalet With Dagesh"}',
            id="weird",
        ),
    ],
)
def test_the_vectors_of_rfc_8785_are_met(given_json: str, bytes_as_text: str) -> None:
    assert canonical(msgspec.json.decode(given_json)) == bytes_as_text.encode()


# FIPS 180-4, the example of one block.
def test_the_digest_is_sha_256() -> None:
    assert sha256(b"abc").hex() == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


# Our own arithmetic.
def test_the_party_of_a_record_has_this_digest() -> None:
    party = {
        "worker_names": ["R. Example"],
        "salt": "AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8",
        "customer_note": "Gate closed again.",
        "customer_name": "Alder Court School",
        "addresses": ["12 Sample Row"],
    }
    digest = "3578bc7cda016521238f20ebcdc112a91f9448c1423bf707249533bbf3508592"
    assert sha256(canonical(party)).hex() == digest


@pytest.mark.parametrize("value", [float("inf"), float("nan"), 2**53, "\ud800"])
def test_what_has_no_canonical_form_raises(value: object) -> None:
    with pytest.raises(rfc8785.CanonicalizationError):
        canonical([value])


# What does not count -------------------------------------------------------------------------------------
def spelt_out(value: Any, draw: st.DrawFn) -> Any:
    """The same body as another client writes it: every member, in any order, other offsets, 10 for 10.0."""
    if isinstance(value, msgspec.Struct):
        config = value.__struct_config__
        members = [(name, spelt_out(getattr(value, name), draw)) for name in value.__struct_fields__]
        members += [(config.tag_field, config.tag)] if config.tag_field else []
        return dict(draw(st.permutations(members)))
    if isinstance(value, list):
        return [spelt_out(item, draw) for item in value]
    if isinstance(value, datetime):
        return value.astimezone(timezone(timedelta(minutes=draw(st.integers(-700, 800))))).isoformat()
    if isinstance(value, float) and value.is_integer():
        return int(value)
    return msgspec.to_builtins(value)


@THOROUGH
@given(of(inspect.type_info(NewVisit)), st.data())
def test_order_offsets_nulls_defaults_and_empty_lists_do_not_count(
    body: dict[str, Any], data: st.DataObject
) -> None:
    again = spelt_out(read(body), data.draw)
    assert compared(read(again)) == compared(read(body))


@THOROUGH
@given(of(inspect.type_info(NewVisit)))
def test_what_is_compared_is_canonical_and_reads_back_as_the_same(body: dict[str, Any]) -> None:
    content = compared(read(body))
    assert content == rfc8785.dumps(json.loads(content))
    assert compared(msgspec.json.decode(content, type=VisitBody)) == content


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ({}, {"id": an_id(9), "amends": '"3"', "amend_reason": "a slip"}),
        ({}, {"job_id": None, "outcome": "done", "treatments_none": False, "checks": [], "notes": ""}),
        (
            {"checks": [a_check()]},
            {"checks": [a_check(checked_by="worker", catches=[], ground_searched=None)]},
        ),
        ({"checks": [a_check()]}, {"checks": [a_check(checked_at="2026-05-14T17:00:00.000000Z")]}),
        ({"checks": [a_check()]}, {"checks": [a_check(set_id=a_check()["set_id"].upper())]}),
        (
            {"sets": [a_set(position={"type": "Point", "coordinates": [10, -0.0]})]},
            {"sets": [a_set(position={"coordinates": [10.0, 0], "type": "Point"})]},
        ),
    ],
)
def test_bodies_that_state_the_same_are_equal(one: dict[str, Any], other: dict[str, Any]) -> None:
    assert compared(read(a_visit(**one))) == compared(read(a_visit(**other)))


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ({"sets": [a_set()]}, {"sets": [a_set(flagged=False)]}),
        ({"signs": [a_sign()]}, {"signs": [a_sign(count=0)]}),
        ({"signs": [a_sign()]}, {"signs": [a_sign(id=an_id(21))]}),
        ({"checks": [a_check()]}, {"checks": [a_check(checked_at="2026-05-14T17:00:00.000001Z")]}),
        ({"outcome": "partly"}, {}),
        (
            {
                "repairs": [
                    {
                        "id": an_id(8),
                        "sign_id": an_id(9),
                        "repaired_at": a_visit()["arrived_at"],
                        "how": "levelled",
                        "area_m2": "1",
                    }
                ]
            },
            {
                "repairs": [
                    {
                        "id": an_id(8),
                        "sign_id": an_id(9),
                        "repaired_at": a_visit()["arrived_at"],
                        "how": "levelled",
                        "area_m2": "1.0",
                    }
                ]
            },
        ),
        (
            {"sets": [a_set(position={"type": "Point", "coordinates": [10, 1e-7]})]},
            {"sets": [a_set(position={"type": "Point", "coordinates": [10, 0]})]},
        ),
    ],
)
def test_bodies_that_state_something_else_differ(one: dict[str, Any], other: dict[str, Any]) -> None:
    assert compared(read(a_visit(**one))) != compared(read(a_visit(**other)))


def test_a_required_member_stays_though_it_is_empty() -> None:
    nothing = {
        "id": an_id(8),
        "who": "the porter",
        "how": "",
        "at": "2026-05-14T17:00:00Z",
        "what": "cautions",
    }
    assert b'"how":""' in compared(read(a_visit(told=[nothing])))


def test_the_whole_visit_in_its_compared_form() -> None:
    content = json.loads(compared(read(full_visit())))
    assert content.keys() == full_visit().keys() - {"id", "amends", "amend_reason", "treatments_none"}
    assert content["signs"][0]["geometry"] == {"coordinates": [-122.45, 45.55], "type": "Point"}
    assert content["left_at"] == "2026-05-14T17:40:00Z"
    assert "checked_by" not in content["checks"][0]
