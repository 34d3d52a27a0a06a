"""Examples for the contract: plausible values by what a member is called, else by its type. Deterministic.

Ids follow from names, so that the examples speak of one another: the set that a check looks at is the set of the
same visit, and all of them can be sent in turn.
"""

from typing import Any, get_origin

from msgspec import inspect

from service.contract.members import BY_MEMBER
from service.contract.values import BY_NAME, COORDINATES, IDS, LEFT_OUT, PLAIN, id_named


def sample_of(of: Any) -> Any:
    """A plain JSON example of a type."""
    return _sample(inspect.type_info(of), "")


def _sample(kind: Any, name: str) -> Any:
    if isinstance(kind, inspect.Metadata):
        return _sample(kind.type, name)
    if isinstance(kind, inspect.StructType):
        return _struct(kind)
    if isinstance(kind, inspect.UnionType):
        return _sample(next(one for one in kind.types if not isinstance(one, inspect.NoneType)), name)
    if isinstance(kind, inspect.LiteralType):
        return BY_NAME[name] if BY_NAME.get(name) in kind.values else kind.values[0]
    if isinstance(kind, inspect.ListType | inspect.CollectionType):
        given = BY_NAME.get(name)
        return given if isinstance(given, list) else [_sample(kind.item_type, name.removesuffix("s"))]
    return _scalar(kind, name)


def _struct(kind: inspect.StructType) -> dict[str, Any]:
    shown = {} if kind.tag_field is None else {kind.tag_field: kind.tag}
    for field in kind.fields:
        value = _member(kind, field)
        if value is not LEFT_OUT:
            shown[field.encode_name] = value
    return shown


def _member(kind: inspect.StructType, field: inspect.Field) -> Any:
    name, bases = field.encode_name, (get_origin(kind.cls) or kind.cls).__mro__
    for of in bases:
        if f"{of.__name__}.{name}" in BY_MEMBER:
            return BY_MEMBER[f"{of.__name__}.{name}"]
    if name == "coordinates":
        return COORDINATES[str(kind.tag)]
    if name == "id":
        return id_named(next((IDS[of.__name__] for of in bases if of.__name__ in IDS), "id"))
    return _sample(field.type, name)


def _scalar(kind: Any, name: str) -> Any:
    given = BY_NAME.get(name)
    if isinstance(kind, inspect.StrType):
        return given if isinstance(given, str) else f"{name.replace('_', ' ')} in words"
    if isinstance(kind, inspect.UUIDType):
        return id_named(name)
    if isinstance(kind, inspect.IntType):
        return given if isinstance(given, int) else max(kind.ge or 1, 1)
    return PLAIN.get(type(kind), {}) if given is None else given
