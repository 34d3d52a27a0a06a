"""The report of animals taken: rows of equal catches, and the permit it is asked for."""

from typing import Annotated
from uuid import UUID

from msgspec import Meta, Struct

from service.facts.models import Fate, Sex
from service.kernel.values import Count, Instant, LocalDate, Region
from service.permits.models import PeriodShown


class Bounds(Struct, frozen=True, kw_only=True):
    """The instants at which the asked dates begin and end in a zone, half-open."""

    zone: str
    from_at: Instant
    until_at: Instant


class TakenRow(Struct, frozen=True, kw_only=True):
    """Catches that are alike in what a report asks for.

    `mechanism` is the set's; without a set the method that was stated, and `unknown` for a set that is not in the
    book. A county is named within its region.
    """

    species: str
    sex: Sex
    region: str
    county: str | None
    mechanism: str
    fate: Fate
    catch_ids: list[UUID]


class Taken(TakenRow, frozen=True, kw_only=True):
    """The same with their number."""

    count: int


class PermitTaken(Struct, frozen=True, kw_only=True):
    """A permit, what counts against its quota, and its reporting periods in the asked dates.

    `taken` counts its own species over all the time that it holds, whatever became of them but those that escaped.
    `nil_due` says whether a report is due where nothing was taken too; null where no text says.
    """

    id: UUID
    number: str
    authority: str
    region: Region
    from_on: LocalDate
    until_on: LocalDate | None
    quota: Count | None
    taken: int
    left: Annotated[int | None, Meta(description="what is left of the quota; below 0 where it is passed")]
    nil_due: bool | None
    periods: list[PeriodShown]


class AnimalsTaken(Struct, frozen=True, kw_only=True):
    """What was taken on the local dates from `from_on` until `until_on` (exclusive), in all and row by row.

    Each catch belongs to the date of its own instant in its property's zone. With a permit: only catches of visits
    whose job is done under it. `nil` is true where nothing was taken.
    """

    from_on: LocalDate
    until_on: LocalDate
    region: str | None
    permit: PermitTaken | None
    as_of: Instant
    total: int
    nil: bool
    sentence: str
    rows: list[Taken]
    notice: str
