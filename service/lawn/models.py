"""A patch of turf that soil or a cover lay on: since when, until when, what became of it, what to do about it."""

from decimal import Decimal
from typing import Annotated, Literal
from uuid import UUID

from msgspec import Meta, Struct

from service.deadlines.models import Verdict
from service.facts.models import SignKind, Turf
from service.kernel.values import Count, Instant

BoundKind = Literal["absent_since", "look", "clearing", "survey", "mowing"]
# saved: off in time, and not seen thin or dead since; lost: dead, or late and not seen sound since
Outcome = Literal["saved", "lost", "found_late"]
Step = Literal["keep_off", "water", "look_again", "reseed", "lay_turf", "press_run"]
SquareMetres = Annotated[Decimal, Meta(description="square metres")]


class Moment(Struct, frozen=True, kw_only=True):
    """A moment at which no soil lay there yet, and the fact that says so."""

    id: UUID
    kind: BoundKind
    at: Instant


class LawnPatch(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Turf under the soil of a sign or the cover of a set, from one start of the lawn clock.

    `count` is that of the sign as stated, `cleared_count` how many of those were cleared. `outcome` says what
    became of turf under soil once it is off: none where it was off late and the turf is sound all the same,
    or in time and the turf is thin; none of a cover, which is our own doing. `repaired_at` is the first repair
    after the turf was last seen thin or dead, or after the cover came off.
    """

    sign_id: UUID | None = None
    set_id: UUID | None = None
    starting_fact_id: UUID
    property_id: UUID
    started_at: Instant
    earliest_at: Instant | None = None
    earliest_from: BoundKind | Literal["cover", "unknown"]
    due_at: Instant
    cleared_at: Instant | None = None
    count: Count | None = None
    cleared_count: Count | None = None
    verdict: Verdict
    turf: Turf | None = None
    outcome: Outcome | None = None
    area_m2: SquareMetres | None = None
    repaired_at: Instant | None = None


class Advice(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What to do about thin or dead turf: as steps, with the area where it is known, and in one sentence."""

    steps: list[Step]
    area_m2: SquareMetres | None = None
    sentence: str
    source: str


class PatchShown(LawnPatch, frozen=True, kw_only=True):
    """A lawn patch with the visit that states what started its clock; its deadline has the same id.

    `advice` is there while the turf is thin or dead and no repair after that is stated.
    """

    id: UUID
    sign_kind: SignKind | None = None
    job_id: UUID | None = None
    visit_id: UUID
    visit_etag: str
    advice: Advice | None = None
