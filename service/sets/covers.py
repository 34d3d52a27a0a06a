"""Covers left on turf over a set: when each was left, by when it is to come off, what became of it. Pure."""

from collections.abc import Sequence
from datetime import datetime
from typing import NamedTuple
from uuid import UUID

from service.deadlines.models import Derived, Due, Place, State
from service.deadlines.rules import is_met
from service.deadlines.why import explain
from service.lawn.models import LawnPatch
from service.lawn.rules import cover_due, cover_m2, cover_verdict, first_repair
from service.sets.ground import ENDING
from service.sets.models import Check, Placing, SetFacts


class Lying(NamedTuple):
    """A cover on one patch of turf: the fact that left it there, and the look that ended it, if one did."""

    fact_id: UUID
    at: datetime
    said: str
    ended_by: Check | None = None


def cover_book(
    facts: SetFacts, looks: Sequence[Check], place: Place
) -> tuple[list[LawnPatch], list[Derived]]:
    """The patches of turf under a set's cover, each with its deadline; none where no cover lies on turf.

    `looks` are the checks that count, in order: up to the first that ended the set for good, and no monitor's.
    """
    placing = facts.placing
    if placing is None or not placing.cover_on_turf:
        return [], []
    patches, deadlines = [], []
    for lying in covers(facts.set_id, placing, looks):
        due = cover_due(lying.at, place)
        patches.append(patch(facts, placing, lying, due, place))
        deadlines.append(deadline(facts.set_id, lying, due, place))
    return patches, deadlines


def covers(set_id: UUID, placing: Placing, looks: Sequence[Check]) -> list[Lying]:
    """Each time that a cover lay on one patch of turf, in order.

    Shifted, it lies on other turf from that look on. Lifted off, it is gone; so it is when the set is pulled,
    moved or lost, but not when it is made safe. Said to be left or shifted after that, it was put back: from
    that look on, at the latest.
    """
    found: list[Lying] = []
    lying: Lying | None = Lying(set_id, placing.placed_at, "cover left")
    for look in looks:
        has_ended = look.action in ENDING
        if lying is not None and (has_ended or look.cover in ("shifted", "lifted_off")):
            found.append(lying._replace(ended_by=look))
            lying = None
        if lying is None and not has_ended and look.cover in ("left", "shifted"):
            lying = Lying(look.id, look.checked_at, f"cover {look.cover}")
    return found if lying is None else [*found, lying]


def patch(facts: SetFacts, placing: Placing, lying: Lying, due: Due, place: Place) -> LawnPatch:
    """One patch under the cover; whoever left it there says since when, so its earliest moment is its start."""
    lifted_at = None if lying.ended_by is None else lying.ended_by.checked_at
    return LawnPatch(
        set_id=facts.set_id,
        starting_fact_id=lying.fact_id,
        property_id=place.property_id,
        started_at=lying.at,
        earliest_at=lying.at,
        earliest_from="cover",
        due_at=due.due_at,
        cleared_at=lifted_at,
        verdict=cover_verdict(lifted_at, due),
        area_m2=cover_m2(placing.cover, placing.cover_length_mm, placing.cover_width_mm),
        repaired_at=first_repair(lifted_at, [one.at for one in facts.mentions if one.noun == "repair"]),
    )


def deadline(set_id: UUID, lying: Lying, due: Due, place: Place) -> Derived:
    """The deadline of one patch; its outcome is the verdict."""
    ended_by = lying.ended_by
    lifted_at = None if ended_by is None else ended_by.checked_at
    state: State = "open" if lifted_at is None else "met" if is_met(lifted_at, due) else "late"
    return Derived(
        kind="lawn_cover",
        subject_id=set_id,
        starting_fact_id=lying.fact_id,
        property_id=place.property_id,
        started_at=lying.at,
        due_at=due.due_at,
        state=state,
        met_at=lifted_at,
        met_by_fact_id=None if ended_by is None else ended_by.id,
        outcome=None if ended_by is None else cover_verdict(lifted_at, due),
        why=explain(lying.said, lying.at, due, place, task="Lift the cover", met_at=lifted_at),
    )
