"""Whose day a body is of that was refused, as far as it can be read. Pure."""

import re
from datetime import UTC, datetime
from uuid import UUID

import msgspec

from service.kernel.instants import EARLIEST_YEAR, LATEST_YEAR

_ID = re.compile(rb"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}", re.IGNORECASE)


def ids_in(raw: bytes) -> set[UUID]:
    """Every id in it, under whatever member it stands."""
    return {UUID(found.decode()) for found in _ID.findall(raw)}


def arrival_in(body: object) -> datetime | None:
    """The instant of arrival that it states, in UTC; None where none can be read, or none that a visit may have.

    What leaves the years of the calendar on its way to UTC is read neither here nor by the database.
    """
    stated = body.get("arrived_at") if isinstance(body, dict) else None
    try:
        at = msgspec.convert(stated, datetime)
        if at.tzinfo is None:
            return None
        at = at.astimezone(UTC)
    except (msgspec.ValidationError, UnicodeError, OverflowError):
        return None
    return at if EARLIEST_YEAR <= f"{at.year:04}" <= LATEST_YEAR else None
