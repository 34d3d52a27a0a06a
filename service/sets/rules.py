"""What follows from the facts of one set: its state, conflicts, deadlines and effort. Pure."""

from datetime import datetime
from typing import NamedTuple
from uuid import UUID
from zoneinfo import ZoneInfo

from service.deadlines.models import Derived, Due, Kind, Place
from service.deadlines.models import State as DeadlineState
from service.deadlines.rules import check_due, day_end_due, explain, is_met
from service.events.models import Event
from service.sets.covers import cover_book
from service.sets.fitting import conflicts_of, fit, in_order, moved_to
from service.sets.ground import (
    ARMED_AGAIN,
    ENDING,
    Ground,
    Step,
    fishing,
    half_nights,
    trap_nos,
    walk,
    word_of,
)
from service.sets.models import (
    Check,
    Ending,
    Known,
    SetBook,
    SetEnded,
    SetFacts,
    SetPlaced,
    SetRestored,
    SetState,
)
from service.sets.openings import closed_at

# Common practice: a trap that is missing is searched for by the end of the next local day.
SEARCH_DAYS = 1
SEARCH_RULE = "Missing set: a search by the end of the next local day"


class Start(NamedTuple):
    """A fact from which a deadline runs."""

    kind: Kind
    fact_id: UUID
    at: datetime
    by: str


def home_of(facts: SetFacts) -> UUID | None:
    """The set's property: that of its placing, else of its first check; None where there is neither."""
    if facts.placing is not None:
        return facts.placing.property_id
    return in_order(facts.checks)[0].property_id if facts.checks else None


def derive(facts: SetFacts, place: Place | None) -> SetBook:
    """All that follows from what is stated of one set, in whatever order it came.

    `place` is the set's property as `home_of` names it, None where that is None.
    """
    fitting = fit(facts)
    steps = walk(trap_nos(facts), fitting.looks)
    ground = steps[-1].after if steps else Ground()
    found = conflicts_of(facts, fitting, place, has_ended=ground.ended is not None)
    if place is None:
        return SetBook(state=None, ended_by=None, deadlines=[], conflicts=found)
    patches, covers = cover_book(facts, fitting.looks, place)
    return SetBook(
        state=state_of(facts, steps, ground, place),
        ended_by=steps[-1].look if ground.ended else None,
        deadlines=[*deadlines_of(facts, steps, place), *covers],
        conflicts=found,
        patches=patches,
    )


# State --------------------------------------------------------------------------------------------------


def state_of(facts: SetFacts, steps: list[Step], ground: Ground, place: Place) -> SetState:
    """The set as its last look leaves it; the last look that counts is the one that is shown."""
    nos = trap_nos(facts)
    last = steps[-1].look if steps else None
    return SetState(
        set_id=facts.set_id,
        property_id=place.property_id,
        state=word_of(ground) if facts.placing else "awaited",
        fishing=bool(fishing(ground, nos)),
        placed_at=facts.placing.placed_at if facts.placing else None,
        ended_at=last.checked_at if last and ground.ended else None,
        last_looked_at=last.checked_at if last else None,
        last_finding=last.finding if last else None,
        moved_to_set_id=moved_to(facts),
        looks=len(steps),
        catches=sum(len(step.look.caught_in) for step in steps),
        trap_half_nights=half_nights(facts, steps, ZoneInfo(place.zone)),
        opening_closed_at=closed_at(facts, [step.look for step in steps]),
    )


# Deadlines -----------------------------------------------------------------------------------------------


def deadlines_of(facts: SetFacts, steps: list[Step], place: Place) -> list[Derived]:
    """Every `check` and `set_search` deadline of the set, met, late or open.

    A look meets the check before it and starts the next, unless the set is then made safe, missing or ended.
    The first of a run of looks that find it missing starts a search; the look that finds it meets that.
    """
    ran: list[tuple[Start, Check | None]] = []
    check: Start | None = None
    search: Start | None = None
    if facts.placing is not None:
        check = Start("check", facts.set_id, facts.placing.placed_at, "placed")
    for look, _, after in steps:
        if check:
            ran.append((check, look))
        is_standing = word_of(after) == "standing"
        check = Start("check", look.id, look.checked_at, word_for(look)) if is_standing else None
        if search and not (after.is_missing and after.ended is None):
            ran.append((search, look))
            search = None
        elif search is None and after.is_missing and after.ended is None:
            search = Start("set_search", look.id, look.checked_at, "missing")
    ran += [(start, None) for start in (check, search) if start]
    derived = [deadline(facts.set_id, start, met_by, place) for start, met_by in ran]
    return [one for one in derived if one is not None]


def word_for(look: Check) -> str:
    """What a look did, where that is what starts the clock."""
    return look.action if look.action in ARMED_AGAIN else "last look"


def due_of(start: Start, place: Place) -> Due | None:
    """When what starts here is due; None where no rule computes an instant."""
    if start.kind == "check":
        return check_due(start.at, place)
    return day_end_due(start.at, place, SEARCH_DAYS, SEARCH_RULE, "set_search")


def deadline(set_id: UUID, start: Start, met_by: Check | None, place: Place) -> Derived | None:
    """One deadline of the set: open without `met_by`, else met or late by its instant."""
    due = due_of(start, place)
    if due is None:
        return None
    met_at = met_by.checked_at if met_by else None
    state: DeadlineState = "open" if met_at is None else "met" if is_met(met_at, due) else "late"
    task = "Look" if start.kind == "check" else "Search"
    return Derived(
        kind=start.kind,
        subject_id=set_id,
        starting_fact_id=start.fact_id,
        property_id=place.property_id,
        started_at=start.at,
        due_at=due.due_at,
        state=state,
        met_at=met_at,
        met_by_fact_id=met_by.id if met_by else None,
        outcome=None if met_by is None else state,
        why=explain(start.by, start.at, due, place, task=task, met_at=met_at),
    )


# What is told --------------------------------------------------------------------------------------------


def told(facts: SetFacts, before: Known | None, book: SetBook) -> list[Event]:
    """What a state worked out anew says beside the stored one; nothing while the placing is awaited."""
    placing, state = facts.placing, book.state
    if placing is None or state is None:
        return []
    was_placed = before is not None and before.state != "awaited"
    was_ended = before is not None and before.ended_at is not None and was_placed
    events: list[Event] = []
    if not was_placed:
        events.append(
            SetPlaced(
                set_id=facts.set_id,
                property_id=placing.property_id,
                visit_id=placing.visit_id,
                placed_at=placing.placed_at,
                mechanism=placing.mechanism,
                traps=len(placing.trap_nos),
                moved_from_set_id=placing.moved_from_set_id,
            )
        )
    if book.ended_by is None:
        if was_ended:
            events.append(
                SetRestored(set_id=facts.set_id, property_id=placing.property_id, state=state.state)
            )
    elif before is None or (before.state, before.ended_at) != (state.state, state.ended_at):
        events.append(ended(book.ended_by, state, ENDING[book.ended_by.action]))
    return events


def ended(look: Check, state: SetState, ended_as: Ending) -> SetEnded:
    """What is told of the look that ended a set."""
    return SetEnded(
        set_id=state.set_id,
        property_id=state.property_id,
        visit_id=look.visit_id,
        check_id=look.id,
        ended_as=ended_as,
        ended_at=look.checked_at,
    )
