"""The looks that are owed to one set: from which fact each runs, what meets it, and what is only a word. Pure."""

from collections.abc import Sequence
from datetime import datetime
from typing import NamedTuple, cast
from uuid import UUID

from service.deadlines.looks import is_accepted, look_due
from service.deadlines.models import Contact, Covered, Derived, Due, Kind, Place, State
from service.deadlines.rules import day_end_due, is_met
from service.deadlines.why import explain
from service.packs.models import LookedBy, Word
from service.sets.ground import ARMED_AGAIN, SPRUNG, Step, word_of
from service.sets.models import Check, Placing, SetFacts

# Common practice: a trap that is missing is searched for by the end of the next local day.
SEARCH_DAYS = 1
SEARCH_RULE = "Missing set: a search by the end of the next local day"


class Start(NamedTuple):
    """A fact from which a deadline runs, and when what it starts is due while nobody says a word."""

    kind: Kind
    fact_id: UUID
    at: datetime
    by: str
    due: Due | None


class Ran(NamedTuple):
    """What ran from a start, the look that met it, if any, and the looks meanwhile that did not count."""

    start: Start
    met_by: Check | None
    uncounted: list[Check]


def deadlines_of(
    facts: SetFacts, steps: Sequence[Step], monitored: Sequence[Check], place: Place
) -> list[Derived]:
    """Every `check` and `set_search` deadline of the set, met, late or open.

    A look meets the check before it and starts the next, if every rule accepts who looked, unless the set is
    then made safe, missing or ended: those meet it whoever did so, and start nothing. The first of a run of
    looks that find it missing starts a search; the look that finds it meets that. `monitored` are the words
    of a monitor.
    """
    words = [_word(one) for one in monitored]
    words += [_word(look) for look, _, _ in steps if _tells_a_capture(look)]
    ran = [*_checks(facts, steps, place), *_searches(steps, place)]
    ran.sort(key=lambda one: one.start.at)
    derived = [_deadline(facts, one, words, place) for one in ran]
    return [one for one in derived if one is not None]


def _checks(facts: SetFacts, steps: Sequence[Step], place: Place) -> list[Ran]:
    """The looks that were owed one after the other, the last of them without a look that met it."""
    ran: list[Ran] = []
    owed: Start | None = None
    uncounted: list[Check] = []
    covered = covered_of(facts.placing)
    if facts.placing is not None:
        placed_at = facts.placing.placed_at
        owed = Start("check", facts.set_id, placed_at, "placed", look_due(placed_at, place, covered))
    for look, _, after in steps:
        stands = word_of(after)
        if owed and stands in ("standing", "missing") and not _counts(look, owed, facts.placing):
            uncounted.append(look)
            continue
        if owed:
            ran.append(Ran(owed, look, uncounted))
        owed, uncounted = None, []
        if stands == "standing":
            due = look_due(look.checked_at, place, covered)
            owed = Start("check", look.id, look.checked_at, _word_for(look), due)
    return [*ran, Ran(owed, None, uncounted)] if owed else ran


def _searches(steps: Sequence[Step], place: Place) -> list[Ran]:
    """The searches for a set that was missing."""
    ran: list[Ran] = []
    search: Start | None = None
    for look, _, after in steps:
        is_sought = after.is_missing and after.ended is None
        if search and not is_sought:
            ran.append(Ran(search, look, []))
            search = None
        elif search is None and is_sought:
            due = day_end_due(look.checked_at, place, SEARCH_DAYS, SEARCH_RULE, "set_search")
            search = Start("set_search", look.id, look.checked_at, "missing", due)
    return [*ran, Ran(search, None, [])] if search else ran


def _counts(look: Check, owed: Start, placing: Placing | None) -> bool:
    """Whether every rule that asks for the look accepts who made it; words change nothing of that."""
    return owed.due is None or is_accepted(owed.due, looked_by(look, placing))


def looked_by(look: Check, placing: Placing | None) -> set[LookedBy]:
    """Who looked: a worker may be the one who set it."""
    if look.checked_by != "worker":
        return {cast(LookedBy, look.checked_by)}
    is_setter = placing is not None and not set(look.worker_ids).isdisjoint(placing.worker_ids)
    return {"worker", "setter"} if is_setter else {"worker"}


def covered_of(placing: Placing | None) -> Covered:
    """What rules are held against; of a set that nobody placed nothing is known."""
    if placing is None:
        return Covered()
    return Covered(mechanism=placing.mechanism, target=placing.target, under_permit=placing.under_permit)


def _word_for(look: Check) -> str:
    """What a look did, where that is what starts the clock."""
    return look.action if look.action in ARMED_AGAIN else "last look"


def _tells_a_capture(look: Check) -> bool:
    """A customer or agent saw the set sprung and left it to us."""
    return look.checked_by != "worker" and look.finding in SPRUNG and look.action == "left"


def _word(check: Check) -> Contact:
    """What a check says beside a look: a monitor's alarm or that it works, a person's notice of a capture."""
    words: list[Word] = ["notice"]
    if check.checked_by == "monitor":
        words = ["last_contact"] if check.finding == "undisturbed" else ["alarm", "last_contact"]
    return Contact(check_id=check.id, at=check.checked_at, by=check.checked_by, words=words)


def _deadline(facts: SetFacts, ran: Ran, words: Sequence[Contact], place: Place) -> Derived | None:
    """One deadline of the set: open without a look that met it, else met or late by its instant."""
    start, met_by, uncounted = ran
    met_at = met_by.checked_at if met_by else None
    contacts = [one for one in words if start.at <= one.at and (met_at is None or one.at < met_at)]
    due = start.due
    if start.kind == "check" and contacts:
        due = look_due(start.at, place, covered_of(facts.placing), contacts)
    if due is None:
        return None
    state: State = "open" if met_at is None else "met" if is_met(met_at, due) else "late"
    contacts += [Contact(check_id=one.id, at=one.checked_at, by=one.checked_by) for one in uncounted]
    return Derived(
        kind=start.kind,
        subject_id=facts.set_id,
        starting_fact_id=start.fact_id,
        property_id=place.property_id,
        started_at=start.at,
        due_at=due.due_at,
        state=state,
        met_at=met_at,
        met_by_fact_id=met_by.id if met_by else None,
        outcome=None if met_by is None else state,
        why=explain(
            start.by,
            start.at,
            due,
            place,
            task="Look" if start.kind == "check" else "Search",
            met_at=met_at,
            contacts=sorted(contacts, key=lambda one: (one.at, one.check_id.bytes)),
        ),
    )
