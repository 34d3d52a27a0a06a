"""All faults of an untyped body at once: a walk by the type that it should have.

msgspec stops at the first fault and speaks JSONPath; this walk goes on, speaks JSON Pointer, and is stricter
where RFC 3339, RFC 7946 or PostgreSQL are. Whatever it calls clean, msgspec converts.
"""

import math
from collections.abc import Callable, Mapping, Sequence, Sized
from datetime import datetime, timedelta
from functools import cache
from typing import Any

from msgspec import inspect

from service.kernel import geometry, instants, scalars
from service.kernel.errors import Fault
from service.kernel.sentences import CLEAN, MOST, Check, fault, inside, json_name, nearest, shown, wrong_type

# Phones drift; what is said of later than this is said of the future.
DRIFT = timedelta(minutes=10)
DEEPEST = 32

_TAKES: dict[type[inspect.Type], tuple[type, ...]] = {
    inspect.BoolType: (bool,),
    inspect.IntType: (int,),
    inspect.FloatType: (float, int),
    inspect.StrType: (str,),
    inspect.UUIDType: (str,),
    inspect.DateTimeType: (str,),
    inspect.DateType: (str,),
    inspect.ListType: (list,),
    inspect.DictType: (dict,),
    inspect.StructType: (dict,),
}


def faults_of(body: object, of: Any, now: datetime) -> list[Fault]:
    """What keeps `body` (as decoded from JSON) from being an `of`: at most 100 faults, or none.

    `of` is a type that msgspec knows; instants may lie ten minutes ahead of `now`. Pointers are RFC 6901 URI
    fragments, "#" for the body itself.
    """
    found = _checker(of)(body, now + DRIFT)
    return [Fault(each.detail, f"#{each.pointer}", each.code) for each in found[:MOST]]


@cache
def _checker(of: Any) -> Check:
    return _compiled(inspect.type_info(of), "The body")


def _compiled(kind: inspect.Type, label: str, description: str = "") -> Check:
    """The check of one type: `label` begins its sentences, `description` is the form that a text has."""
    if type(kind) not in _MAKERS:
        raise TypeError(f"No body holds {kind}")
    return _MAKERS[type(kind)](kind, label, description)


def _described(kind: inspect.Metadata, label: str, description: str) -> Check:
    words = (kind.extra_json_schema or {}).get("description", description)
    return _with_extra(_compiled(kind.type, label, words), label, kind.extra or {})


def _with_extra(check: Check, label: str, extra: Mapping[str, Any]) -> Check:
    """What `Meta(extra=...)` of a type asks for beyond its form."""
    if "future" in extra:
        return instants.instant(label, may_be_ahead=True)
    further: Callable[[Any], Sequence[Fault]]
    if "zone" in extra:
        further = instants.zone_faults
    elif "position" in extra:
        further = geometry.position_faults
    elif "rings" in extra:
        further = geometry.rings_faults
    else:
        return check
    return lambda value, latest: check(value, latest) or further(value)


def _union(kind: inspect.UnionType, label: str, description: str) -> Check:
    """The JSON type of the value picks the member: one of each, or Structs that a tag tells apart."""
    structs = [member for member in kind.types if isinstance(member, inspect.StructType)]
    by_type: dict[type, Check] = {dict: _structs(structs, label)} if structs else {}
    for member in kind.types:
        if not isinstance(member, (inspect.StructType, inspect.NoneType)):
            check = _compiled(member, label, description)
            by_type.update((each, check) for each in _json_types(member))
    checks = set(by_type.values())
    # One kind of value says itself what it expects; null is let through before it.
    only = checks.pop() if len(checks) == 1 else None
    expected = " or ".join(json_name(each) for each in by_type)

    def check_one(value: object, latest: datetime) -> Sequence[Fault]:
        if value is None and kind.includes_none:
            return CLEAN
        check = only or by_type.get(type(value))
        return wrong_type(label, expected, value) if check is None else check(value, latest)

    return check_one


def _json_types(kind: inspect.Type) -> tuple[type, ...]:
    if isinstance(kind, inspect.Metadata):
        return _json_types(kind.type)
    if isinstance(kind, inspect.LiteralType):
        return tuple({type(value) for value in kind.values})
    return _TAKES[type(kind)]


def _structs(kinds: list[inspect.StructType], label: str) -> Check:
    """An object of the one kind, or of the kind that its tag names."""
    tag_field = kinds[0].tag_field
    checks: dict[str | int | None, Check] = {kind.tag: _members(kind) for kind in kinds}
    tag_of = inspect.LiteralType(tuple(str(tag) for tag in checks))
    check_tag = scalars.word(tag_of, str(tag_field))

    def check(value: object, latest: datetime) -> Sequence[Fault]:
        if type(value) is not dict:
            return wrong_type(label, "an object", value)
        if tag_field is None:
            return checks[None](value, latest)
        if tag_field not in value:
            return inside(tag_field, fault(f"Add {tag_field}: it is missing here.", "missing"))
        wrong = check_tag(value[tag_field], latest)
        return inside(tag_field, wrong) if wrong else checks[value[tag_field]](value, latest)

    return check


def _members(kind: inspect.StructType) -> Check:
    checks = {field.encode_name: _compiled(field.type, field.encode_name) for field in kind.fields}
    required = [field.encode_name for field in kind.fields if field.required]
    known = checks.keys() | {kind.tag_field}

    def check(value: dict[str, Any], latest: datetime) -> Sequence[Fault]:
        found: list[Fault] = []
        for name, member in value.items():
            check_member = checks.get(name)
            wrong = CLEAN if check_member is None else check_member(member, latest)
            if wrong:
                found += inside(name, wrong)
        if kind.forbid_unknown_fields and not value.keys() <= known:
            found += _unknown(value.keys() - known, list(checks))
        for name in required:
            if name not in value:
                found += inside(name, fault(f"Add {name}: it is missing here.", "missing"))
        return found

    return check


def _unknown(names: set[str], known: list[str]) -> list[Fault]:
    found: list[Fault] = []
    for name in sorted(names)[:MOST]:
        found += inside(
            name, fault(f"There is no field {shown(name)} here{nearest(name, known)}", "unknown_field")
        )
    return found


def _list(kind: inspect.ListType, label: str) -> Check:
    check_item = _compiled(kind.item_type, label if label.startswith("An item") else f"An item of {label}")
    check_size = _size(kind, label, "item")

    def check(value: object, latest: datetime) -> Sequence[Fault]:
        if type(value) is not list:
            return wrong_type(label, "a list", value)
        found = check_size(value)
        if found:
            return found
        for index, item in enumerate(value):
            wrong = check_item(item, latest)
            if wrong:
                found += inside(index, wrong)
                if len(found) >= MOST:
                    break
        return found

    return check


def _dict(kind: inspect.DictType, label: str) -> Check:
    check_key = _compiled(kind.key_type, f"The name of a member of {label}")
    check_member = _compiled(kind.value_type, f"A member of {label}")
    check_size = _size(kind, label, "member")

    def check(value: object, latest: datetime) -> Sequence[Fault]:
        if type(value) is not dict:
            return wrong_type(label, "an object", value)
        found = check_size(value)
        if found:
            return found
        for name, member in value.items():
            wrong = [*check_key(name, latest), *check_member(member, latest)]
            found += inside(name, wrong)
            if len(found) >= MOST:
                break
        return found

    return check


def _size(kind: inspect.ListType | inspect.DictType, label: str, part: str) -> Callable[[Sized], list[Fault]]:
    least, most = kind.min_length or 0, math.inf if kind.max_length is None else kind.max_length

    def check(value: Sized) -> list[Fault]:
        if least <= len(value) <= most:
            return []
        code = "too_short" if len(value) < least else "too_long"
        bound = f"at least {least}" if len(value) < least else f"at most {most}"
        return fault(f"{label} must hold {bound} {part}s, not {len(value)}.", code)

    return check


def _anything(label: str) -> Check:
    """Any JSON, as deep as a person would write it, of text and numbers that can be kept."""
    check_float = scalars.number(inspect.FloatType(), label)
    check_text = scalars.text(inspect.StrType(), label, "")

    def check(value: object, latest: datetime, depth: int = 0) -> Sequence[Fault]:
        if depth > DEEPEST:
            return fault(f"{label} must not be nested deeper than {DEEPEST} levels.", "too_deep")
        if type(value) is str:
            return check_text(value, latest)
        if type(value) in {int, float}:
            return check_float(value, latest)
        found: list[Fault] = []
        for name, member in _parts(value):
            wrong = check_text(name, latest) if type(name) is str else CLEAN
            found += inside(name, wrong or check(member, latest, depth + 1))
            if len(found) >= MOST:
                break
        return found

    return check


def _parts(value: object) -> Sequence[tuple[Any, Any]]:
    if type(value) is dict:
        return list(value.items())
    return list(enumerate(value)) if type(value) is list else []


_MAKERS: dict[type[inspect.Type], Callable[[Any, str, str], Check]] = {
    inspect.Metadata: _described,
    inspect.UnionType: _union,
    inspect.StructType: lambda kind, label, _: _structs([kind], label),
    inspect.ListType: lambda kind, label, _: _list(kind, label),
    inspect.DictType: lambda kind, label, _: _dict(kind, label),
    inspect.AnyType: lambda _, label, __: _anything(label),
    inspect.StrType: scalars.text,
    inspect.UUIDType: lambda _, label, __: scalars.identifier(label),
    inspect.DateTimeType: lambda _, label, __: instants.instant(label),
    inspect.DateType: lambda _, label, __: instants.calendar_date(label),
    inspect.LiteralType: lambda kind, label, _: scalars.word(kind, label),
    inspect.BoolType: lambda _, label, __: scalars.flag(label),
    inspect.IntType: lambda kind, label, _: scalars.whole(kind, label),
    inspect.FloatType: lambda kind, label, _: scalars.number(kind, label),
}
