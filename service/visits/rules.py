"""What a visit's own body shows to be wrong: faults of its types, and between its members."""

import re
from collections.abc import Iterator
from datetime import datetime
from typing import Any

import msgspec

from service.facts.models import NewVisit
from service.kernel.errors import Fault
from service.kernel.faults import faults_of
from service.kernel.sentences import MOST

# Mildest first, our own order. What bears on an animal is gravest: one is caught, or may lie in the ground;
# then a trap that is gone, does not work or was meddled with; then what the animal did to it.
GRAVITY = (
    "undisturbed",
    "bypassed",
    "plugged",
    "disturbed",
    "not_working",
    "missing",
    "sprung_empty",
    "catch",
)
_LISTS = tuple(field.name for field in msgspec.structs.fields(NewVisit) if field.default_factory is list)
_NIL = "00000000-0000-0000-0000-000000000000"


def visit_faults(body: object, now: datetime) -> list[Fault]:
    """All faults of a visit's untyped body in the order of their pointers, 100 at most."""
    found = faults_of(body, NewVisit, now)
    if isinstance(body, dict):
        found += cross_faults(body)
    return sorted(found, key=lambda each: re.sub(r"\d+", lambda digits: digits[0].zfill(6), each.pointer))[
        :MOST
    ]


def cross_faults(body: dict[str, Any]) -> list[Fault]:
    """Faults between members; members of a wrong type are passed over, `faults_of` speaks of those."""
    return [
        *_of_ids(body),
        *_of_visit(body),
        *_of_surveys_and_repairs(body),
        *_of_signs(body),
        *_of_sets(body),
        *_of_checks(body),
    ]


def _of_ids(body: dict[str, Any]) -> Iterator[Fault]:
    seen: set[str] = set()
    for pointer, fact in _facts(body):
        id_ = fact.get("id")
        # Nil has a fault of its own.
        if not isinstance(id_, str) or id_ == _NIL:
            continue
        # Upper and lower case are one id.
        one = id_.lower()
        if one in seen:
            detail = "This id stands twice in the visit; give each fact an id of its own."
            yield Fault(detail, f"{pointer}/id", "id_repeated")
        seen.add(one)


def _facts(body: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for name in _LISTS:
        for pointer, fact in _objects(body, name, "#"):
            yield pointer, fact
            if name == "checks":
                yield from _objects(fact, "catches", pointer)


def _of_visit(body: dict[str, Any]) -> Iterator[Fault]:
    arrived, left = _instant(body.get("arrived_at")), _instant(body.get("left_at"))
    if arrived and left and left < arrived:
        yield Fault("left_at must not lie before arrived_at.", "#/left_at", "out_of_order")
    if body.get("treatments_none") is True and any(_objects(body, "treatments", "#")):
        detail = "Take out treatments_none, or the treatments: both cannot be true."
        yield Fault(detail, "#/treatments_none", "contradiction")


def _of_surveys_and_repairs(body: dict[str, Any]) -> Iterator[Fault]:
    for pointer, survey in _objects(body, "surveys", "#"):
        if survey.get("feature_id") is not None and survey.get("area") is not None:
            detail = "Give one of feature_id and area, not both: it says what was surveyed."
            yield Fault(detail, f"{pointer}/area", "contradiction")
    for pointer, repair in _objects(body, "repairs", "#"):
        if repair.get("sign_id") is not None and repair.get("set_id") is not None:
            detail = "Give one of sign_id and set_id, not both: it says what was repaired."
            yield Fault(detail, f"{pointer}/set_id", "contradiction")


def _of_signs(body: dict[str, Any]) -> Iterator[Fault]:
    for pointer, sign in _objects(body, "signs", "#"):
        absent, seen = _instant(sign.get("absent_since")), _instant(sign.get("seen_at"))
        if absent and seen and absent >= seen:
            yield Fault("absent_since must lie before seen_at.", f"{pointer}/absent_since", "out_of_order")


def _of_sets(body: dict[str, Any]) -> Iterator[Fault]:
    for pointer, placed in _objects(body, "sets", "#"):
        yield from _of_trap_numbers(placed, pointer)


def _of_checks(body: dict[str, Any]) -> Iterator[Fault]:
    for pointer, check in _objects(body, "checks", "#"):
        yield from _of_trap_numbers(check, pointer)
        finding, catches = check.get("finding"), check.get("catches") or []
        if finding not in GRAVITY or not isinstance(catches, list):
            continue
        of_traps = [trap.get("finding") for _, trap in _objects(check, "traps", pointer)]
        gravest = max((each for each in of_traps if each in GRAVITY), key=GRAVITY.index, default=finding)
        if finding != gravest:
            detail = f"finding must be {gravest}, the gravest finding of its traps, not {finding}."
            yield Fault(detail, f"{pointer}/finding", "contradiction")
        if finding == "catch" and not catches:
            detail = (
                "List the animal in catches, since the finding is catch; its species may be unidentified."
            )
            yield Fault(detail, f"{pointer}/catches", "missing")
        if finding != "catch" and catches:
            detail = f"Take out the catches, or make the finding catch: it is {finding}."
            yield Fault(detail, f"{pointer}/catches", "contradiction")


def _of_trap_numbers(fact: dict[str, Any], pointer: str) -> Iterator[Fault]:
    seen: set[int] = set()
    for place, trap in _objects(fact, "traps", pointer):
        no = trap.get("no")
        if type(no) is not int:
            continue
        if no in seen:
            yield Fault(
                f"Trap {no} stands twice; give each trap a no of its own.", f"{place}/no", "no_repeated"
            )
        seen.add(no)


def _objects(parent: dict[str, Any], name: str, pointer: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """The objects of a list with their pointers; none where it is no list."""
    members = parent.get(name)
    for index, member in enumerate(members if isinstance(members, list) else []):
        if isinstance(member, dict):
            yield f"{pointer}/{name}/{index}", member


def _instant(value: object) -> datetime | None:
    """An instant, where the value is one."""
    try:
        at = msgspec.convert(value, datetime) if isinstance(value, str) else None
    except (msgspec.ValidationError, UnicodeError):
        return None
    return at if at is not None and at.tzinfo is not None else None
