"""A treatment on its own: nobody of ours was there."""

from typing import ClassVar
from uuid import UUID

from msgspec import Struct, field

from service.events.models import Event
from service.facts.models import AppliedBy, Registration
from service.kernel.values import Amount, Caution, Instant, Line, Name


class NewTreatment(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """A substance or device used on animals or plants at a property; by whom is `other` where it is not said."""

    property_id: UUID
    method: Name
    product: Line | None = None
    registration: Registration | None = None
    amount: Amount | None = None
    unit: Line | None = None
    applied_at: Instant
    applied_by: AppliedBy = "other"
    told_by: Line | None = None
    feature_id: UUID | None = None


class KnownTreatment(NewTreatment, frozen=True, kw_only=True):
    """A treatment as kept; `visit_id` where a visit states it, and then it is amended there."""

    id: UUID
    version: int
    received_at: Instant
    visit_id: UUID | None = None
    # what the answer to whoever sent it adds
    warnings: list[Caution] = field(default_factory=list)


class TreatmentRecorded(Event, frozen=True, kw_only=True):
    """A treatment became known: it bears on what may be said of pesticides there."""

    event_type: ClassVar[str] = "treatment.recorded"
    treatment_id: UUID
    property_id: UUID
    visit_id: UUID | None = None
    method: str
    applied_at: Instant
    applied_by: AppliedBy
