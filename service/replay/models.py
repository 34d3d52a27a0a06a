"""What a replay reads, all of it stated by people, and what it finds."""

from datetime import datetime
from typing import Any
from uuid import UUID

from msgspec import Struct

from service.deadlines.models import Derived, Place
from service.facts.models import Upkeep, VisitBody

Geometry = dict[str, Any]


class VisitStated(Struct, frozen=True, kw_only=True):
    """A visit that stands, with the body of its last version as the phone or the office sent it."""

    id: UUID
    body: VisitBody


class JobStated(Struct, frozen=True, kw_only=True):
    """A job, as far as rules ask for it."""

    id: UUID
    property_id: UUID
    target: str
    permit_id: UUID | None
    opened_at: datetime
    closed_at: datetime | None


class FeatureStated(Struct, frozen=True, kw_only=True):
    """A part of a property; surveys, mowings and signs may name it."""

    id: UUID
    geometry: Geometry | None


class Site(Struct, frozen=True, kw_only=True):
    """A property, and upkeep there that was stated without a visit."""

    place: Place
    upkeep: list[Upkeep]


class Book(Struct, frozen=True, kw_only=True):
    """Everything stated that one set or sign may rest on."""

    business_id: UUID
    visits: list[VisitStated]
    jobs: list[JobStated]
    sites: dict[UUID, Site]
    features: dict[UUID, Geometry | None]


class Entered(Derived, frozen=True, kw_only=True):
    """A deadline as it stands in the book."""

    is_being_worked_out_anew: bool


class Replayed(Struct, frozen=True, kw_only=True):
    """A deadline worked out again: None where the stated facts give none; `differing` names members."""

    entered: Entered
    derived: Derived | None
    differing: list[str]
