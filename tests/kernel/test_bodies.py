"""Reading bodies: what is not JSON, all faults at once, and where they are."""

import json
import re
from datetime import UTC, datetime
from typing import Annotated, Any
from urllib.parse import unquote

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec import Meta, inspect

from service.facts.models import Check, NewVisit, Set, Sign, Survey, Treatment
from service.kernel.bodies import decode, read_json
from service.kernel.errors import Fault, Refused
from service.kernel.faults import faults_of
from service.kernel.values import (
    Notes,
    Point,
    Region,
)
from tests.bodies import NOW, SQUARE, a_check, a_set, a_sign, a_visit, found, full_visit, of

THOROUGH = settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
STRUCTS = (NewVisit, Check, Set, Sign, Survey, Treatment)


# Not JSON ------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (b"", "it is empty"),
        (b" \n", "it is empty"),
        (b'{"a": 1', "expecting ',' delimiter at line 1, column 8"),
        (b'{"a": 1,\n "b": nul}', "expecting value at line 2, column 7"),
        (b"{} {}", "extra data at line 1, column 4"),
        (b'{"a": "\xff"}', "byte 8 is not UTF-8"),
        (b'\xef\xbb\xbf{"a": 1}', "line 1, column 1"),
        (b'{"a": NaN}', "NaN is no JSON number"),
        (b'{"a": -Infinity}', "-Infinity is no JSON number"),
        (b'{"a": "\x00"}', "invalid control character at line 1, column 8"),
        (b"[" * 100_000, "nested too deeply"),
        (b'["\\udc00", ' + b"[" * 100_000, "nested too deeply"),
        (b'{"a": ' + b"1" * 5_000 + b"}", "thousands of digits"),
    ],
)
def test_what_is_not_json_is_unreadable_and_says_where(raw: bytes, words: str) -> None:
    with pytest.raises(Refused) as caught:
        read_json(raw)
    assert caught.value.kind == "unreadable"
    assert words in caught.value.detail


def test_the_last_of_two_members_of_one_name_counts() -> None:
    assert read_json(b'{"a": 1, "a": 2}') == {"a": 2}


@given(st.text('{}[]",:\\ 0198eE.-+trufalsnd\n\x00é', max_size=25).map(str.encode) | st.binary(max_size=10))
def test_bytes_are_read_as_the_standard_library_reads_them_or_refused(raw: bytes) -> None:
    try:
        expected = json.loads(raw.decode())
    except ValueError:
        with pytest.raises(Refused, match="cannot be read as JSON"):
            read_json(raw)
    else:
        assert read_json(raw) == expected


# Readable but wrong --------------------------------------------------------------------------------------
def test_a_future_check_and_a_latitude_off_the_globe_are_told_together() -> None:
    visit = a_visit(
        checks=[a_check(checked_at="2027-01-01T00:00:00Z")],
        sets=[a_set(position={"type": "Point", "coordinates": [-122.5, 95]})],
    )
    with pytest.raises(Refused) as caught:
        decode(msgspec.json.encode(visit), NewVisit, NOW)
    assert caught.value.kind == "invalid"
    assert {(fault.pointer, fault.code) for fault in caught.value.errors} == {
        ("#/checks/0/checked_at", "in_future"),
        ("#/sets/0/position/coordinates/1", "off_the_globe"),
    }
    assert "2 faults" in caught.value.detail


@pytest.mark.parametrize("raw", [b"[]", b"null", b'"visit"', b"12", b"true"])
def test_a_body_that_is_no_object_is_one_fault_of_the_whole(raw: bytes) -> None:
    with pytest.raises(Refused) as caught:
        decode(raw, NewVisit, NOW)
    assert [(fault.pointer, fault.code) for fault in caught.value.errors] == [("#", "wrong_type")]


def test_a_visit_with_every_member_is_read() -> None:
    visit = decode(msgspec.json.encode(full_visit()), NewVisit, NOW)
    stated = {field.name for field in msgspec.structs.fields(NewVisit)}
    assert stated == full_visit().keys()
    assert visit.checks[0].catches[0].mass_g == 70


@pytest.mark.parametrize(
    ("members", "pointer", "code"),
    [
        ({"arrived_at": "2026-05-14T10:00:00"}, "#/arrived_at", "no_offset"),
        ({"outcome": "doen"}, "#/outcome", "not_in_list"),
        ({"outcome": None}, "#/outcome", "wrong_type"),
        ({"outcome": 1}, "#/outcome", "wrong_type"),
        ({"worker_id": None}, "#/worker_id", "wrong_type"),
        ({"worker_id": "00000000-0000-0000-0000-000000000000"}, "#/worker_id", "nil_uuid"),
        ({"worker_id": "0198f3a0000070008000000000000001"}, "#/worker_id", "not_a_uuid"),
        ({"with_worker_ids": ["x"]}, "#/with_worker_ids/0", "not_a_uuid"),
        ({"with_worker_ids": "x"}, "#/with_worker_ids", "wrong_type"),
        ({"with_worker_ids": [a_check()["id"]] * 101}, "#/with_worker_ids", "too_long"),
        ({"notes": "a\0b"}, "#/notes", "nul"),
        ({"notes": "a\x07b"}, "#/notes", "control_character"),
        ({"notes": "a\ud800b"}, "#/notes", "lone_surrogate"),
        ({"notes": "n" * 10_001}, "#/notes", "too_long"),
        ({"amends": "\0"}, "#/amends", "nul"),
        ({"no_access_reason": "one line\n"}, "#/no_access_reason", "control_character"),
        ({"treatments_none": 1}, "#/treatments_none", "wrong_type"),
        ({"treatments_none": "true"}, "#/treatments_none", "wrong_type"),
        ({"checks": {}}, "#/checks", "wrong_type"),
        ({"checks": [None]}, "#/checks/0", "wrong_type"),
        ({"checks": [a_check()] * 501}, "#/checks", "too_long"),
        ({"sets": [a_set(traps=[])]}, "#/sets/0/traps", "too_short"),
        ({"sets": [a_set(traps=[{"no": -1}])]}, "#/sets/0/traps/0/no", "out_of_range"),
        ({"sets": [a_set(traps=[{"no": 1.0}])]}, "#/sets/0/traps/0/no", "wrong_type"),
        ({"sets": [a_set(traps=[{"no": True}])]}, "#/sets/0/traps/0/no", "wrong_type"),
        ({"sets": [a_set(depth_mm=10**400)]}, "#/sets/0/depth_mm", "out_of_range"),
        ({"sets": [a_set(target="mole")]}, "#/sets/0/target", "wrong_form"),
        (
            {"signs": [a_sign(geometry={"type": "Polygon", "coordinates": SQUARE})]},
            "#/signs/0/geometry/type",
            "not_in_list",
        ),
        ({"signs": [a_sign(geometry={"coordinates": [0, 0]})]}, "#/signs/0/geometry/type", "missing"),
        (
            {"signs": [a_sign(geometry={"type": "Point", "coordinates": [0, 0], "crs": 1})]},
            "#/signs/0/geometry/crs",
            "unknown_field",
        ),
        ({"signs": [a_sign(geometry=[0, 0])]}, "#/signs/0/geometry", "wrong_type"),
        ({"a/b": 1}, "#/a~1b", "unknown_field"),
    ],
)
def test_each_fault_has_its_place_and_its_kind(members: dict[str, Any], pointer: str, code: str) -> None:
    assert found(a_visit(**members), NewVisit) == [(pointer, code)]


def test_what_is_missing_is_pointed_at_where_it_belongs() -> None:
    assert found({"checks": [{"id": a_check()["id"]}]}, NewVisit) == [
        ("#/checks/0/set_id", "missing"),
        ("#/checks/0/checked_at", "missing"),
        ("#/checks/0/finding", "missing"),
        ("#/checks/0/action", "missing"),
        ("#/property_id", "missing"),
        ("#/worker_id", "missing"),
        ("#/arrived_at", "missing"),
    ]


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (a_visit(arived_at="x"), "There is no field 'arived_at' here; did you mean 'arrived_at'?"),
        (a_visit(checks=[a_check(finding="catched")]), "did you mean 'catch'?"),
        (a_visit(checks=[a_check(finding="cought")]), "undisturbed"),
        (a_visit(sets=[a_set(depth_mm=-5)]), "depth_mm must be a whole number from 0 to 1000000."),
        (a_visit(notes=5), "notes must be text, not a whole number."),
        (
            a_visit(repairs=[{"area_m2": 0.25}]),
            "area_m2 must be text, not a number with a fraction or an exponent.",
        ),
        (
            a_visit(signs=[a_sign(geometry={"type": "Point", "coordinates": ["4", 0]})]),
            "An item of coordinates must be a number, not text.",
        ),
    ],
)
def test_a_sentence_says_what_to_mend(body: object, words: str) -> None:
    assert any(words in fault.detail for fault in faults_of(body, NewVisit, NOW))


def test_a_hundred_faults_are_told_and_no_more() -> None:
    many = a_visit(checks=[{}] * 500, signs=[{}] * 500, **{f"x{number}": 1 for number in range(500)})
    assert len(faults_of(many, NewVisit, NOW)) == 100


def test_a_pattern_is_told_in_words() -> None:
    (fault,) = faults_of("Oregon", Region, NOW)
    assert fault.detail == "The body must be written as ISO 3166-2 code, or ISO 3166-1 alpha-2, not 'Oregon'."


def test_a_line_break_may_stand_in_notes() -> None:
    assert found("wet\r\n\tsoil", Notes) == []


# RFC 6901 section 6, the fragments of its example document.
@pytest.mark.parametrize(
    ("name", "pointer"),
    [
        ("", "#/"),
        ("a/b", "#/a~1b"),
        ("c%d", "#/c%25d"),
        ("e^f", "#/e%5Ef"),
        ("g|h", "#/g%7Ch"),
        ("i\\j", "#/i%5Cj"),
        ('k"l', "#/k%22l"),
        (" ", "#/%20"),
        ("m~n", "#/m~0n"),
    ],
)
def test_pointers_are_written_as_uri_fragments(name: str, pointer: str) -> None:
    assert found({name: 1}, Point)[0] == ("#/type", "missing")
    assert found({"type": "Point", "coordinates": [0, 0], name: 1}, Point) == [(pointer, "unknown_field")]


# The walk and msgspec ------------------------------------------------------------------------------------
ANY_JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(st.characters(exclude_categories=[]), max_size=5)
    | st.sampled_from(
        ["2026-05-14T10:00:00", "Point", "catch", "0.5", "00000000-0000-0000-0000-000000000000", 10**400]
    ),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=3),
    max_leaves=5,
)


def places(value: Any) -> list[tuple[Any, Any]]:
    """Every container in it with each of its keys or indexes."""
    keys = (
        list(value) if isinstance(value, dict) else list(range(len(value))) if isinstance(value, list) else []
    )
    return [(value, key) for key in keys] + [place for key in keys for place in places(value[key])]


@st.composite
def mutants(draw: st.DrawFn) -> tuple[Any, Any]:
    """A well-formed body in which up to three members were replaced, taken out, doubled or renamed."""
    kind = draw(st.sampled_from(STRUCTS))
    body = draw(of(inspect.type_info(kind)))
    for _ in range(draw(st.integers(1, 3))):
        parent, key = draw(st.sampled_from(places(body) or [({}, None)]))
        change = draw(st.sampled_from(["replace", "take out", "rename", "double"]))
        if change == "replace":
            parent[key] = draw(ANY_JSON)
        elif change == "take out":
            parent.pop(key, None) if isinstance(parent, dict) else parent.pop(key)
        elif change == "rename" and isinstance(parent, dict) and key is not None:
            parent[draw(st.text(max_size=8))] = parent.pop(key)
        elif change == "double" and isinstance(parent, list):
            parent.append(parent[key])
    return kind, body


def at(body: Any, pointer: str) -> Any:
    """What an RFC 6901 fragment points to."""
    for step in pointer.removeprefix("#").split("/")[1:]:
        name = unquote(step, errors="surrogatepass").replace("~1", "/").replace("~0", "~")
        body = body[int(name)] if isinstance(body, list) else body[name]
    return body


@THOROUGH
@given(st.sampled_from(STRUCTS).flatmap(lambda kind: st.tuples(st.just(kind), of(inspect.type_info(kind)))))
def test_a_well_formed_body_is_clean_and_converts(made: tuple[Any, Any]) -> None:
    kind, body = made
    assert faults_of(body, kind, NOW) == []
    assert decode(msgspec.json.encode(body), kind, NOW) == msgspec.convert(body, kind, strict=True)


@THOROUGH
@given(mutants())
def test_what_does_not_convert_has_a_fault_and_what_is_clean_converts(made: tuple[Any, Any]) -> None:
    kind, body = made
    if not faults_of(body, kind, NOW):
        assert isinstance(msgspec.convert(body, kind, strict=True), kind)


@THOROUGH
@given(mutants())
def test_every_fault_points_into_the_body_and_is_a_sentence_that_can_be_stored(made: tuple[Any, Any]) -> None:
    kind, body = made
    for fault in faults_of(body, kind, NOW):
        parent, _, _ = fault.pointer.rpartition("/")
        at(body, parent if fault.code == "missing" else fault.pointer)
        assert re.fullmatch(r"[^\x00-\x1f]+[.?]", fault.detail)
        assert msgspec.json.decode(msgspec.json.encode(fault), type=Fault) == fault


# Types that no visit holds -------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("value", "kind", "faults"),
    [
        ({"a": 1}, dict[str, int], []),
        ({"a": "x"}, dict[str, int], [("#/a", "wrong_type")]),
        ({"\0": 1}, dict[str, int], [("#/%00", "nul")]),
        ([], dict[str, int], [("#", "wrong_type")]),
        ({}, Annotated[dict[str, int], Meta(min_length=1)], [("#", "too_short")]),
        ({str(n): "" for n in range(200)}, dict[str, int], [(f"#/{n}", "wrong_type") for n in range(100)]),
        ({"a": [1, {"b": "x\0"}]}, dict[str, Any], [("#/a/1/b", "nul")]),
        ({"a": {"\0": 1}}, Any, [("#/a/%00", "nul")]),
        ([2**53, None, True], Any, [("#/0", "out_of_range")]),
        (["\0"] * 200, Any, [(f"#/{n}", "nul") for n in range(100)]),
        ("x", str | int | list[int] | None, []),
        (["x"], str | int | list[int] | None, [("#/0", "wrong_type")]),
        ({}, str | int | list[int] | None, [("#", "wrong_type")]),
        (1.5, Annotated[float, Meta(ge=0, le=1)], [("#", "out_of_range")]),
        (0.0, Annotated[float, Meta(gt=0, lt=1)], [("#", "out_of_range")]),
        (0, Annotated[int, Meta(gt=0)], [("#", "out_of_range")]),
        (1, Annotated[int, Meta(gt=0, lt=2)], []),
        ("", Annotated[str, Meta(min_length=2)], [("#", "too_short")]),
    ],
)
def test_other_types_are_walked_too(value: object, kind: Any, faults: list[tuple[str, str]]) -> None:
    assert found(value, kind) == faults


def test_free_json_is_taken_as_deep_as_a_person_would_write_it() -> None:
    deep: list[Any] = []
    for _ in range(500):
        deep = [deep]
    assert [code for _, code in found(deep, Any)] == ["too_deep"]


def test_a_type_that_no_body_may_hold_is_our_own_mistake() -> None:
    with pytest.raises(TypeError, match="No body holds"):
        faults_of(b"", bytes, datetime(2026, 5, 14, tzinfo=UTC))
