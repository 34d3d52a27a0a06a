"""What the clock says of a deadline: shortly before the due instant, at it, and on how it ended."""

from datetime import timedelta
from typing import ClassVar, Literal
from uuid import UUID

from service.deadlines.models import Explanation, Kind
from service.events.models import Event
from service.kernel.values import Instant


class Reminder(Event, frozen=True, kw_only=True):
    """What every word of the clock holds: which deadline, when it is due, and why, as a sentence and as data.

    `known_late` is true where it was already due when it became known; `replaces` names the earlier event
    that this one stands for from now on.
    """

    deadline_id: UUID
    started_at: Instant
    due_at: Instant
    episode: int
    why: str
    explanation: Explanation
    known_late: bool = False
    replaces: UUID | None = None


class ReminderThere(Reminder, frozen=True, kw_only=True):
    """A reminder of something to be done at a property."""

    property_id: UUID


class CheckDueSoon(ReminderThere, frozen=True, kw_only=True):
    """A set is to be looked at within four hours."""

    event_type: ClassVar[str] = "check.due_soon"
    set_id: UUID


class CheckOverdue(ReminderThere, frozen=True, kw_only=True):
    """A set was not looked at in time, and still is not."""

    event_type: ClassVar[str] = "check.overdue"
    set_id: UUID


class CheckSettled(ReminderThere, frozen=True, kw_only=True):
    """How an overdue look at a set ended; said again where later facts change it."""

    event_type: ClassVar[str] = "check.settled"
    set_id: UUID
    outcome: Literal["met", "late", "withdrawn"]
    met_at: Instant | None = None


class SetSearchDue(ReminderThere, frozen=True, kw_only=True):
    """A set that was not found is still to be searched for."""

    event_type: ClassVar[str] = "set.search_due"
    set_id: UUID


class RunLookDue(ReminderThere, frozen=True, kw_only=True):
    """A run that was pressed flat has not been looked at again."""

    event_type: ClassVar[str] = "run.look_due"
    sign_id: UUID


class LawnDueSoon(ReminderThere, frozen=True, kw_only=True):
    """Soil on turf, or a cover over a set, is to be taken off within twelve hours."""

    event_type: ClassVar[str] = "lawn.due_soon"
    sign_id: UUID | None = None
    set_id: UUID | None = None


class LawnOverdue(ReminderThere, frozen=True, kw_only=True):
    """Soil or a cover still lies on turf after the instant by which it was to be taken off."""

    event_type: ClassVar[str] = "lawn.overdue"
    sign_id: UUID | None = None
    set_id: UUID | None = None


class LawnSettled(ReminderThere, frozen=True, kw_only=True):
    """The verdict on a patch of turf; said again where later facts change it."""

    event_type: ClassVar[str] = "lawn.settled"
    sign_id: UUID | None = None
    set_id: UUID | None = None
    outcome: Literal["in_time", "late", "found_late", "withdrawn"]
    met_at: Instant | None = None


class LawnFollowupDue(ReminderThere, frozen=True, kw_only=True):
    """Turf that soil was cleared from has not been looked at again."""

    event_type: ClassVar[str] = "lawn.followup_due"
    sign_id: UUID


class ReportDue(Reminder, frozen=True, kw_only=True):
    """A permit's report is to be sent within two weeks, also where nothing was taken."""

    event_type: ClassVar[str] = "report.due"
    permit_id: UUID


# The clock's words: shortly before the due instant, with their lead, at it, and on how it ended.
SOON: dict[Kind, tuple[type[Reminder], timedelta]] = {
    "check": (CheckDueSoon, timedelta(hours=4)),
    "lawn": (LawnDueSoon, timedelta(hours=12)),
    "lawn_cover": (LawnDueSoon, timedelta(hours=12)),
}
DUE: dict[Kind, type[Reminder]] = {
    "check": CheckOverdue,
    "lawn": LawnOverdue,
    "lawn_cover": LawnOverdue,
    "set_search": SetSearchDue,
    "run_look": RunLookDue,
    "lawn_followup": LawnFollowupDue,
    "report": ReportDue,
}
# A report takes time to write, so the one word of it comes this long before its due instant.
AHEAD: dict[Kind, timedelta] = {"report": timedelta(days=14)}
SETTLED: dict[Kind, type[Reminder]] = {"check": CheckSettled, "lawn": LawnSettled, "lawn_cover": LawnSettled}
# The verdict on every patch of turf is told, also where nobody heard that anything was overdue.
LAWN: tuple[Kind, ...] = ("lawn", "lawn_cover")
SUBJECT: dict[Kind, str] = {
    "check": "set_id",
    "set_search": "set_id",
    "lawn_cover": "set_id",
    "run_look": "sign_id",
    "lawn": "sign_id",
    "lawn_followup": "sign_id",
    "report": "permit_id",
}
