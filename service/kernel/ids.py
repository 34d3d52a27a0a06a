"""Ids (RFC 9562): UUIDv7 from a given now and random bytes, UUIDv8 from the cause of an event."""

from datetime import datetime
from hashlib import sha256
from uuid import UUID

from service.kernel.now import random_bytes, utc_now


def uuid7(now: datetime, random: bytes) -> UUID:
    """48 bits of Unix milliseconds, then 74 of the 80 given random bits."""
    milliseconds = int(now.timestamp() * 1000)
    return _versioned(milliseconds << 80 | int.from_bytes(random[:10], "big"), 7)


def id_of_cause(business_id: UUID, cause: str) -> UUID:
    """The id of the event with this cause: 122 bits of a SHA-256, which PostgreSQL can work out as well."""
    digest = sha256(f"{business_id}/{cause}".encode()).digest()
    return _versioned(int.from_bytes(digest[:16], "big"), 8)


def _versioned(value: int, version: int) -> UUID:
    """128 bits as a UUID of that version, variant 10 (RFC 9562 section 4)."""
    value = value & ~(0xF << 76) | version << 76
    value = value & ~(0x3 << 62) | 0x2 << 62
    return UUID(int=value)


def new_id() -> UUID:
    """A fresh id, for the edge of the service."""
    return uuid7(utc_now(), random_bytes(10))
