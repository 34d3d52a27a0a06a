"""What follows from the facts of one set: its state, conflicts, deadlines and effort. Pure."""

from uuid import UUID
from zoneinfo import ZoneInfo

from service.deadlines.models import Place
from service.events.models import Event
from service.sets.covers import cover_book
from service.sets.fitting import conflicts_of, fit, in_order, moved_to
from service.sets.ground import ENDING, Ground, Step, fishing, half_nights, trap_nos, walk, word_of
from service.sets.looks import deadlines_of
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
        deadlines=[*deadlines_of(facts, steps, fitting.words, place), *covers],
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
