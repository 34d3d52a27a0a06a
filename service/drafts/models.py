"""A record that is not issued yet: of which visit, why it is held, and what it would say."""

from datetime import date, datetime
from typing import Literal
from uuid import UUID

from msgspec import Struct

from service.kernel.values import FutureInstant
from service.records.models import Basis, Content, Issuer, Refs

# held: until the hold is over; due: the clock is at it; waits_for_office: nothing goes out by itself
Reason = Literal["held", "due", "waits_for_office"]


class Waiting(Struct, frozen=True, kw_only=True):
    """A visit without a record, as the book holds it; `run_at` is when the clock takes it up, if it does."""

    visit_id: UUID
    property_id: UUID
    arrived_at: datetime
    zone: str
    by_office: bool
    run_at: datetime | None
    attempts: int


class DraftShown(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A record that is not issued yet; `due_at` is when it goes out by itself, where it does."""

    visit_id: UUID
    property_id: UUID
    service_on: date
    reason: Reason
    due_at: FutureInstant | None = None
    sentence: str


class RecordDraft(DraftShown, frozen=True, kw_only=True, tag="service_record_draft", tag_field="noun"):
    """The record as it would be issued now: no number, no signature, and nothing that is kept."""

    issuer: Issuer
    refs: Refs
    content: Content
    basis: Basis
