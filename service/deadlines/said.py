"""What the clock has said of a deadline and will say, once what follows from the facts is known: pure."""

from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

from msgspec import convert, json
from msgspec.structs import asdict, replace

from service.deadlines.models import Derived, Explanation, Kind, KnownBy, Reconciled, Said, Stored, Wake, Why
from service.deadlines.words import AHEAD, DUE, LAWN, SETTLED, SOON, SUBJECT, Reminder
from service.kernel.ids import id_of_cause
from service.work.rules import SETTLING

RANKS = {"late": 1, "found_late": 2, "met": 3, "in_time": 3, "withdrawn": 4}
SILENT = dict.fromkeys(("announced_due_at", "announced_event_id", "settled_outcome", "settled_event_id"))


def withdrawn(row: Stored) -> Derived:
    """What becomes of a stored deadline that no longer follows from the facts."""
    return replace(row, state="withdrawn", met_at=None, met_by_fact_id=None, outcome="withdrawn")


def as_said(business_id: UUID, row: Stored) -> Stored:
    """The row with what the clock has said since it was stored.

    The clock takes away its wake and leaves the row alone: one that is open and has no wake was spoken of at its
    due instant.
    """
    if row.state != "open" or row.wake_at is not None:
        return row
    event_id = id_of_cause(business_id, word(DUE[row.kind], row).cause)
    return replace(row, **SILENT | {"announced_due_at": row.due_at, "announced_event_id": event_id})


def wake_of(business_id: UUID, row: Stored) -> Wake | None:
    """What the clock says next of a row as it stands; the tick writes it into the log as it is."""
    if row.wake_at is None or row.wake_type is None:
        return None
    due = DUE[row.kind]
    said = word(due if row.wake_type == due.event_type else SOON[row.kind][0], row)
    late: dict[str, Any] = {}
    if row.known_at > row.due_at:
        late = {name: getattr(row, name) for name in ("known_at", "known_by_worker_id", "known_by_key_id")}
    return Wake(
        deadline_id=row.id,
        wake_at=row.wake_at,
        due_at=row.due_at,
        type=row.wake_type,
        subject=row.subject_id,
        event_id=id_of_cause(business_id, said.cause),
        cause=said.cause,
        data=json.encode(said.event).decode(),
        **late,
    )


def reconcile(
    row_id: UUID, before: Stored | None, derived: Derived, now: datetime, by: KnownBy
) -> Reconciled | None:
    """The row anew, by what follows from the facts now and what was said before; None where nothing changed.

    A word on how it ended follows only a word that it was overdue, but every verdict on a lawn is told; it
    is said again where the outcome or the due instant is another. What was said of an instant that has
    moved ahead is taken back, and the deadline starts afresh.
    """
    missed = None
    if before is not None and _was_missed(before, derived):
        missed = word(DUE[before.kind], before)
        before = replace(before, **SILENT | {"announced_due_at": before.due_at})
    after = _merged(row_id, before, derived, now, by)
    if after == before:
        return None
    if before is None:
        return _settled(after, after.outcome if after.kind in LAWN and after.state != "open" else None)
    is_taken_back = (
        before.announced_due_at is not None
        and after.kind in SETTLED
        and after.state == "open"
        and after.due_at > now
    )
    if is_taken_back or _has_fallen(before, after):
        after = replace(after, episode=before.episode + 1)
    if is_taken_back:
        return Reconciled(row=replace(after, **SILENT), settled=_taken_back(before))
    return _settled(after, _outcome_to_tell(before, after), missed)


def _was_missed(before: Stored, derived: Derived) -> bool:
    """Whether the clock owed a word at the due instant, and somebody came, too late, before it spoke."""
    is_owed = before.wake_at is not None and before.known_at <= before.due_at
    return is_owed and derived.state == "late" and derived.due_at == before.due_at


def _merged(row_id: UUID, before: Stored | None, derived: Derived, now: datetime, by: KnownBy) -> Stored:
    """The facts' word over the clock's memory; what opens, or is due at another instant, is newly known."""
    known: dict[str, Any] = {
        "known_at": now,
        "known_by_worker_id": by.worker_id,
        "known_by_key_id": by.key_id,
    }
    facts = asdict(derived)
    after = Stored(id=row_id, **facts, **known) if before is None else replace(before, **facts)
    if after.state != "open":
        return replace(after, wake_at=None, wake_type=None)
    if before is None or before.state != "open" or before.due_at != after.due_at:
        wake_at, wake_type = next_word(after.kind, after.due_at, now)
        return replace(after, wake_at=wake_at, wake_type=wake_type, **known)
    return after


def next_word(kind: Kind, due_at: datetime, now: datetime) -> tuple[datetime, str]:
    """When the clock speaks next of a deadline that is open and newly known, and the type of that event.

    What was already due when it became known waits until the phone that brought it has gone quiet.
    """
    if kind in SOON and now < due_at:
        soon, lead = SOON[kind]
        return max(now, due_at - lead), soon.event_type
    if now > due_at:
        return now + SETTLING, DUE[kind].event_type
    return max(now, due_at - AHEAD.get(kind, timedelta())), DUE[kind].event_type


def _has_fallen(before: Stored, after: Stored) -> bool:
    """Whether the deadline opened again: it was settled or withdrawn, and less of that is left.

    The same where a due instant that was spoken of moves back. So what is said within one episode goes one
    way, and no cause comes twice.
    """
    is_less = before.state != "open" and _rank(after) < _rank(before)
    return is_less or (before.announced_due_at is not None and after.due_at < before.announced_due_at)


def _rank(row: Stored) -> int:
    return 0 if row.state == "open" else RANKS[row.outcome or row.state]


def _outcome_to_tell(before: Stored, after: Stored) -> str | None:
    """The outcome, where somebody was told of the deadline and does not know it yet."""
    if after.state == "open" or after.kind not in SETTLED:
        return None
    is_heard_of = before.announced_due_at is not None or (after.kind in LAWN and after.state != "withdrawn")
    is_known = after.outcome == before.settled_outcome and after.due_at == before.announced_due_at
    return after.outcome if is_heard_of and not is_known else None


def _settled(row: Stored, outcome: str | None, missed: Said | None = None) -> Reconciled:
    """The row, which remembers the outcome that is told now, if one is."""
    if outcome is None:
        return Reconciled(row=row, overdue=missed)
    told = word(SETTLED[row.kind], row, outcome)
    row = replace(row, announced_due_at=row.due_at, settled_outcome=outcome)
    return Reconciled(row=row, overdue=missed, settled=told)


def _taken_back(before: Stored) -> Said | None:
    """The word that what was said last no longer holds."""
    if before.settled_outcome == "withdrawn":
        return None
    about = replace(before, due_at=before.announced_due_at, met_at=None)
    return word(SETTLED[before.kind], about, "withdrawn")


def explanation(why: Why) -> Explanation:
    """The part of a why that goes out with every word.

    What people wrote at a locked gate stays in the house, and so does the name of who reviewed a text.
    """
    said = {name: getattr(why, name) for name in Explanation.__struct_fields__}
    return Explanation(**said | {"rules": [replace(one, reviewed_by=None) for one in why.rules]})


def word(of: type[Reminder], row: Stored, outcome: str | None = None) -> Said:
    """What is said of a row as it stands; with an outcome, on how it ended."""
    is_end = outcome is not None
    event = convert(
        {
            "deadline_id": row.id,
            SUBJECT[row.kind]: row.subject_id,
            "property_id": row.property_id,
            "started_at": row.started_at,
            "due_at": row.due_at,
            "episode": row.episode,
            "why": row.why.sentence,
            "explanation": explanation(row.why),
            "known_late": row.known_at > row.due_at,
            "replaces": row.settled_event_id or (None if is_end else row.announced_event_id),
            **({"outcome": outcome, "met_at": row.met_at} if is_end else {}),
        },
        of,
    )
    due = f"{row.due_at.astimezone(UTC):%Y-%m-%dT%H:%M:%S.%fZ}"
    cause = f"{of.event_type}/{row.subject_id}/{row.id}/{due}/{outcome or ''}/{row.episode}"
    return Said(event=event, cause=cause)
