"""What every stated noun carries beside what was stated."""

from datetime import datetime
from typing import Any, Protocol
from uuid import UUID

from msgspec import Struct

from service.kernel.values import Instant


class Stated(Protocol):
    """Identity, version (its ETag is that number in quotes) and arrival of a stated thing.

    A protocol, as a Struct takes fields from one base only.
    """

    @property
    def id(self) -> UUID:
        """Its id."""

    @property
    def version(self) -> int:
        """From 1."""

    @property
    def received_at(self) -> datetime:
        """When this version came."""


class Version(Struct, frozen=True, kw_only=True):
    """One version in a stated thing's history; no body where it was withdrawn."""

    version: int
    body: dict[str, Any] | None
    received_at: Instant
    key_id: UUID | None
