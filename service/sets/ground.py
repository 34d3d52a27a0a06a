"""What stands in the ground after each look at one set, and how long its traps fished. Pure."""

from typing import NamedTuple
from zoneinfo import ZoneInfo

from service.facts.models import Action
from service.kernel.days import local_date
from service.sets.models import Check, Ending, SetFacts, State

ENDING: dict[Action, Ending] = {"pulled": "pulled", "moved": "moved", "lost": "lost"}
ARMED_AGAIN = ("armed", "reset")
SPRUNG = ("sprung_empty", "catch")


class Ground(NamedTuple):
    """What stands in the ground after a look; traps by their numbers."""

    ended: Ending | None = None
    is_missing: bool = False
    is_safe: bool = False
    sprung: frozenset[int] = frozenset()
    missing: frozenset[int] = frozenset()


class Step(NamedTuple):
    """One look that counts, and the ground before and after it."""

    look: Check
    before: Ground
    after: Ground


def trap_nos(facts: SetFacts) -> frozenset[int]:
    """The numbers of the set's traps; while the placing is not known, one trap stands for all."""
    return frozenset(facts.placing.trap_nos) if facts.placing is not None else frozenset({0})


def walk(nos: frozenset[int], looks: list[Check]) -> list[Step]:
    """The ground before and after each look, in order."""
    steps: list[Step] = []
    ground = Ground()
    for look in looks:
        after = after_look(ground, look, nos)
        steps.append(Step(look, ground, after))
        ground = after
    return steps


def after_look(before: Ground, look: Check, nos: frozenset[int]) -> Ground:
    """The ground as a look leaves it.

    `armed` and `reset` set every trap that is there; a sprung trap stays sprung until then; `made_safe` holds
    until then too; a look that finds a missing trap finds it as it was.
    """
    is_armed = look.action in ARMED_AGAIN
    return Ground(
        ended=ENDING.get(look.action),
        is_missing=look.finding == "missing",
        is_safe=not is_armed and (before.is_safe or look.action == "made_safe"),
        sprung=frozenset() if is_armed else before.sprung | sprung_traps(before, look, nos),
        missing=missing_traps(look, nos),
    )


def sprung_traps(before: Ground, look: Check, nos: frozenset[int]) -> frozenset[int]:
    """The traps that a look found sprung: those that it or its catches name.

    Where it names none, it means the one that was left sprung before, else any one that was there.
    """
    named = nos & ({one.no for one in look.traps if one.finding in SPRUNG} | set(look.caught_in))
    if named or look.finding not in SPRUNG:
        return frozenset(named)
    return before.sprung or frozenset(sorted(nos - before.missing or nos)[:1])


def missing_traps(look: Check, nos: frozenset[int]) -> frozenset[int]:
    """Which of these traps a look did not find: those that it names, else all where the set was missing."""
    named = nos & {one.no for one in look.traps if one.finding == "missing"}
    return named if named or look.finding != "missing" else nos


def fishing(ground: Ground, nos: frozenset[int]) -> frozenset[int]:
    """The traps that can catch."""
    if ground.ended or ground.is_safe:
        return frozenset()
    return nos - ground.sprung - ground.missing


def word_of(ground: Ground) -> State:
    """The state in one word; a trap that is missing is so whatever was done to the others."""
    if ground.ended:
        return ground.ended
    if ground.is_missing:
        return "missing"
    return "made_safe" if ground.is_safe else "standing"


def half_nights(facts: SetFacts, steps: list[Step], zone: ZoneInfo) -> int:
    """Twice the trap-nights, so that halves stay whole: local nights between looks, times the traps fishing.

    A trap that a look finds sprung, by whatever animal or none, fished for half that interval (Nelson and
    Clark 1973, J. Mammal. 54:295-298); so, by the same reasoning, did one that it finds missing. A trap made
    safe, left sprung or missing does not fish. Nothing is counted while the placing is not known.
    """
    if facts.placing is None:
        return 0
    nos = frozenset(facts.placing.trap_nos)
    total, since = 0, facts.placing.placed_at
    for look, before, _ in steps:
        nights = max(0, (local_date(look.checked_at, zone) - local_date(since, zone)).days)
        fished = fishing(before, nos)
        halved = fished & (sprung_traps(before, look, nos) | missing_traps(look, nos))
        total += nights * (2 * len(fished) - len(halved))
        since = look.checked_at
    return total
