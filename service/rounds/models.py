"""A round: the properties where something is due by the end of a local day, each with what stands and waits there."""

from uuid import UUID

from msgspec import Struct

from service.cautions.models import CautionLine
from service.deadlines.models import Kind
from service.kernel.values import FootTraffic, Hazard, Instant, LengthMm, LocalDate, Mechanism, Point, Zone
from service.sets.models import State


class StopSet(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A set that may stand at the property; `due_at` and `why` are those of the look that it is owed.

    The target is its own, else its job's. Where its placing is awaited neither mechanism nor position is known.
    """

    id: UUID
    mechanism: Mechanism | None = None
    target: str | None = None
    position: Point | None = None
    state: State
    deadline_id: UUID | None = None
    due_at: Instant | None = None
    why: str | None = None


class StopDeadline(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Something else that is open at the property: a search, a run, turf, a cover; `why` is its sentence."""

    id: UUID
    kind: Kind
    set_id: UUID | None = None
    sign_id: UUID | None = None
    due_at: Instant
    why: str


class Stop(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A property of the round; `earliest_due_at` says when the first thing there is due.

    All of its sets that may stand and all that is open there are shown, also what is due on a later day.
    """

    property_id: UUID
    name: str
    zone: Zone
    address: str | None = None
    locality: str | None = None
    access_notes: str | None = None
    position: Point | None = None
    hazards: list[Hazard]
    earliest_due_at: Instant
    sets: list[StopSet]
    deadlines: list[StopDeadline]
    cautions: list[CautionLine]


class Round(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A page of the round of a local date, the earliest due first, and the cursor of the next page if any.

    `notice` says what comes before deadlines and cautions.
    """

    date: LocalDate
    items: list[Stop]
    notice: str
    next: str | None = None


# Rows ----------------------------------------------------------------------------------------------------
class PlaceDue(Struct, frozen=True, kw_only=True):
    """A property where something is due; `undermined_paving`: a sign of it that nobody has levelled."""

    property_id: UUID
    name: str
    zone: str
    address: str | None
    locality: str | None
    access_notes: str | None
    position: Point | None
    hazards: tuple[Hazard, ...]
    undermined_paving: bool
    earliest_due_at: Instant


class SetThere(StopSet, frozen=True, kw_only=True):
    """A set at one of these properties, with what its cautions rest on."""

    property_id: UUID
    depth_mm: LengthMm | None
    foot_traffic: FootTraffic | None
    cover_on_turf: bool | None


class DeadlineThere(StopDeadline, frozen=True, kw_only=True):
    """Something else that is open at one of these properties."""

    property_id: UUID
