"""What a billing system says of a version that it billed."""

from datetime import date
from typing import ClassVar
from uuid import UUID

from msgspec import Struct

from service.events.models import Event
from service.kernel.values import Instant, LocalDate, Name


class NewBilled(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """The invoice that the version went into, by its number in the billing system, and the invoice's date."""

    invoice_ref: Name
    billed_on: LocalDate | None = None


class Billed(Struct, frozen=True, kw_only=True, tag="billed", tag_field="noun"):
    """A version that was billed; where `latest` is another one, compare the two and credit what differs."""

    record: str
    latest: str
    invoice_ref: str
    billed_on: date | None
    received_at: Instant


class Stand(Struct, frozen=True, kw_only=True):
    """A version as billing asks for it: what it is of, the latest version of its number, and whether billed."""

    visit_id: UUID | None
    property_id: UUID
    withdrawn: bool
    latest_version: int
    invoice_ref: str | None
    billed_on: date | None
    received_at: Instant | None


class RecordBilled(Event, frozen=True, kw_only=True):
    """A version of a service record went into an invoice."""

    event_type: ClassVar[str] = "record.billed"
    record: str
    visit_id: UUID | None = None
    property_id: UUID
