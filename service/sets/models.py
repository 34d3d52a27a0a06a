"""A set: traps at one spot, as stated by its placing and checks; what follows, and what is answered."""

from decimal import Decimal
from typing import Annotated, ClassVar, Literal
from uuid import UUID

from msgspec import Meta, Struct

from service.cautions.models import CautionLine
from service.conflicts.models import Conflict
from service.deadlines.models import Derived
from service.events.models import Event
from service.facts.models import Action, Cover, CoverLeft, Finding, Trap, TrapFinding
from service.kernel.values import Degrees, FootTraffic, Hazard, Instant, LengthMm, Mechanism, Point
from service.lawn.models import LawnPatch

# missing: it stands by the book, and the last look did not find it
State = Literal["awaited", "standing", "made_safe", "missing", "pulled", "moved", "lost"]
Ending = Literal["pulled", "moved", "lost"]
IN_THE_GROUND: tuple[State, ...] = ("standing", "made_safe", "missing")


# Facts ---------------------------------------------------------------------------------------------------
class Placing(Struct, frozen=True, kw_only=True):
    """The set as it was placed; its fact id is the set's own id.

    `target` is the set's own, else that of its job; `worker_ids` are those who placed it.
    """

    visit_id: UUID
    property_id: UUID
    placed_at: Instant
    mechanism: Mechanism
    moved_from_set_id: UUID | None = None
    trap_nos: list[int]
    target: str | None = None
    under_permit: bool = False
    worker_ids: list[UUID] = []
    cover: Cover | None = None
    cover_length_mm: int | None = None
    cover_width_mm: int | None = None
    cover_on_turf: bool = False


class Check(Struct, frozen=True, kw_only=True):
    """A look at the set; `caught_in` has the trap number of each catch, or None where it is not said."""

    id: UUID
    visit_id: UUID
    property_id: UUID
    checked_at: Instant
    checked_by: Literal["worker", "customer", "agent", "monitor"] = "worker"
    finding: Finding
    action: Action
    opening_closed: bool | None = None
    cover: CoverLeft | None = None
    traps: list[TrapFinding] = []
    caught_in: list[int | None] = []
    worker_ids: list[UUID] = []


class Mention(Struct, frozen=True, kw_only=True):
    """Another fact that names this set: a new set that was moved from here, or a repair."""

    noun: Literal["set", "repair"]
    fact_id: UUID
    visit_id: UUID
    property_id: UUID
    at: Instant


class SetFacts(Struct, frozen=True, kw_only=True):
    """All that is stated of one set id, in any order."""

    set_id: UUID
    placing: Placing | None = None
    checks: list[Check] = []
    mentions: list[Mention] = []


# What follows --------------------------------------------------------------------------------------------
class SetState(Struct, frozen=True, kw_only=True):
    """The state of a set. `trap_half_nights` is twice its trap-nights, so that halves stay whole numbers."""

    set_id: UUID
    property_id: UUID
    state: State
    fishing: bool
    placed_at: Instant | None
    ended_at: Instant | None
    last_looked_at: Instant | None
    last_finding: Finding | None
    moved_to_set_id: UUID | None
    looks: int
    catches: int
    trap_half_nights: int
    opening_closed_at: Instant | None


class SetBook(Struct, frozen=True, kw_only=True):
    """All that follows from the facts of one set; no state where no placing and no check is left."""

    state: SetState | None
    ended_by: Check | None
    deadlines: list[Derived]
    conflicts: list[Conflict]
    patches: list[LawnPatch] = []


class Known(Struct, frozen=True, kw_only=True):
    """The state as it was stored before."""

    state: State
    placed_at: Instant | None
    ended_at: Instant | None


# Read models ---------------------------------------------------------------------------------------------
class SetRow(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A set as stated and as it now is; while its placing is awaited, nothing of it is stated."""

    id: UUID
    property_id: UUID
    job_id: UUID | None = None
    visit_id: UUID | None = None
    visit_etag: str | None = None
    sign_id: UUID | None = None
    moved_from_set_id: UUID | None = None
    placed_at: Instant | None = None
    target: str | None = None
    position: Point | None = None
    mechanism: Mechanism | None = None
    traps: list[Trap] | None = None
    depth_mm: LengthMm | None = None
    light_kept_out: bool | None = None
    trigger_travel_mm: LengthMm | None = None
    flagged: bool | None = None
    foot_traffic: FootTraffic | None = None
    opening_length_mm: LengthMm | None = None
    opening_width_mm: LengthMm | None = None
    opening_on_turf: bool | None = None
    opening_closed_at: Instant | None = None
    cover: Cover | None = None
    cover_length_mm: LengthMm | None = None
    cover_width_mm: LengthMm | None = None
    cover_on_turf: bool | None = None
    photo_ids: list[UUID] | None = None
    state: State
    fishing: bool
    ended_at: Instant | None = None
    last_looked_at: Instant | None = None
    last_finding: Finding | None = None
    moved_to_set_id: UUID | None = None
    looks: int
    catches: int
    trap_nights: Annotated[Decimal, Meta(description="trap-nights")]


class SetFound(SetRow, frozen=True, kw_only=True):
    """A set with what its cautions rest on beside it: its property's hazards, its job's target, its sign."""

    hazards: tuple[Hazard, ...]
    job_target: str | None = None
    undermined_paving: bool


class SetShown(SetRow, frozen=True, kw_only=True):
    """A set as stated and as it now is.

    Amending what is stated takes `visit_etag`; while its placing is awaited, nothing is stated and there is
    none. `trap_nights` counts a trap that was found sprung for half its interval. `cautions` hold while the set
    may stand; `notice` says what comes before them.
    """

    cautions: list[CautionLine]
    notice: str


class TrapShown(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A trap with the number the business wrote on it, and the set it is in or was in last."""

    mark: str
    no: int
    direction_deg: Degrees | None = None
    mechanism: Mechanism
    set_id: UUID
    property_id: UUID
    position: Point | None = None
    placed_at: Instant
    state: State
    fishing: bool
    ended_at: Instant | None = None
    last_looked_at: Instant | None = None


# Events --------------------------------------------------------------------------------------------------
class SetPlaced(Event, frozen=True, kw_only=True):
    """A set stands in the book: its placing became known."""

    event_type: ClassVar[str] = "set.placed"
    set_id: UUID
    property_id: UUID
    visit_id: UUID
    placed_at: Instant
    mechanism: Mechanism
    traps: int
    moved_from_set_id: UUID | None = None


class SetEnded(Event, frozen=True, kw_only=True):
    """A set was pulled, moved or lost; said again where what ended it or when is now another."""

    event_type: ClassVar[str] = "set.ended"
    set_id: UUID
    property_id: UUID
    visit_id: UUID
    check_id: UUID
    ended_as: Ending
    ended_at: Instant


class SetRestored(Event, frozen=True, kw_only=True):
    """What was said to have ended does stand: a pull was taken back, or a lost set was found again."""

    event_type: ClassVar[str] = "set.restored"
    set_id: UUID
    property_id: UUID
    state: State
