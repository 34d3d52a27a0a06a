"""What follows from the facts of one sign: its state, its lawn patches, the looks owed to it. Pure."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import TypeVar
from uuid import UUID

import msgspec

from service.conflicts.models import Conflict
from service.deadlines.models import Derived, Due, Kind, Place, State
from service.deadlines.rules import day_end_due, is_met
from service.deadlines.why import explain
from service.lawn import rules as lawn
from service.lawn.models import LawnPatch
from service.signs.bounds import does_cover, latest_bound, own_bounds
from service.signs.models import (
    Bound,
    Cleared,
    Fact,
    Looked,
    Mention,
    Seen,
    SignBook,
    SignFacts,
    SignState,
    Spell,
    Tamped,
)

F = TypeVar("F", bound=Fact)

TASK: dict[Kind, str] = {"lawn": "Clear", "run_look": "Look", "lawn_followup": "Look at the turf"}
STARTED_BY: dict[type[Fact], str] = {Seen: "seen", Looked: "fresh soil", Tamped: "tamped", Cleared: "cleared"}
NOUN: dict[type[Fact], str] = {Looked: "look", Tamped: "tamping", Cleared: "clearing"}
SENTENCE = {
    "sign_awaited": "This {} names a sign that no visit states yet; send that visit or mend `sign_id`.",
    "cleared_before_seen": "This {} lies before its sign was seen; mend `cleared_at` or `seen_at`.",
    "other_property": "This {} is of a visit at another property than its sign's; mend that or `sign_id`.",
}


def derive(
    facts: SignFacts, bounds: Mapping[UUID, Sequence[Bound]], places: Mapping[UUID, Place]
) -> SignBook:
    """All that follows from what is stated of one sign, in whatever order it came.

    `bounds` are surveys with nothing fresh and mowings, by property; those that do not speak for the sign, or
    lie too late, change nothing. `places` has the property of every sign that is known.
    """
    sign = facts.sign
    if sign is None:
        return awaited(facts)
    place = places[sign.property_id]
    found = spells(sign, facts.looks, facts.clearings)
    patches, deadlines = on_turf(facts, sign, found, bounds.get(sign.property_id, ()), place)
    deadlines += [run_look(sign, tamped, facts.looks, place) for tamped in in_order(facts.tampings)]
    return SignBook(
        state=state_of(facts, sign, found[-1]),
        patches=patches,
        deadlines=deadlines,
        conflicts=conflicts_of(facts, sign),
    )


def starts(facts: SignFacts) -> list[datetime]:
    """The instants before which bounds may matter: where a lawn clock of this sign may start."""
    if facts.sign is None or not facts.sign.on_turf:
        return []
    return [facts.sign.at, *(one.at for one in facts.looks if one.fresh_soil)]


def in_order(facts: Sequence[F]) -> list[F]:
    """By instant, visit and id; of one instant what was seen stands before what was then cleared."""
    return sorted(facts, key=lambda one: (one.at, isinstance(one, Cleared), one.visit_id.bytes, one.id.bytes))


# A sign that nobody stated yet, and facts that do not fit -------------------------------------------------


def awaited(facts: SignFacts) -> SignBook:
    """Facts about a sign that is not known yet are kept and listed; nothing is due from them."""
    known: list[Fact] = in_order([*facts.tampings, *facts.looks, *facts.clearings])
    conflicts = [conflict("sign_awaited", facts.sign_id, NOUN[type(one)], one) for one in known]
    conflicts += [conflict("sign_awaited", facts.sign_id, one.noun, one) for one in facts.mentions]
    if not known:
        return SignBook(conflicts=conflicts)
    state = SignState(sign_id=facts.sign_id, property_id=known[0].property_id, state="awaited")
    return SignBook(state=state, conflicts=conflicts)


def conflicts_of(facts: SignFacts, sign: Seen) -> list[Conflict]:
    """What does not fit beside the sign: clearings before it was seen, and facts from another property."""
    too_early = [one for one in in_order(facts.clearings) if one.at < sign.at]
    said: list[Fact] = in_order([*facts.tampings, *facts.looks, *facts.clearings])
    elsewhere = [one for one in said if one.property_id != sign.property_id]
    return [
        *(conflict("cleared_before_seen", sign.id, "clearing", one) for one in too_early),
        *(conflict("other_property", sign.id, NOUN[type(one)], one) for one in elsewhere),
    ]


def conflict(kind: str, sign_id: UUID, noun: str, fact: Fact | Mention) -> Conflict:
    """A conflict of the sign, about one fact of one visit; `noun` is what that fact is."""
    return Conflict(
        kind=kind,
        subject_id=sign_id,
        property_id=fact.property_id,
        visit_id=fact.visit_id,
        fact_id=fact.id,
        sentence=SENTENCE[kind].format(noun),
    )


# Spells of soil lying, and the state they leave -----------------------------------------------------------


def spells(sign: Seen, looks: Sequence[Looked], clearings: Sequence[Cleared]) -> list[Spell]:
    """The times that soil lay there: from the sign on, and from each fresh look at what had been cleared.

    How many mounds a look found is not stated, so any clearing ends a spell that a look started.
    """
    found = [Spell(start=sign, count=sign.count or 1)]
    done: list[Looked | Cleared] = [*looks, *clearings]
    for fact in in_order(done):
        spell = found[-1]
        is_cleared = completing(spell) is not None
        if fact.at < sign.at:
            continue
        if isinstance(fact, Cleared):
            if not is_cleared:
                spell.clearings.append(fact)
        elif is_cleared and fact.fresh_soil:
            found.append(Spell(start=fact, count=1, looks=[fact]))
        else:
            spell.looks.append(fact)
    return found


def cleared_count(spell: Spell) -> int:
    """How many of the spell's mounds were cleared; a clearing without a count clears all."""
    if any(one.count is None for one in spell.clearings):
        return spell.count
    return sum(one.count or 0 for one in spell.clearings)


def completing(spell: Spell) -> Cleared | None:
    """The clearing that ended the spell, or None while soil lies."""
    return spell.clearings[-1] if cleared_count(spell) >= spell.count else None


def state_of(facts: SignFacts, sign: Seen, last: Spell) -> SignState:
    """The sign as its last spell leaves it."""
    looks = in_order(facts.looks)
    tamped_at = min((one.at for one in facts.tampings), default=None)
    raised = [one.raised_again for one in looks if tamped_at is not None and one.at > tamped_at]
    cleared = completing(last)
    return SignState(
        sign_id=facts.sign_id,
        property_id=sign.property_id,
        state="lying" if cleared is None else "cleared",
        in_use=next((one for one in reversed(raised) if one is not None), None),
        cleared_count=cleared_count(last),
        cleared_at=None if cleared is None else cleared.at,
        turf=next((one.turf for one in reversed(looks) if one.turf is not None), None),
    )


# Deadlines ------------------------------------------------------------------------------------------------


def on_turf(
    facts: SignFacts, sign: Seen, found: Sequence[Spell], bounds: Sequence[Bound], place: Place
) -> tuple[list[LawnPatch], list[Derived]]:
    """The patches of turf under a sign's spells, with their deadlines; none where it lies on no turf."""
    if not sign.on_turf:
        return [], []
    covering = own_bounds(sign, facts.looks, facts.clearings)
    covering += [bound for bound in bounds if does_cover(bound, sign)]
    repaired = [one.at for one in facts.mentions if one.noun == "repair"]
    clocks = [lawn_clock(sign, spell, covering, repaired, place) for spell in found]
    ended = [cleared for spell in found if (cleared := completing(spell)) is not None]
    followups = [lawn_followup(sign, cleared, facts.looks, place) for cleared in ended]
    return [patch for patch, _ in clocks], [*(clock for _, clock in clocks), *followups]


def lawn_clock(
    sign: Seen, spell: Spell, covering: Sequence[Bound], repaired: Sequence[datetime], place: Place
) -> tuple[LawnPatch, Derived]:
    """The patch of turf under one spell, and its deadline, whose outcome is the patch's verdict."""
    bound = latest_bound(covering, spell.start.at)
    due = lawn.soil_due(spell.start.at, bound, place)
    cleared = completing(spell)
    cleared_at = None if cleared is None else cleared.at
    turf = [one.turf for one in spell.looks if one.turf is not None]
    harmed_at = max((one.at for one in spell.looks if one.turf in ("thin", "dead")), default=None)
    verdict = lawn.soil_verdict(cleared_at, due, bound=bound, was_dead="dead" in turf)
    last_turf = turf[-1] if turf else None
    patch = LawnPatch(
        sign_id=sign.id,
        starting_fact_id=spell.start.id,
        property_id=sign.property_id,
        started_at=spell.start.at,
        earliest_at=None if bound is None else bound.at,
        earliest_from="unknown" if bound is None else bound.kind,
        due_at=due.due_at,
        cleared_at=cleared_at,
        count=sign.count if isinstance(spell.start, Seen) else None,
        cleared_count=cleared_count(spell),
        verdict=verdict,
        turf=last_turf,
        outcome=lawn.outcome_of(verdict, last_turf),
        area_m2=lawn.soil_m2(sign.length_mm, sign.width_mm, sign.count),
        repaired_at=lawn.first_repair(harmed_at, repaired),
    )
    clock = deadline("lawn", sign, spell.start, due, cleared, place)
    return patch, clock if cleared is None else msgspec.structs.replace(clock, outcome=verdict)


def run_look(sign: Seen, tamped: Tamped, looks: Sequence[Looked], place: Place) -> Derived:
    """A run that was pressed flat is looked at again by the end of the next local day (common practice)."""
    due = day_end_due(tamped.at, place, 1, "Run: a look by the end of the day after tamping", "run_look")
    after = in_order([one for one in looks if one.at > tamped.at])
    return deadline("run_look", sign, tamped, due, after[0] if after else None, place)


def lawn_followup(sign: Seen, cleared: Cleared, looks: Sequence[Looked], place: Place) -> Derived:
    """Turf that soil lay on is looked at again within the policy's days (7 by common practice) of its clearing."""
    days = lawn.policy_at(cleared.at, place).followup_days
    rule = f"Lawn: a look at the turf within {days} days of clearing"
    due = day_end_due(cleared.at, place, days, rule, "lawn_followup")
    after = in_order([one for one in looks if one.at > cleared.at and one.turf is not None])
    return deadline("lawn_followup", sign, cleared, due, after[0] if after else None, place)


def deadline(kind: Kind, sign: Seen, start: Fact, due: Due, met_by: Fact | None, place: Place) -> Derived:
    """One deadline of the sign: open without `met_by`, else met or late by its instant."""
    state: State = "open" if met_by is None else "met" if is_met(met_by.at, due) else "late"
    met_at = None if met_by is None else met_by.at
    return Derived(
        kind=kind,
        subject_id=sign.id,
        starting_fact_id=start.id,
        property_id=sign.property_id,
        started_at=start.at,
        due_at=due.due_at,
        state=state,
        met_at=met_at,
        met_by_fact_id=None if met_by is None else met_by.id,
        outcome=None if met_by is None else state,
        why=explain(STARTED_BY[type(start)], start.at, due, place, task=TASK[kind], met_at=met_at),
    )
