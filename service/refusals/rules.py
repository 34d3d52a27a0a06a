"""Whose day a body is of that was refused, as far as it can be read. Pure."""

import re
from datetime import datetime
from uuid import UUID

import msgspec

_ID = re.compile(rb"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}", re.IGNORECASE)


def ids_in(raw: bytes) -> set[UUID]:
    """Every id in it, under whatever member it stands."""
    return {UUID(found.decode()) for found in _ID.findall(raw)}


def arrival_in(body: object) -> datetime | None:
    """The instant of arrival that it states; None where none can be read."""
    stated = body.get("arrived_at") if isinstance(body, dict) else None
    try:
        at = msgspec.convert(stated, datetime)
    except msgspec.ValidationError:
        return None
    return None if at.tzinfo is None else at
