"""A sealed month as it is signed and handed out, and the event that tells of it."""

from typing import Annotated, ClassVar
from uuid import UUID

from msgspec import Meta, Struct

from service.events.models import Event
from service.kernel.values import Instant

Hex = Annotated[str, Meta(description="32 bytes in hex")]


class SealedRecord(Struct, frozen=True, kw_only=True):
    """The latest version of a record of the month, and the leaf that it is: SHA-256 of a zero byte and its bytes."""

    number: str
    version: int
    sha256: Hex
    leaf: Hex


class MonthSeal(Struct, frozen=True, kw_only=True, tag="month_seal", tag_field="noun"):
    """The records of a month as at the moment of sealing: its RFC 8785 form are the bytes that are kept and signed.

    `records` stand in ascending number, withdrawn ones among them; `root` is the RFC 6962 Merkle tree hash over
    their leaves, for a month without a record that of the empty tree. `replaces` names the version before.
    """

    business_id: UUID
    month: str
    version: int
    replaces: str | None
    sealed_at: Instant
    count: int
    root: Hex
    records: list[SealedRecord]


class SignedSeal(Struct, frozen=True, kw_only=True, tag="signed_month_seal", tag_field="noun"):
    """A seal as it goes out, itself in RFC 8785 form; `sha256` and `signature` as with a signed record."""

    seal: MonthSeal
    sha256: Hex
    signature: str


class MonthSealed(Event, frozen=True, kw_only=True):
    """A month was sealed, by the office or anew because a late fact changed its records."""

    event_type: ClassVar[str] = "month.sealed"
    month_id: UUID
    seal: str
    month: str
    replaces: str | None = None
    count: int
    root: Hex
    sha256: Hex


class LatestSeal(Struct, frozen=True, kw_only=True):
    """The version that a new one would replace."""

    version: int
    root: bytes


class StoredSeal(Struct, frozen=True, kw_only=True):
    """A version as kept: the text that goes out as it is, and the seal's digest in hex."""

    version: int
    line: str
    sha256: str
