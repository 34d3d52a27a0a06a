"""A permit of an authority."""

from typing import Annotated
from uuid import UUID

from msgspec import Meta, Struct, field

from service.kernel.values import Count, Instant, LocalDate, Mechanism, Name, Region, Species


class NewPermit(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """A permit: species, mechanisms, most animals, dates, and when its report is due."""

    number: Name
    authority: Name
    region: Region
    species: Annotated[list[Species], Meta(max_length=50)] = field(default_factory=list)
    mechanisms: Annotated[list[Mechanism], Meta(max_length=10)] = field(default_factory=list)
    quota: Count | None = None
    from_on: LocalDate
    until_on: LocalDate | None = None
    report_due_on: LocalDate | None = None


class Permit(NewPermit, frozen=True, kw_only=True):
    """A permit as kept."""

    id: UUID
    version: int
    received_at: Instant
