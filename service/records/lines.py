"""The lines of a service record: what was done and found, one by one, ids and figures only."""

from typing import Literal
from uuid import UUID

from msgspec import Struct

from service.deadlines.models import Verdict
from service.facts.models import Action, Fate, Finding, Turf
from service.kernel.values import AreaShownM2, DegreesE7, Instant, TrapNights
from service.lawn.models import BoundKind, Outcome
from service.methods.models import ClassName
from service.sets.models import State

Done = Literal["placed", "checked"] | Action
# none_stated: who was there states it; none_known: nothing is known, and nobody states that there was none
TreatmentsSaid = Literal["none_stated", "none_known", "listed"]


class MethodUsed(Struct, frozen=True, kw_only=True):
    """A mechanism placed or looked at, or how an animal was taken without a set: its class, and the ground for that."""

    method: str
    method_class: ClassName
    breaks_claim: bool
    ground: str


class SetLine(Struct, frozen=True, kw_only=True):
    """A set that was touched, or that stood at the record's end: what was done, and how it was at the end.

    Positions are WGS 84 degrees times 10^7, so that no fraction stands in the bytes. `trap_nights` count from
    the placing on in the record of a visit; in that of a month, those of the looks in the month. What is not
    known of an awaited set is null.
    """

    set_id: UUID
    moved_from_set_id: UUID | None
    done: list[Done]
    state: State
    mechanism: str | None
    traps: int | None
    longitude_e7: DegreesE7 | None
    latitude_e7: DegreesE7 | None
    trap_nights: TrapNights | None


class CheckLine(Struct, frozen=True, kw_only=True):
    """A look at a set."""

    check_id: UUID
    set_id: UUID
    checked_at: Instant
    checked_by: str
    finding: Finding
    action: Action
    ground_searched: bool | None


class Animals(Struct, frozen=True, kw_only=True):
    """Animals that are alike in all that is stated of them."""

    species: str
    sex: str
    age_class: str
    fate: Fate
    count: int


class RepairLine(Struct, frozen=True, kw_only=True):
    """Ground or turf put right."""

    repair_id: UUID
    repaired_at: Instant
    how: str
    area_m2: AreaShownM2
    seed_treated: bool | None


class ToldLine(Struct, frozen=True, kw_only=True):
    """That somebody was told; who and how stands in the party block, under the same id."""

    told_id: UUID
    told_at: Instant
    what: str


class NextDue(Struct, frozen=True, kw_only=True):
    """A look at a set that is owed, as at the record's end."""

    set_id: UUID
    kind: str
    due_at: Instant


class TurfLine(Struct, frozen=True, kw_only=True):
    """Turf under the soil of a sign or the cover of a set that the record's facts touch, as at its end.

    `outcome` is saved, lost or found late (no loss of ours), null while neither can be said and under a cover.
    `earliest_at` is the earliest moment at which it can have lain there, null where nobody knows one.
    """

    sign_id: UUID | None
    set_id: UUID | None
    started_at: Instant
    earliest_at: Instant | None
    earliest_from: BoundKind | Literal["cover", "unknown"]
    due_at: Instant
    cleared_at: Instant | None
    verdict: Verdict
    turf: Turf | None
    outcome: Outcome | None
    area_m2: AreaShownM2 | None
    repaired_at: Instant | None


class OpeningLine(Struct, frozen=True, kw_only=True):
    """What our own digging opened in turf or closed there: an ellipse; `closed_at` is null while it is open."""

    set_id: UUID
    opened_at: Instant
    closed_at: Instant | None
    area_m2: AreaShownM2 | None


class TurfFigure(Struct, frozen=True, kw_only=True):
    """How many, and the sum of the areas that are stated; null where none is."""

    count: int
    area_m2: AreaShownM2 | None


class TurfFigures(Struct, frozen=True, kw_only=True):
    """The turf and openings that the record lists, added up.

    `covered` is turf under covers of our own, still or for a while; `opened_still` of what was opened that is
    not closed at the record's end.
    """

    saved: TurfFigure
    lost: TurfFigure
    found_late: TurfFigure
    still_lying: TurfFigure
    covered: TurfFigure
    opened: TurfFigure
    opened_still: TurfFigure


class VisitLine(Struct, frozen=True, kw_only=True):
    """A visit of the month, by its arrival; it has a record of its own, whose number `basis` holds."""

    visit_id: UUID
    arrived_at: Instant
    ended_at: Instant
    outcome: str
    worker_id: UUID
    with_worker_ids: list[UUID]
    job_id: UUID | None
    target: str | None
    treatments_none: bool
