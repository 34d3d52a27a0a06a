"""Which facts of one set count, in which order, and which do not fit beside the others. Pure."""

from collections.abc import Sequence
from datetime import datetime
from typing import NamedTuple
from uuid import UUID
from zoneinfo import ZoneInfo

from service.conflicts.models import Conflict
from service.deadlines.models import Place
from service.sets.models import Check, Mention, SetFacts

ENDED_FOR_GOOD = ("pulled", "moved")


class Fitting(NamedTuple):
    """A set's checks sorted out; the last of `looks` is the `ending` where one ended the set for good.

    `words` are a monitor's checks, which look at nothing.
    """

    words: list[Check]
    early: list[Check]
    looks: list[Check]
    ending: Check | None
    late: list[Check]


def in_order(checks: Sequence[Check]) -> list[Check]:
    """By instant, visit and id, never by arrival."""
    return sorted(checks, key=lambda one: (one.checked_at, one.visit_id.bytes, one.id.bytes))


def fit(facts: SetFacts) -> Fitting:
    """What counts: from the placing, which is first of its instant, to the first `pulled` or `moved`.

    A monitor's word is a contact, never a look.
    """
    found = Fitting([], [], [], None, [])
    for check in in_order(facts.checks):
        if facts.placing is not None and check.checked_at < facts.placing.placed_at:
            found.early.append(check)
        elif found.ending is not None:
            found.late.append(check)
        elif check.checked_by == "monitor":
            found.words.append(check)
        else:
            found.looks.append(check)
            if check.action in ENDED_FOR_GOOD:
                found = found._replace(ending=check)
    return found


def moved_to(facts: SetFacts) -> UUID | None:
    """The set that says it was moved from this one: the first of those that do."""
    moves = [one for one in facts.mentions if one.noun == "set"]
    first = min(moves, key=lambda one: (one.at, one.visit_id.bytes, one.fact_id.bytes), default=None)
    return None if first is None else first.fact_id


def conflicts_of(
    facts: SetFacts, fitting: Fitting, place: Place | None, *, has_ended: bool
) -> list[Conflict]:
    """Every fact that does not fit; `place` is the set's property, None where only mentions are left."""
    if facts.placing is None or place is None:
        found = [awaited(facts.set_id, one.id, "check", one) for one in in_order(facts.checks)]
        found += [awaited(facts.set_id, one.fact_id, one.noun, one) for one in facts.mentions]
    else:
        placed_at = clock(facts.placing.placed_at, place)
        found = [before_placing(facts.set_id, one, placed_at) for one in fitting.early]
        if not has_ended:
            found += [not_moved(facts.set_id, one) for one in facts.mentions if one.noun == "set"]
    if place is not None:
        others = [one for one in in_order(facts.checks) if one.property_id != place.property_id]
        found += [other_property(facts.set_id, one) for one in others]
        if fitting.ending is not None:
            found += [after_end(facts.set_id, one, fitting.ending, place) for one in fitting.late]
    if fitting.ending is not None and fitting.ending.action == "moved" and moved_to(facts) is None:
        found.append(without_new_set(facts.set_id, fitting.ending))
    return found


def clock(at: datetime, place: Place) -> str:
    """An instant as the people there read it."""
    return f"{at.astimezone(ZoneInfo(place.zone)):%Y-%m-%d %H:%M} ({place.zone})"


def awaited(set_id: UUID, fact_id: UUID, noun: str, one: Check | Mention) -> Conflict:
    """A fact names a set that is in no visit yet."""
    sentence = f"This {noun} names a set that no visit places yet; send that visit or mend the set's id."
    return conflict("set_awaited", set_id, fact_id, one, sentence)


def before_placing(set_id: UUID, check: Check, placed_at: str) -> Conflict:
    """A check lies before the placing of its set and changes nothing."""
    sentence = (
        f"The set was placed after this check, {placed_at}; mend `checked_at` here or `placed_at` there."
    )
    return conflict("check_before_placing", set_id, check.id, check, sentence)


def after_end(set_id: UUID, check: Check, ending: Check, place: Place) -> Conflict:
    """A check lies after the set ended for good and changes nothing; two phones may both have pulled it."""
    is_second = check.action in ENDED_FOR_GOOD and check.checked_by != "monitor"
    said = f"The set was {ending.action} before this check, {clock(ending.checked_at, place)}"
    sentence = f"{said}; withdraw the one that is wrong, or give the set that stands there an id of its own."
    return conflict("ended_twice" if is_second else "check_after_end", set_id, check.id, check, sentence)


def other_property(set_id: UUID, check: Check) -> Conflict:
    """A check counts, but was made at another property than its set's."""
    sentence = (
        "This check is of a visit at another property than its set's; mend the visit's property or `set_id`."
    )
    return conflict("other_property", set_id, check.id, check, sentence)


def without_new_set(set_id: UUID, check: Check) -> Conflict:
    """The set was moved, and nobody says where to."""
    sentence = "The set was moved, but no set names it in `moved_from_set_id`; send the new set."
    return conflict("move_without_new_set", set_id, check.id, check, sentence)


def not_moved(set_id: UUID, mention: Mention) -> Conflict:
    """A new set says it was moved from here, and this one still stands."""
    sentence = "The set that this one was moved from still stands in the book; send the check that moved it."
    return conflict("new_set_without_move", set_id, mention.fact_id, mention, sentence)


def conflict(kind: str, set_id: UUID, fact_id: UUID, fact: Check | Mention, sentence: str) -> Conflict:
    """A conflict of the set, about one fact of one visit."""
    return Conflict(
        kind=kind,
        subject_id=set_id,
        property_id=fact.property_id,
        visit_id=fact.visit_id,
        fact_id=fact_id,
        sentence=sentence,
    )
