"""A month in figures, by property and in all."""

from datetime import date
from typing import Literal
from uuid import UUID

from msgspec import Struct

from service.kernel.values import AreaShownM2, Instant

FigureName = Literal[
    "visits",
    "no_access",
    "sets_placed",
    "sets_pulled",
    "looks",
    "missed_looks",
    "catches",
    "other_animals",
    "clearings",
    "lawn_patches",
    "turf_saved",
    "turf_lost",
    "turf_found_late",
    "covers",
    "turf_opened",
    "turf_opened_still",
    "repairs",
    "treatments",
    "overdue_now",
]


class Month(Struct, frozen=True, kw_only=True):
    """From the first day of a calendar month to that of the next, half-open."""

    first_on: date
    until_on: date


class Bounds(Struct, frozen=True, kw_only=True):
    """The instants at which a month begins and ends in a zone, half-open."""

    zone: str
    from_at: Instant
    until_at: Instant


class FigureRow(Struct, frozen=True, kw_only=True):
    """What the book holds of one figure at one property; `kind` is what Figure says."""

    figure: FigureName
    property_id: UUID
    kind: str | None
    ids: list[UUID]
    area_m2: AreaShownM2 | None


class PropertyRow(Struct, frozen=True, kw_only=True):
    """A property as it is named in the month."""

    id: UUID
    name: str
    ref: str | None
    zone: str


class RecordRow(Struct, frozen=True, kw_only=True):
    """The latest version of a record whose day of service lies in the month."""

    property_id: UUID
    number: str
    version: int
    visit_id: UUID | None
    withdrawn: bool
    pesticide_free_by_us: bool
    pesticide_known_at_property: bool


class Figure(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """How many, and of which; `ids` are the facts behind it, left out in totals.

    `kind` is the species, verdict, method or repair that is counted, or how the turf was when it was seen last;
    `area_m2` of those whose size is stated.
    """

    figure: FigureName
    kind: str | None = None
    count: int
    area_m2: AreaShownM2 | None = None
    ids: list[UUID] = []


class Records(Struct, frozen=True, kw_only=True):
    """The month's service records in their latest versions, and whether each claim holds in all that stand: `true`
    where it does, also in `pesticide_known_at_property`; else the records in which it does not are listed.

    Versions are named `number.version`; a record whose visit was withdrawn claims nothing and breaks nothing.
    """

    issued: list[str]
    withdrawn: list[str]
    pesticide_free_by_us: bool
    not_free_by_us: list[str]
    pesticide_known_at_property: bool
    not_known_at_property: list[str]


class PropertyMonth(Struct, frozen=True, kw_only=True):
    """The month at one property, by its own zone."""

    property_id: UUID
    name: str
    ref: str | None
    zone: str
    figures: list[Figure]
    records: Records


class MonthSummary(Struct, frozen=True, kw_only=True):
    """A month: each fact by its own instant in its property's zone, each record by the local day of arrival.

    Turf by the start of its patch: `lawn_patches` are all that soil lay on, by verdict; of those that are off,
    `turf_saved` was cleared in time and not seen thin or dead since, `turf_lost` is dead, or was cleared late
    and not seen sound since, `turf_found_late` had lain too long when it was seen and is no loss of ours.
    `covers` left on turf are our own doing and stand apart, as does what our digging opened: `turf_opened`, and
    of that `turf_opened_still` what is neither closed nor repaired so far.
    `figures` and `records` add up those of the properties, where the ids stand.
    """

    month: str
    first_on: date
    until_on: date
    as_of: Instant
    figures: list[Figure]
    records: Records
    properties: list[PropertyMonth]
