"""What a visit's own body shows: faults between its members."""

import itertools
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec import inspect

from service.facts.models import Check, NewVisit
from service.visits.rules import GRAVITY, cross_faults, visit_faults
from tests.bodies import AT, NOW, a_check, a_set, a_sign, a_visit, an_id, full_visit, of

NIL = "00000000-0000-0000-0000-000000000000"
MOLE = {"id": an_id(50), "species": "Scapanus latimanus", "fate": "dead_in_trap"}
TREATMENT = {"id": an_id(60), "method": "repellent", "applied_at": AT}
SQUARE = {"type": "Polygon", "coordinates": [[[0, 0], [1, 0], [1, 1], [0, 1], [0, 0]]]}


def survey(**members: Any) -> dict[str, Any]:
    return {"id": an_id(70), "surveyed_at": AT, "fresh_signs": 0, **members}


def repair(**members: Any) -> dict[str, Any]:
    return {"id": an_id(71), "repaired_at": AT, "how": "reseeded", "area_m2": "0.25", **members}


def found(body: object) -> list[tuple[str, str]]:
    return [(fault.pointer, fault.code) for fault in visit_faults(body, NOW)]


@pytest.mark.parametrize(
    "members",
    [
        {},
        {"outcome": "no_access"},
        {"outcome": "no_access", "no_access_reason": "locked gate", "checks": [a_check()], "sets": [a_set()]},
        {"left_at": AT},
        {"treatments_none": True, "treatments": []},
        {"treatments_none": False, "treatments": [TREATMENT]},
        {"surveys": [survey()]},
        {"surveys": [survey(feature_id=an_id(5), area=None)]},
        {"surveys": [survey(area=SQUARE)]},
        {"repairs": [repair(sign_id=an_id(5)), repair(id=an_id(72), set_id=an_id(5), sign_id=None)]},
        {"repairs": [repair()]},
        {"signs": [a_sign(absent_since="2026-05-14T09:59:59-07:00")]},
        {"sets": [a_set(traps=[{"no": 1}, {"no": 2}])], "checks": [a_check()]},
        {"checks": [a_check(finding="catch", catches=[MOLE])]},
        {"checks": [a_check(finding="catch", catches=[{**MOLE, "trap_no": 2}], traps=[])]},
        {"checks": [a_check(finding="sprung_empty", traps=[{"no": 1, "finding": "sprung_empty"}])]},
    ],
)
def test_what_its_own_body_does_not_show_to_be_wrong_is_taken(members: dict[str, Any]) -> None:
    assert found(a_visit(**members)) == []


def test_a_visit_with_every_member_is_taken() -> None:
    assert found(full_visit()) == []


@pytest.mark.parametrize(
    ("members", "pointer", "code"),
    [
        ({"left_at": "2026-05-14T16:59:59Z"}, "#/left_at", "out_of_order"),
        ({"treatments_none": True, "treatments": [TREATMENT]}, "#/treatments_none", "contradiction"),
        ({"surveys": [survey(feature_id=an_id(5), area=SQUARE)]}, "#/surveys/0/area", "contradiction"),
        ({"repairs": [repair(sign_id=an_id(5), set_id=an_id(6))]}, "#/repairs/0/set_id", "contradiction"),
        ({"signs": [a_sign(absent_since=AT)]}, "#/signs/0/absent_since", "out_of_order"),
        ({"signs": [a_sign(absent_since="2026-05-14T17:00:01Z")]}, "#/signs/0/absent_since", "out_of_order"),
        ({"signs": [a_sign(), a_sign()]}, "#/signs/1/id", "id_repeated"),
        (
            {"signs": [a_sign(id=an_id(10))], "sets": [a_set(id=an_id(10).upper())]},
            "#/sets/0/id",
            "id_repeated",
        ),
        (
            {"checks": [a_check(finding="catch", catches=[{**MOLE, "id": a_check()["id"]}])]},
            "#/checks/0/catches/0/id",
            "id_repeated",
        ),
        ({"signs": [a_sign(id=NIL)]}, "#/signs/0/id", "nil_uuid"),
        ({"sets": [a_set(traps=[{"no": 1}, {"no": 2}, {"no": 1}])]}, "#/sets/0/traps/2/no", "no_repeated"),
        (
            {"checks": [a_check(traps=[{"no": 1, "finding": "undisturbed"}] * 2)]},
            "#/checks/0/traps/1/no",
            "no_repeated",
        ),
        ({"checks": [a_check(catches=[MOLE])]}, "#/checks/0/catches", "contradiction"),
        ({"checks": [a_check(finding="catch")]}, "#/checks/0/catches", "missing"),
        ({"checks": [a_check(finding="catch", catches=[])]}, "#/checks/0/catches", "missing"),
        (
            {"checks": [a_check(finding="bypassed", traps=[{"no": 1, "finding": "sprung_empty"}])]},
            "#/checks/0/finding",
            "contradiction",
        ),
        (
            {"checks": [a_check(finding="missing", traps=[{"no": 1, "finding": "undisturbed"}])]},
            "#/checks/0/finding",
            "contradiction",
        ),
    ],
)
def test_what_its_own_body_shows_to_be_wrong_is_refused_with_its_place(
    members: dict[str, Any], pointer: str, code: str
) -> None:
    assert found(a_visit(**members)) == [(pointer, code)]


def test_the_gravest_finding_of_the_traps_is_the_one_of_the_set() -> None:
    assert set(GRAVITY) == set(inspect.type_info(Check.__annotations__["finding"]).values)  # type: ignore[attr-defined]
    for mild, grave in itertools.combinations(GRAVITY, 2):
        traps = [{"no": 1, "finding": grave}, {"no": 2, "finding": mild}]
        catches = [MOLE] if grave == "catch" else []
        assert found(a_visit(checks=[a_check(finding=grave, traps=traps, catches=catches)])) == []
        assert found(a_visit(checks=[a_check(finding=mild, traps=traps)])) == [
            ("#/checks/0/finding", "contradiction")
        ]


def test_faults_of_types_and_between_members_come_together_in_order() -> None:
    late = a_check(id=an_id(41), checked_at="2027-01-01T00:00:00Z")
    many = [
        a_check(id=an_id(100 + number), catches=[{**MOLE, "id": an_id(200 + number)}]) for number in range(11)
    ]
    body = a_visit(left_at="2026-05-14T16:00:00Z", colour="red", checks=[late, *many])
    expected = [("#/checks/0/checked_at", "in_future")]
    expected += [(f"#/checks/{number}/catches", "contradiction") for number in range(1, 12)]
    expected += [("#/colour", "unknown_field"), ("#/left_at", "out_of_order")]
    assert found(body) == expected


def test_a_hundred_faults_are_told_and_no_more() -> None:
    assert len(found(a_visit(checks=[a_check(finding="catch")] * 500))) == 100


JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.text(max_size=3)
    | st.sampled_from([AT, NIL, "0001-01-01T00:00:00+14:00"]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=3),
    max_leaves=4,
)
NAMES = [
    "id",
    "no",
    "traps",
    "finding",
    "catches",
    "sign_id",
    "set_id",
    "area",
    "feature_id",
    "seen_at",
    "absent_since",
]
FACTS = JSON | st.lists(
    st.dictionaries(st.sampled_from(NAMES), JSON | st.sampled_from(GRAVITY), max_size=5), max_size=3
)
BODIES = st.dictionaries(st.sampled_from([field.name for field in inspect.type_info(NewVisit).fields]), FACTS)  # type: ignore[attr-defined]


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(BODIES)
def test_members_of_any_type_are_passed_over_without_harm(body: dict[str, Any]) -> None:
    before = repr(body)
    faults = cross_faults(body)
    assert repr(body) == before
    assert all(fault.pointer.startswith("#/") and fault.detail.endswith(".") for fault in faults)


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(of(inspect.type_info(NewVisit)))
def test_an_id_is_repeated_exactly_where_a_nested_one_stood_before(body: dict[str, Any]) -> None:
    ids = [
        fact["id"]
        for name, facts in body.items()
        if isinstance(facts, list)
        for fact in facts
        if "id" in fact
    ]
    ids += [catch["id"] for check in body.get("checks", []) for catch in check.get("catches", [])]
    repeated = [fault for fault in cross_faults(body) if fault.code == "id_repeated"]
    assert len(repeated) == len(ids) - len(set(ids))


def test_a_number_that_is_none_is_a_fault_of_its_type_alone() -> None:
    traps = [{"no": "1"}, {"no": "1"}]
    assert found(a_visit(sets=[a_set(traps=traps)])) == [
        ("#/sets/0/traps/0/no", "wrong_type"),
        ("#/sets/0/traps/1/no", "wrong_type"),
    ]


@pytest.mark.parametrize("body", [None, [], "visit", 3, {}])
def test_a_body_that_is_no_visit_is_refused(body: object) -> None:
    assert visit_faults(body, NOW)
