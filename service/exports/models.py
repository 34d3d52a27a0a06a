"""What an export answers beside the records themselves."""

from msgspec import Struct

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


class Selected(Struct, frozen=True, kw_only=True):
    """A version by its place in the log, and whether the claim that was asked for holds."""

    sequence: int
    holds: bool
