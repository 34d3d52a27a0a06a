"""A visit as it stands in the book, its history, what comes back to the phone, and what is told of it."""

from typing import ClassVar, Literal
from uuid import UUID

from msgspec import Struct, field

from service.events.models import Event
from service.facts.models import Fate, VisitBody
from service.kernel.values import Caution, Instant

Outcome = Literal["recorded", "same", "amended", "withdrawn"]


class Visit(VisitBody, frozen=True, kw_only=True):
    """A visit as it now stands: what was stated, its version (the ETag's number) and arrival."""

    id: UUID
    version: int
    first_received_at: Instant
    received_at: Instant
    withdrawn_at: Instant | None = None


class VisitVersion(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One version in a visit's history; `body` is left out where it is the withdrawal."""

    version: int
    body: VisitBody | None = None
    amend_reason: str | None = None
    received_at: Instant
    key_id: UUID


class Receipt(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What became of a visit that was sent; `visit` is left out with `Prefer: return=minimal`."""

    id: UUID
    outcome: Outcome
    version: int
    etag: str
    warnings: list[Caution]
    visit: Visit | None = None


class VisitRecorded(Event, frozen=True, kw_only=True):
    """A visit arrived for the first time."""

    event_type: ClassVar[str] = "visit.recorded"
    visit_id: UUID
    property_id: UUID
    worker_id: UUID
    arrived_at: Instant
    outcome: str
    version: int
    fact_ids: list[UUID] = field(default_factory=list)


class VisitAmended(Event, frozen=True, kw_only=True):
    """A visit was amended: the ids of the facts added, changed and withdrawn."""

    event_type: ClassVar[str] = "visit.amended"
    visit_id: UUID
    property_id: UUID
    version: int
    added: list[UUID] = field(default_factory=list)
    changed: list[UUID] = field(default_factory=list)
    withdrawn: list[UUID] = field(default_factory=list)


class VisitWithdrawn(Event, frozen=True, kw_only=True):
    """A visit was withdrawn with all its facts."""

    event_type: ClassVar[str] = "visit.withdrawn"
    visit_id: UUID
    property_id: UUID
    version: int
    withdrawn: list[UUID] = field(default_factory=list)


class CatchRecorded(Event, frozen=True, kw_only=True):
    """An animal was caught, found or taken."""

    event_type: ClassVar[str] = "catch.recorded"
    catch_id: UUID
    visit_id: UUID
    property_id: UUID
    set_id: UUID | None = None
    caught_at: Instant
    species: str
    fate: Fate
