"""What the content of a record is worked out from, as the book holds it."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from msgspec import Struct

from service.claims.models import Applied, Presence
from service.facts.models import Fate
from service.identity.models import HousePolicy, Licence
from service.kernel.values import FootTraffic, Hazard, Point
from service.methods.models import Method
from service.packs.models import Pack
from service.records.lines import RepairLine, ToldLine
from service.records.models import LicenceLine
from service.sets.models import Check, Mention, Placing
from service.signs.models import Bound, SignFacts


class Scope(Struct, frozen=True, kw_only=True):
    """Which facts are a record's own, and which are known at its end; both ends inclusive.

    A visit's own are all that it states, whenever; a month's, without a visit, all whose instant lies in it.
    """

    visit_id: UUID | None
    from_at: datetime
    until_at: datetime

    def is_own(self, visit_id: UUID | None, at: datetime) -> bool:
        """Whether the record is of this fact."""
        if self.visit_id is not None:
            return visit_id == self.visit_id
        return self.from_at <= at <= self.until_at

    def is_seen(self, visit_id: UUID | None, at: datetime) -> bool:
        """Whether the fact counts as known: not later than the end, or stated by the visit itself."""
        return at <= self.until_at or (self.visit_id is not None and visit_id == self.visit_id)


class Around(Struct, frozen=True, kw_only=True):
    """A property and its business, as far as a record asks; `hazards` are those stated at the record's end."""

    property_id: UUID
    zone: str
    region: str
    county: str | None = None
    locality: str | None = None
    position: Point | None = None
    packs: list[Pack] = []
    methods: list[Method] = []
    property_ref: str | None
    address: str | None
    business_zone: str
    licences: list[Licence]
    house_policies: list[HousePolicy]
    hazards: tuple[Hazard, ...]
    paving_undermined: bool


class Head(Around, frozen=True, kw_only=True):
    """The visit with its property, its job and its business; `target` and `permit` are the job's."""

    id: UUID
    worker_id: UUID
    with_worker_ids: list[UUID]
    arrived_at: datetime
    ended_at: datetime
    outcome: str
    treatments_none: bool
    customer_note: str | None
    withdrawn_at: datetime | None
    job_id: UUID | None
    target: str | None
    permit: LicenceLine | None


class Attended(Presence, frozen=True, kw_only=True):
    """A visit of a month, by its arrival, with what its job says."""

    outcome: str
    worker_id: UUID
    with_worker_ids: list[UUID]
    customer_note: str | None
    job_id: UUID | None
    target: str | None
    permit: LicenceLine | None


class Month(Struct, frozen=True, kw_only=True):
    """A local month: its days half-open, its instants from the first microsecond to the last."""

    first_on: date
    until_on: date
    from_at: datetime
    until_at: datetime


class Holder(Struct, frozen=True, kw_only=True):
    """The customer whose property it was on the day, and from which day on."""

    id: UUID
    name: str
    ref: str | None
    addresses: list[str]
    from_on: date


class SetPlacing(Placing, frozen=True, kw_only=True):
    """A set at the property as it was placed."""

    set_id: UUID
    position: dict[str, Any] | None
    depth_mm: int | None
    foot_traffic: FootTraffic | None
    opening_length_mm: int | None = None
    opening_width_mm: int | None = None
    opening_on_turf: bool | None = None


class SetCheck(Check, frozen=True, kw_only=True):
    """A look at a set, by a visit at the property."""

    set_id: UUID
    ground_searched: bool | None


class SetRepaired(Mention, frozen=True, kw_only=True):
    """A repair of the ground at a set."""

    set_id: UUID


class BoundStated(Bound, frozen=True, kw_only=True):
    """A survey with nothing fresh or a mowing, with the visit that states it, if one does."""

    visit_id: UUID | None


class Caught(Struct, frozen=True, kw_only=True):
    """An animal that the record is of; `job_target` is that of its visit's job."""

    id: UUID
    set_id: UUID | None
    job_target: str | None = None
    method: str | None = None
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


class PropertyFacts(Struct, frozen=True, kw_only=True):
    """All that an account rests on, each list in any order; more than is needed does no harm.

    `caught`, `repairs` and `told` are the record's own; all else is the property's, whoever brought it. `signs`
    are those on turf that its own facts touch, `bounds` what may speak for them, `set_repairs` repairs at sets.
    `tenure_from` is the local day from which the property is the customer's.
    """

    customer_id: UUID | None
    tenure_from: date | None = None
    applied: list[Applied]
    placings: list[SetPlacing]
    checks: list[SetCheck]
    caught: list[Caught]
    clearings: list[SoilCleared]
    repairs: list[RepairLine]
    told: list[ToldLine]
    signs: list[SignFacts] = []
    bounds: list[BoundStated] = []
    set_repairs: list[SetRepaired] = []


class VisitFacts(PropertyFacts, frozen=True, kw_only=True):
    """What the content of a visit's record is worked out from; `visits` are those of its period, or more."""

    head: Head
    visits: list[Presence]


class MonthFacts(PropertyFacts, frozen=True, kw_only=True):
    """What the content of a month's record is worked out from; `visits` are those that arrived in it."""

    around: Around
    month: Month
    visits: list[Attended]


class Latest(Struct, frozen=True, kw_only=True):
    """The version that a new one would replace, and whether a version of that number was billed."""

    number: str
    version: int
    content_sha256: bytes
    is_billed: bool


class Issued(Struct, frozen=True, kw_only=True):
    """A version just issued."""

    number: str
    version: int
    sha256: bytes


class RestedRow(Struct, frozen=True, kw_only=True):
    """A visit that a record rests on, as it now stands."""

    visit_id: UUID
    version: int
    received_at: datetime
    ended_at: datetime


class Recorded(Struct, frozen=True, kw_only=True):
    """A visit or a month that has a record, and the instant by which it is over."""

    visit_id: UUID | None
    month_on: date | None
    over_at: datetime


class Stored(Struct, frozen=True, kw_only=True):
    """A version as kept: the text that goes out as it is, and the record's digest in hex."""

    number: str
    version: int
    line: str
    sha256: str
