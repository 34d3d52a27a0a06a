"""A catch as read: what its visit states, where and how it was caught, and whether it was the target."""

from uuid import UUID

from msgspec import Struct

from service.facts.models import AgeClass, Fate, Sex
from service.kernel.values import Instant, MassG, Mechanism


class CatchShown(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """`target` is null where neither set nor job says what was meant to be caught; mass in grams."""

    id: UUID
    visit_id: UUID
    visit_etag: str
    property_id: UUID
    job_id: UUID | None = None
    check_id: UUID | None = None
    set_id: UUID | None = None
    trap_no: int | None = None
    caught_at: Instant
    method: str | None = None
    mechanism: Mechanism | None = None
    species: str
    sex: Sex | None = None
    age_class: AgeClass | None = None
    mass_g: MassG | None = None
    fate: Fate
    target: bool | None = None
    photo_ids: list[UUID] = []
