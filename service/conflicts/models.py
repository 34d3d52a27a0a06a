"""A conflict: a stated fact that does not fit beside other facts; it is kept and listed."""

from uuid import UUID

from msgspec import Struct


class Conflict(Struct, frozen=True, kw_only=True):
    """What does not fit, as it follows from the stated facts alone.

    `kind` is a stable word, `sentence` says what to mend; the fact belongs to the visit.
    """

    kind: str
    subject_id: UUID
    property_id: UUID
    visit_id: UUID
    fact_id: UUID
    sentence: str


class ConflictShown(Conflict, frozen=True, kw_only=True):
    """A conflict as it is listed; `noun` is the kind of its subject."""

    id: UUID
    noun: str
