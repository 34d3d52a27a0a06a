"""Changing one fact inside a visit's body. Pure."""

from typing import Any
from uuid import UUID

from service.kernel.errors import Fault, Missing, Refused
from service.kernel.merge import merged


def with_fact(
    body: dict[str, Any], lists: tuple[str, ...], id_: UUID, patch: Any
) -> tuple[dict[str, Any], str]:
    """The body with a merge patch (RFC 7396) laid over the fact of that id, and the fact's JSON Pointer.

    `lists` are the lists of the body to look in; catches inside checks are looked in with "catches".
    """
    if not isinstance(patch, dict):
        raise Refused("unreadable", "A merge patch is a JSON object with the members to change.")
    # why it is changed is said of the visit
    body = {**body, **{name: said for name, said in patch.items() if name == "amend_reason"}}
    patch = {name: value for name, value in patch.items() if name != "amend_reason"}
    if "id" in patch:
        raise Refused(
            "invalid", "A fact keeps its id; leave `id` out.", [Fault("Leave `id` out.", "#/id", "other_id")]
        )
    for name in lists:
        for index, fact in enumerate(body.get(name, [])):
            if fact["id"] == str(id_):
                return {**body, name: _replaced(body[name], index, merged(fact, patch))}, f"#/{name}/{index}"
    if "catches" in lists:
        return _with_catch_of_check(body, id_, patch)
    raise Missing


def _with_catch_of_check(body: dict[str, Any], id_: UUID, patch: Any) -> tuple[dict[str, Any], str]:
    for index, check in enumerate(body.get("checks", [])):
        for place, fact in enumerate(check.get("catches", [])):
            if fact["id"] == str(id_):
                changed = {**check, "catches": _replaced(check["catches"], place, merged(fact, patch))}
                pointer = f"#/checks/{index}/catches/{place}"
                return {**body, "checks": _replaced(body["checks"], index, changed)}, pointer
    raise Missing


def _replaced(facts: list[Any], index: int, fact: Any) -> list[Any]:
    return [*facts[:index], fact, *facts[index + 1 :]]


def seen_from_fact(refused: Refused, pointer: str) -> Refused:
    """The refusal with pointers into the fact instead of the whole visit."""
    for_fact = [
        Fault(fault.detail, "#" + fault.pointer.removeprefix(pointer), fault.code)
        if fault.pointer.startswith(pointer)
        else fault
        for fault in refused.errors
    ]
    return Refused(refused.kind, refused.detail, for_fact, headers=refused.headers)
