"""A sign with all facts about it, and its derived state."""

from typing import Any, Literal
from uuid import UUID

from msgspec import Struct, field

from service.conflicts.models import Conflict
from service.deadlines.models import Derived
from service.facts.models import Freshness, Plug, Shape, SignKind, Soil, Turf
from service.kernel.values import Count, Ids, Instant, LengthMm, Line, LineString, Point
from service.lawn.models import LawnPatch, Moment

# A geometry of RFC 7946 as stored: type and coordinates.
Geometry = dict[str, Any]
State = Literal["awaited", "lying", "cleared"]


class Fact(Struct, frozen=True, kw_only=True):
    """Something stated of a sign: by which visit, where, and at what instant it was so."""

    id: UUID
    visit_id: UUID
    property_id: UUID
    at: Instant


class Seen(Fact, frozen=True, kw_only=True):
    """The sign itself; `geometry` is its own, else its feature's."""

    absent_since: Instant | None = None
    count: int | None = None
    geometry: Geometry | None = None
    feature_id: UUID | None = None
    on_turf: bool
    length_mm: int | None = None
    width_mm: int | None = None


class Tamped(Fact, frozen=True, kw_only=True):
    """The run was pressed flat."""


class Looked(Fact, frozen=True, kw_only=True):
    """Somebody looked at the sign again."""

    raised_again: bool | None = None
    fresh_soil: bool | None = None
    turf: Turf | None = None


class Cleared(Fact, frozen=True, kw_only=True):
    """Soil was taken off; without a count, all of it."""

    count: int | None = None


class Spell(Struct, kw_only=True):
    """Soil lying from one start, the sign itself or a look that found it fresh, until `count` are cleared."""

    start: Seen | Looked
    count: int
    looks: list[Looked] = []
    clearings: list[Cleared] = []


class Mention(Struct, frozen=True, kw_only=True):
    """Another fact that names this sign: a set placed there, or a repair of the ground."""

    noun: Literal["set", "repair"]
    id: UUID
    visit_id: UUID
    property_id: UUID
    at: Instant


class Bound(Moment, frozen=True, kw_only=True):
    """A moment at which the soil was not there yet, and where that holds.

    Of a survey or mowing: the feature it was of, and its area or that feature's geometry; with neither,
    the whole property.
    """

    property_id: UUID
    feature_id: UUID | None = None
    geometry: Geometry | None = None


class SignFacts(Struct, frozen=True, kw_only=True):
    """All that is stated of one sign; `sign` is None while nobody stated the sign itself."""

    sign_id: UUID
    sign: Seen | None = None
    tampings: list[Tamped] = []
    looks: list[Looked] = []
    clearings: list[Cleared] = []
    mentions: list[Mention] = []


class SignState(Struct, frozen=True, kw_only=True):
    """A sign as its facts leave it.

    `in_use`: raised again after tamping; `cleared_count` since soil last appeared; `turf` as last seen."""

    sign_id: UUID
    property_id: UUID
    state: State
    in_use: bool | None = None
    cleared_count: int = 0
    cleared_at: Instant | None = None
    turf: Turf | None = None


class SignBook(Struct, frozen=True, kw_only=True):
    """All that follows from the facts of one sign; no state where neither it nor a fact of it is left."""

    state: SignState | None = None
    patches: list[LawnPatch] = []
    deadlines: list[Derived] = []
    conflicts: list[Conflict] = []


class SignShown(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A sign as stated, with its state; while it is awaited nothing of it is known but what names it.

    Amend it with `visit_etag`, the ETag of the visit that states it.
    """

    id: UUID
    property_id: UUID
    job_id: UUID | None = None
    visit_id: UUID | None = None
    visit_etag: str | None = None
    state: State
    in_use: bool | None = None
    cleared_count: Count
    cleared_at: Instant | None = None
    turf: Turf | None = None
    kind: SignKind | None = None
    seen_at: Instant | None = None
    absent_since: Instant | None = None
    told_by: Line | None = None
    count: Count | None = None
    freshness: Freshness | None = None
    geometry: Point | LineString | None = None
    feature_id: UUID | None = None
    on_turf: bool | None = None
    length_mm: LengthMm | None = None
    width_mm: LengthMm | None = None
    height_mm: LengthMm | None = None
    shape: Shape | None = None
    plug: Plug | None = None
    soil: Soil | None = None
    hole_width_mm: LengthMm | None = None
    seen_by_day: bool | None = None
    photo_ids: Ids = field(default_factory=list)
