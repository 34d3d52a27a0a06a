"""The form in which bodies are compared and records are hashed: canonical JSON (RFC 8785)."""

import hashlib
from datetime import UTC, datetime
from functools import cache
from typing import Any

import msgspec
import rfc8785

# What says how a body came, not what it states.
_ENVELOPE = ("id", "amends", "amend_reason")


def canonical(value: Any) -> bytes:
    """RFC 8785 bytes of plain JSON; raises ValueError on numbers that are not finite or beyond 2^53."""
    return rfc8785.dumps(value)


def sha256(content: bytes) -> bytes:
    """The 32 bytes of the digest."""
    return hashlib.sha256(content).digest()


def compared(body: msgspec.Struct) -> bytes:
    """Two bodies state the same where these bytes are equal: RFC 8785 as well.

    Without id, amends and amend_reason, without optional members that are null, empty or their default, and
    with instants in UTC, to the microsecond; the bytes read back as a body that states the same.
    """
    stated = _members(body)
    for name in _ENVELOPE:
        stated.pop(name, None)
    # Member names are ASCII and numbers are written here, so that the faster writer gives the same bytes.
    return msgspec.json.encode(stated, order="sorted")


def _plain(value: Any) -> Any:
    match value:
        case msgspec.Struct():
            return _members(value)
        case list():
            return [_plain(item) for item in value]
        case datetime():
            return value.astimezone(UTC)
        case float():
            return msgspec.Raw(rfc8785.dumps(value))
        case _:
            return value


def _members(body: msgspec.Struct) -> dict[str, Any]:
    kind = type(body)
    tag_field, tag = kind.__struct_config__.tag_field, kind.__struct_config__.tag
    plain: dict[str, Any] = {} if tag_field is None else {tag_field: tag}
    for name, encode_name, required, default in _fields(kind):
        value = getattr(body, name)
        if required or not _says_nothing(value, default):
            plain[encode_name] = _plain(value)
    return plain


def _says_nothing(value: Any, default: Any) -> bool:
    if type(value) in {str, list} and not value:
        return True
    return value is None or (default is not None and bool(value == default))


@cache
def _fields(kind: type[msgspec.Struct]) -> list[tuple[str, str, bool, Any]]:
    """Of each field: attribute, name in JSON, whether it is required, its default."""
    return [
        (field.name, field.encode_name, field.required, _default(field))
        for field in msgspec.structs.fields(kind)
    ]


def _default(field: msgspec.structs.FieldInfo) -> Any:
    return field.default if field.default_factory is msgspec.NODEFAULT else field.default_factory()
