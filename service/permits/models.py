"""A permit with its reporting year, and a reporting period as it falls in the calendar."""

from datetime import date
from typing import Annotated
from uuid import UUID

from msgspec import Meta, Struct, field

from service.kernel.values import Count, Instant, Line, LocalDate, Mechanism, Name, Region, Species
from service.packs.models import Pack, ReportPeriod


class ReportSent(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """A report that was sent: the last day of its period (or of the permit in it), and the day of sending."""

    period_ends_on: LocalDate
    sent_on: LocalDate
    reference: Line | None = None


class NewPermit(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """A permit: species, mechanisms, most animals, dates, its reporting year, and the reports that were sent.

    It holds from `from_on` until `until_on`, exclusive. `report_periods`, and `report_nil` (whether a report is due
    where nothing was taken too), are what the permit itself says; where it is silent, the rule packs of its region
    speak.
    """

    number: Name
    authority: Name
    region: Region
    species: Annotated[list[Species], Meta(max_length=50)] = field(default_factory=list)
    mechanisms: Annotated[list[Mechanism], Meta(max_length=10)] = field(default_factory=list)
    quota: Count | None = None
    from_on: LocalDate
    until_on: LocalDate | None = None
    report_periods: Annotated[list[ReportPeriod], Meta(max_length=12)] = field(default_factory=list)
    report_nil: bool | None = None
    reports_sent: Annotated[list[ReportSent], Meta(max_length=500)] = field(default_factory=list)


class Permit(NewPermit, frozen=True, kw_only=True):
    """A permit as kept."""

    id: UUID
    version: int
    received_at: Instant


class Reporting(Permit, frozen=True, kw_only=True):
    """A permit with what its reports follow from: the business's zone, and its own packs of the region."""

    zone: str
    packs: list[Pack]


class Period(Struct, frozen=True, kw_only=True):
    """A reporting period, from its first day to its last, and the day by whose end its report is due."""

    first_on: date
    last_on: date
    due_on: date


class PeriodShown(Period, frozen=True, kw_only=True):
    """A reporting period cut to the days on which the permit holds, and when its report was sent, if it was."""

    sent_on: date | None
