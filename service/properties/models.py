"""A property, its features and its tenures."""

from typing import Annotated
from uuid import UUID

from msgspec import Meta, Struct, field

from service.kernel.values import (
    Hazard,
    Instant,
    Line,
    LineString,
    LocalDate,
    Name,
    Notes,
    Point,
    Polygon,
    Region,
    Zone,
)


class NewProperty(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """A place where work is done; `locality` is its city or town.

    `access_notes` stay in the house: never in records or events.
    """

    name: Name
    ref: Line | None = None
    kind: Name
    zone: Zone
    region: Region
    county: Line | None = None
    locality: Line | None = None
    address: Line | None = None
    access_notes: Notes | None = None
    boundary: Polygon | None = None
    position: Point | None = None
    hazards: Annotated[list[Hazard], Meta(max_length=20)] = field(default_factory=list)


class Property(NewProperty, frozen=True, kw_only=True):
    """A property as kept."""

    id: UUID
    version: int
    received_at: Instant


class NewFeature(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """A named part of a property: a lawn, a bed, a path, a green."""

    name: Name
    kind: Name
    geometry: Point | LineString | Polygon | None = None


class Feature(NewFeature, frozen=True, kw_only=True):
    """A feature as kept."""

    id: UUID
    version: int
    received_at: Instant
    property_id: UUID


class NewTenure(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """Whose property it was: from the first day, inclusive, until the last, exclusive."""

    customer_id: UUID
    from_on: LocalDate
    until_on: LocalDate | None = None


class Tenure(NewTenure, frozen=True, kw_only=True):
    """A tenure as kept."""

    id: UUID
    version: int
    received_at: Instant
    property_id: UUID
