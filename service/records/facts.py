"""What the content of a visit's record is worked out from, as the book holds it."""

from datetime import datetime
from typing import Any
from uuid import UUID

from msgspec import Struct

from service.claims.models import Applied, Presence
from service.facts.models import Fate
from service.identity.models import HousePolicy, Licence
from service.kernel.values import FootTraffic, Hazard, Point
from service.packs.models import Pack
from service.records.models import LicenceLine, Party, RepairLine, ToldLine
from service.sets.models import Check, Placing


class Head(Struct, frozen=True, kw_only=True):
    """The visit with its property, its job and its business; `target` and `permit` are the job's.

    `hazards` are those of the property as it was stated when the visit ended.
    """

    id: UUID
    property_id: UUID
    worker_id: UUID
    with_worker_ids: list[UUID]
    arrived_at: datetime
    ended_at: datetime
    outcome: str
    treatments_none: bool
    customer_note: str | None
    withdrawn_at: datetime | None
    zone: str
    region: str
    county: str | None = None
    locality: str | None = None
    position: Point | None = None
    packs: list[Pack] = []
    property_ref: str | None
    address: str | None
    job_id: UUID | None
    target: str | None
    permit: LicenceLine | None
    business_zone: str
    licences: list[Licence]
    house_policies: list[HousePolicy]
    hazards: tuple[Hazard, ...]
    paving_undermined: bool


class Holder(Struct, frozen=True, kw_only=True):
    """The customer whose property it was on the day."""

    id: UUID
    name: str
    ref: str | None
    addresses: list[str]


class SetPlacing(Placing, frozen=True, kw_only=True):
    """A set at the property as it was placed."""

    set_id: UUID
    position: dict[str, Any] | None
    depth_mm: int | None
    foot_traffic: FootTraffic | None


class SetCheck(Check, frozen=True, kw_only=True):
    """A look at a set, by a visit at the property."""

    set_id: UUID
    ground_searched: bool | None


class Caught(Struct, frozen=True, kw_only=True):
    """An animal of the visit."""

    id: UUID
    set_id: UUID | None
    species: str
    sex: str | None
    age_class: str | None
    fate: Fate


class SoilCleared(Struct, frozen=True, kw_only=True):
    """A clearing of a sign; `sign_count` and `is_mound` are the sign's, None where it is awaited."""

    id: UUID
    visit_id: UUID
    sign_id: UUID
    cleared_at: datetime
    count: int | None
    by_us: bool
    sign_count: int | None
    is_mound: bool | None


class VisitFacts(Struct, frozen=True, kw_only=True):
    """All that the content rests on, each list in any order; more than is needed does no harm.

    `visits`, `applied`, `placings`, `checks` and `clearings` are the property's, whoever brought them;
    `caught`, `repairs` and `told` the visit's own.
    """

    head: Head
    customer_id: UUID | None
    visits: list[Presence]
    applied: list[Applied]
    placings: list[SetPlacing]
    checks: list[SetCheck]
    caught: list[Caught]
    clearings: list[SoilCleared]
    repairs: list[RepairLine]
    told: list[ToldLine]


class Latest(Struct, frozen=True, kw_only=True):
    """The version that a new one would replace."""

    number: str
    version: int
    content_sha256: bytes


class Issued(Struct, frozen=True, kw_only=True):
    """A version just issued."""

    number: str
    version: int
    visit_id: UUID
    sha256: bytes


class RestedRow(Struct, frozen=True, kw_only=True):
    """A visit that a record rests on, as it now stands."""

    visit_id: UUID
    version: int
    received_at: datetime
    ended_at: datetime


class Ended(Struct, frozen=True, kw_only=True):
    """A visit and when it ended."""

    id: UUID
    ended_at: datetime


class Stored(Struct, frozen=True, kw_only=True):
    """A version as kept: the text that goes out as it is, the record's digest in hex, the persons beside it."""

    number: str
    version: int
    line: str
    sha256: str
    party: Party
