"""What an export answers beside the records themselves."""

from typing import Annotated

from msgspec import Meta, Struct

from service.records.models import SignedRecord


class Excluded(Struct, frozen=True, kw_only=True):
    """A record that a claim leaves out, and why, in the record's own words."""

    number: str
    version: int
    why: str


class RecordPage(Struct, frozen=True, kw_only=True):
    """Records in the order of the log; `next` is always there: the cursor to go on from, now or later.

    `excluded` lists what `claim` left out of this page.
    """

    items: list[SignedRecord]
    next: str
    excluded: list[Excluded]


class RecordDigest(Struct, frozen=True, kw_only=True):
    """What the CSV of the same query comes to: its records, those that `claim` left out, its bytes and SHA-256.

    All before any content coding. `next` is the cursor to go on from; as `as_of` it gives the same CSV again.
    """

    count: int
    excluded: int
    bytes: int
    sha256: Annotated[str, Meta(description="hex, of the CSV with its header")]
    next: str


class Portion(Struct, frozen=True, kw_only=True):
    """So many versions as lines, and the place in the log of the last one."""

    count: int
    last: int
    text: bytes


class Selected(Struct, frozen=True, kw_only=True):
    """Versions by their places in the log, in order: those whose claim holds, and those that it leaves out."""

    held: list[int]
    left_out: list[int]

    @property
    def places(self) -> list[int]:
        """All of them, in order."""
        return sorted(self.held + self.left_out) if self.left_out else self.held
