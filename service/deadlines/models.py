"""A deadline: something to be done at a set or sign by an instant, with why."""

from datetime import timedelta
from typing import ClassVar, Literal
from uuid import UUID

from msgspec import Struct

from service.events.models import Event
from service.identity.models import HousePolicy
from service.kernel.values import Instant

Kind = Literal["check", "set_search", "run_look", "lawn", "lawn_followup", "report"]
RuleKind = Literal["calendar_day", "elapsed", "latest_hour", "lawn", "local_day_end", "qualitative"]
OF_SETS: tuple[Kind, ...] = ("check", "set_search")
OF_SIGNS: tuple[Kind, ...] = ("run_look", "lawn", "lawn_followup")
State = Literal["open", "met", "late", "withdrawn"]
Verdict = Literal["in_time", "late", "found_late", "still_lying"]


class RuleApplied(Struct, frozen=True, kw_only=True):
    """One rule that was looked at: its own due instant, or None where it is shown and never computed."""

    rule: str
    kind: RuleKind
    state: Literal["law", "caution", "practice"]
    inputs: dict[str, str | int | None]
    due_at: Instant | None


class Attempt(Struct, frozen=True, kw_only=True):
    """A visit that met a locked gate: it meets nothing and shows here."""

    visit_id: UUID
    arrived_at: Instant
    reason: str | None


class Why(Struct, frozen=True, kw_only=True):
    """How the due instant came about, as data and as one English sentence."""

    started_by: str
    started_at: Instant
    zone: str
    rules: list[RuleApplied]
    winner: str
    sentence: str
    notice: str
    attempts: list[Attempt] = []


class Derived(Struct, frozen=True, kw_only=True):
    """A deadline as it follows from the stated facts alone."""

    kind: Kind
    subject_id: UUID
    starting_fact_id: UUID
    property_id: UUID
    started_at: Instant
    due_at: Instant
    state: State
    met_at: Instant | None = None
    met_by_fact_id: UUID | None = None
    outcome: str | None = None
    why: Why


class Place(Struct, frozen=True, kw_only=True):
    """What the arithmetic needs of a property and its business."""

    property_id: UUID
    zone: str
    house_policies: list[HousePolicy]
    attempts: list[Attempt] = []


class Due(Struct, frozen=True, kw_only=True):
    """The instant that the rules give, each rule with its own; `winner` names the earliest."""

    due_at: Instant
    rules: list[RuleApplied]
    winner: str


class KnownBy(Struct, frozen=True, kw_only=True):
    """Whose visit made something known; both None where a recomputation did."""

    worker_id: UUID | None
    key_id: UUID | None


class Stored(Derived, frozen=True, kw_only=True):
    """A deadline's row: what follows from the facts, and the clock's memory of what it said and will say.

    `announced_due_at` is the due instant that was last spoken of, `announced_event_id` the last word that it
    was due, and `settled_*` the last word on how it ended, if none that it is due came after it.
    """

    id: UUID
    known_at: Instant
    known_by_worker_id: UUID | None
    known_by_key_id: UUID | None
    episode: int = 1
    announced_due_at: Instant | None = None
    announced_event_id: UUID | None = None
    settled_outcome: str | None = None
    settled_event_id: UUID | None = None
    wake_at: Instant | None = None
    wake_type: str | None = None


class Deadline(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A deadline as it is read; `overdue` says that it is open and its due instant has come.

    It is of a set or of a sign. `episode` rises when it opens again after it was settled or withdrawn.
    """

    id: UUID
    kind: Kind
    set_id: UUID | None = None
    sign_id: UUID | None = None
    property_id: UUID
    job_id: UUID | None = None
    starting_fact_id: UUID
    started_at: Instant
    due_at: Instant
    state: State
    overdue: bool
    met_at: Instant | None = None
    met_by_fact_id: UUID | None = None
    outcome: str | None = None
    known_at: Instant
    episode: int
    why: Why


class Word(Struct, frozen=True, kw_only=True):
    """An event to be told, and the cause that makes it told once."""

    event: Event
    cause: str


class Reconciled(Struct, frozen=True, kw_only=True):
    """A row as it is to be stored, and what is to be told at once."""

    row: Stored
    overdue: Word | None = None
    settled: Word | None = None


# Events --------------------------------------------------------------------------------------------------
class Reminder(Event, frozen=True, kw_only=True):
    """What every word of the clock holds: which deadline, when it is due, and why.

    `known_late` is true where it was already due when it became known; `replaces` names the earlier event
    that this one stands for from now on.
    """

    deadline_id: UUID
    property_id: UUID
    started_at: Instant
    due_at: Instant
    episode: int
    why: str
    known_late: bool = False
    replaces: UUID | None = None


class CheckDueSoon(Reminder, frozen=True, kw_only=True):
    """A set is to be looked at within four hours."""

    event_type: ClassVar[str] = "check.due_soon"
    set_id: UUID


class CheckOverdue(Reminder, frozen=True, kw_only=True):
    """A set was not looked at in time, and still is not."""

    event_type: ClassVar[str] = "check.overdue"
    set_id: UUID


class CheckSettled(Reminder, frozen=True, kw_only=True):
    """How an overdue look at a set ended; said again where later facts change it."""

    event_type: ClassVar[str] = "check.settled"
    set_id: UUID
    outcome: Literal["met", "late", "withdrawn"]
    met_at: Instant | None = None


class SetSearchDue(Reminder, frozen=True, kw_only=True):
    """A set that was not found is still to be searched for."""

    event_type: ClassVar[str] = "set.search_due"
    set_id: UUID


class RunLookDue(Reminder, frozen=True, kw_only=True):
    """A run that was pressed flat has not been looked at again."""

    event_type: ClassVar[str] = "run.look_due"
    sign_id: UUID


class LawnDueSoon(Reminder, frozen=True, kw_only=True):
    """Soil on turf is to be cleared within twelve hours."""

    event_type: ClassVar[str] = "lawn.due_soon"
    sign_id: UUID


class LawnOverdue(Reminder, frozen=True, kw_only=True):
    """Soil still lies on turf after the instant by which it was to be cleared."""

    event_type: ClassVar[str] = "lawn.overdue"
    sign_id: UUID


class LawnSettled(Reminder, frozen=True, kw_only=True):
    """The verdict on a patch of turf; said again where later facts change it."""

    event_type: ClassVar[str] = "lawn.settled"
    sign_id: UUID
    outcome: Literal["in_time", "late", "found_late", "withdrawn"]
    met_at: Instant | None = None


class LawnFollowupDue(Reminder, frozen=True, kw_only=True):
    """Turf that soil was cleared from has not been looked at again."""

    event_type: ClassVar[str] = "lawn.followup_due"
    sign_id: UUID


# The clock's words: shortly before the due instant, with their lead, at it, and on how it ended.
SOON: dict[Kind, tuple[type[Reminder], timedelta]] = {
    "check": (CheckDueSoon, timedelta(hours=4)),
    "lawn": (LawnDueSoon, timedelta(hours=12)),
}
DUE: dict[Kind, type[Reminder]] = {
    "check": CheckOverdue,
    "lawn": LawnOverdue,
    "set_search": SetSearchDue,
    "run_look": RunLookDue,
    "lawn_followup": LawnFollowupDue,
}
SETTLED: dict[Kind, type[Reminder]] = {"check": CheckSettled, "lawn": LawnSettled}
