"""When something is due, whether it was met and why, and what the clock says of it: pure arithmetic."""

from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from msgspec import convert
from msgspec.structs import asdict, replace

from service.deadlines.models import (
    DUE,
    SETTLED,
    SOON,
    Derived,
    Due,
    Kind,
    KnownBy,
    Place,
    Reconciled,
    Reminder,
    RuleApplied,
    RuleKind,
    Stored,
    Why,
    Word,
)
from service.identity.models import HousePolicy
from service.kernel.days import end_of_days, first_instant, local_date, next_day
from service.work.rules import SETTLING

NOTICE = "Local codes and licensed practice come first."
# Met at the very instant too; for every other kind that instant is the first one too late.
_INCLUSIVE = ("elapsed", "latest_hour", "lawn")

RANKS = {"late": 1, "found_late": 2, "met": 3, "in_time": 3, "withdrawn": 4}
SILENT = dict.fromkeys(("announced_due_at", "announced_event_id", "settled_outcome", "settled_event_id"))


def deadline_id(business_id: UUID, kind: Kind, subject_id: UUID, starting_fact_id: UUID) -> UUID:
    """UUIDv5 of `kind/subject id/starting fact id`, the business being the namespace."""
    return uuid5(business_id, f"{kind}/{subject_id}/{starting_fact_id}")


def check_due(started_at: datetime, place: Place) -> Due | None:
    """When the next look at a set is due, by the house policy in force on the local date of `started_at`.

    None where no policy is in force then, or it has no part switched on.
    """
    zone = ZoneInfo(place.zone)
    day = local_date(started_at, zone)
    begun = [one for one in place.house_policies if one.effective_from is None or one.effective_from <= day]
    if not begun:
        return None
    # max takes the first of equals: of two that begin together the one listed later is in force
    policy = max(reversed(begun), key=lambda one: one.effective_from or date.min)
    rules = _applied(policy, started_at.astimezone(UTC), zone)
    return earliest(rules) if rules else None


def day_end_due(started_at: datetime, place: Place, days: int, rule: str) -> Due:
    """Due at the start of local day D+days+1, D being the local date of `started_at`; `rule` in words."""
    applied = RuleApplied(
        rule=rule,
        kind="local_day_end",
        state="practice",
        inputs={"days": days},
        due_at=end_of_days(started_at, ZoneInfo(place.zone), days),
    )
    return earliest([applied])


def earliest(rules: list[RuleApplied]) -> Due:
    """The minimum over the rules that compute an instant, of which there must be one."""
    due_at, winner = min((one.due_at, one.rule) for one in rules if one.due_at is not None)
    return Due(due_at=due_at, rules=rules, winner=winner)


def _applied(policy: HousePolicy, at: datetime, zone: ZoneInfo) -> list[RuleApplied]:
    """Each part of a policy that is switched on, with its instant; `at` is in UTC, so hours are elapsed."""
    begins = None if policy.effective_from is None else policy.effective_from.isoformat()

    def part(kind: RuleKind, words: str, value: int, due_at: datetime) -> RuleApplied:
        return RuleApplied(
            rule=f"{policy.name}: {words}",
            kind=kind,
            state="practice",
            inputs={kind: value, "effective_from": begins},
            due_at=due_at,
        )

    rules = []
    if (days := policy.calendar_days) is not None:
        every = "every local calendar day" if days == 1 else f"one of every {days} local calendar days"
        rules.append(part("calendar_day", f"one look on {every}", days, end_of_days(at, zone, days)))
    if (hour := policy.latest_hour) is not None:
        due_at = first_instant(next_day(local_date(at, zone), zone), time(hour), zone)
        rules.append(part("latest_hour", f"a look on the next day by {hour:02}:00", hour, due_at))
    if (hours := policy.elapsed_hours) is not None:
        rules.append(part("elapsed", f"a look within {hours} hours", hours, at + timedelta(hours=hours)))
    return rules


def is_met(at: datetime, due: Due) -> bool:
    """Whether an act at `at` satisfies every rule that computes an instant.

    Elapsed hours and the latest hour take the instant itself; days want it before.
    """
    return all(
        at < one.due_at or (at == one.due_at and one.kind in _INCLUSIVE)
        for one in due.rules
        if one.due_at is not None
    )


def explain(
    started_by: str,
    started_at: datetime,
    due: Due,
    place: Place,
    *,
    task: str = "Look",
    met_at: datetime | None = None,
) -> Why:
    """How the due instant came about: data, and one sentence for the person who has to go there.

    `task` is what is due ("Look", "Clear", "Search"); `started_by` what began it ("placed", "last look").
    Attempts at the property from the start until `met_at`, or so far, are named: a locked gate meets nothing.
    """
    zone = ZoneInfo(place.zone)
    attempts = [
        one
        for one in place.attempts
        if started_at <= one.arrived_at and (met_at is None or one.arrived_at < met_at)
    ]
    said = [f"{started_by} {_clock(started_at, zone)}", due.winner]
    for one in due.rules:
        if one.due_at is None:
            said.append(f"{one.rule}, which sets no instant")
        elif one.rule != due.winner:
            said.append(f"{one.rule}, by {_clock(one.due_at, zone)}")
    said += [f"no access {_clock(one.arrived_at, zone)}, which meets nothing" for one in attempts]
    return Why(
        started_by=started_by,
        started_at=started_at,
        zone=place.zone,
        rules=due.rules,
        winner=due.winner,
        sentence=f"{task} by {_clock(due.due_at, zone, year=True)} ({place.zone}): {'; '.join(said)}.",
        notice=NOTICE,
        attempts=attempts,
    )


def _clock(at: datetime, zone: ZoneInfo, *, year: bool = False) -> str:
    """Local weekday, date and minute: Mon 2 Mar 09:00."""
    local = at.astimezone(zone)
    return f"{local:%a} {local.day} {local:{'%b %Y' if year else '%b'} %H:%M}"


# What the clock has said and will say -----------------------------------------------------------------------


def withdrawn(row: Stored) -> Derived:
    """What becomes of a stored deadline that no longer follows from the facts."""
    return replace(row, state="withdrawn", met_at=None, met_by_fact_id=None, outcome="withdrawn")


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
        return _settled(after, after.outcome if after.kind == "lawn" and after.state != "open" else None)
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
    return due_at if now <= due_at else now + SETTLING, DUE[kind].event_type


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
    is_heard_of = before.announced_due_at is not None or (after.kind == "lawn" and after.state != "withdrawn")
    is_known = after.outcome == before.settled_outcome and after.due_at == before.announced_due_at
    return after.outcome if is_heard_of and not is_known else None


def _settled(row: Stored, outcome: str | None, missed: Word | None = None) -> Reconciled:
    """The row, which remembers the outcome that is told now, if one is."""
    if outcome is None:
        return Reconciled(row=row, overdue=missed)
    told = word(SETTLED[row.kind], row, outcome)
    row = replace(row, announced_due_at=row.due_at, settled_outcome=outcome)
    return Reconciled(row=row, overdue=missed, settled=told)


def _taken_back(before: Stored) -> Word | None:
    """The word that what was said last no longer holds."""
    if before.settled_outcome == "withdrawn":
        return None
    about = replace(before, due_at=before.announced_due_at, met_at=None)
    return word(SETTLED[before.kind], about, "withdrawn")


def word(of: type[Reminder], row: Stored, outcome: str | None = None) -> Word:
    """What is said of a row as it stands; with an outcome, on how it ended. The tick says the same in SQL."""
    is_end = outcome is not None
    event = convert(
        {
            "deadline_id": row.id,
            "set_id" if row.kind in ("check", "set_search") else "sign_id": row.subject_id,
            "property_id": row.property_id,
            "started_at": row.started_at,
            "due_at": row.due_at,
            "episode": row.episode,
            "why": row.why.sentence,
            "known_late": row.known_at > row.due_at,
            "replaces": row.settled_event_id or (None if is_end else row.announced_event_id),
            **({"outcome": outcome, "met_at": row.met_at} if is_end else {}),
        },
        of,
    )
    due = f"{row.due_at.astimezone(UTC):%Y-%m-%dT%H:%M:%S.%fZ}"
    cause = f"{of.event_type}/{row.subject_id}/{row.id}/{due}/{outcome or ''}/{row.episode}"
    return Word(event=event, cause=cause)
