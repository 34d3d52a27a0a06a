"""The sets of a record: what was done with each, and how it stood at the record's end. Pure."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple
from uuid import UUID

from msgspec.structs import replace

from service.deadlines.models import Place
from service.deadlines.why import NOTICE, readings
from service.lawn.models import LawnPatch
from service.methods.models import NewMethod
from service.methods.rules import class_of
from service.records.facts import Around, Caught, Scope, SetCheck, SetPlacing, SetRepaired
from service.records.lines import CheckLine, Done, MethodUsed, NextDue, SetLine
from service.sets.models import IN_THE_GROUND, SetBook, SetFacts, SetState
from service.sets.rules import derive


class AtEnd(NamedTuple):
    """What followed from the facts of a set as at a record's end: its state, and the looks owed to it.

    `half_nights` are twice the trap-nights that the record counts, `covers` the patches of turf under its cover;
    `readings` say how old the texts are that the looks rest on.
    """

    state: SetState
    half_nights: int
    covers: list[LawnPatch]
    owed: list[NextDue]
    readings: list[str]


def place_of(around: Around) -> Place:
    """The property as the arithmetic of deadlines asks for it."""
    return Place(
        property_id=around.property_id,
        zone=around.zone,
        house_policies=around.house_policies,
        region=around.region,
        county=around.county,
        locality=around.locality,
        position=around.position,
        packs=around.packs,
    )


def own_checks(scope: Scope, checks: Sequence[SetCheck]) -> list[SetCheck]:
    """The record's own looks, in order."""
    own = [one for one in checks if scope.is_own(one.visit_id, one.checked_at)]
    return sorted(own, key=lambda one: (one.checked_at, one.visit_id.bytes, one.id.bytes))


def at_end(
    place: Place,
    scope: Scope,
    placings: Mapping[UUID, SetPlacing],
    checks: Sequence[SetCheck],
    repairs: Sequence[SetRepaired],
) -> dict[UUID, AtEnd]:
    """By set id, how each set stood at the record's end; `placings` are those that count."""
    looks_at: dict[UUID, list[SetCheck]] = defaultdict(list)
    for check in checks:
        if scope.is_seen(check.visit_id, check.checked_at):
            looks_at[check.set_id].append(check)
    repairs_at: dict[UUID, list[SetRepaired]] = defaultdict(list)
    for repair in repairs:
        if scope.is_seen(repair.visit_id, repair.at):
            repairs_at[repair.set_id].append(repair)
    found = {}
    for set_id in placings.keys() | looks_at.keys():
        facts = SetFacts(
            set_id=set_id,
            placing=placings.get(set_id),
            checks=list(looks_at[set_id]),
            mentions=list(repairs_at[set_id]),
        )
        book = derive(facts, place)
        if book.state is not None:
            before = 0 if scope.visit_id is not None else _half_nights_before(scope, facts, place)
            found[set_id] = _at_end(book, book.state, book.state.trap_half_nights - before)
    return found


def _at_end(book: SetBook, state: SetState, half_nights: int) -> AtEnd:
    still_open = [one for one in book.deadlines if one.state == "open"]
    return AtEnd(
        state,
        half_nights,
        book.patches,
        [NextDue(set_id=state.set_id, kind=one.kind, due_at=one.due_at) for one in still_open],
        [text for one in still_open for text in readings(one.why.rules)],
    )


def _half_nights_before(scope: Scope, facts: SetFacts, place: Place) -> int:
    """Twice the trap-nights of the looks before a month began."""
    earlier = [one for one in facts.checks if one.checked_at < scope.from_at]
    book = derive(replace(facts, checks=earlier), place)
    return 0 if book.state is None else book.state.trap_half_nights


def set_lines(
    scope: Scope,
    placings: Mapping[UUID, SetPlacing],
    checks: Sequence[SetCheck],
    ends: Mapping[UUID, AtEnd],
) -> list[SetLine]:
    """The sets that the record's own facts touch or that stood at its end, by id."""
    done: dict[UUID, list[Done]] = {
        set_id: ["placed"] for set_id, one in placings.items() if scope.is_own(one.visit_id, one.placed_at)
    }
    for check in own_checks(scope, checks):
        steps = done.setdefault(check.set_id, [])
        steps += ["checked"] if check.action == "left" else ["checked", check.action]
    return [
        _line(set_id, done.get(set_id, []), placings.get(set_id), ends[set_id])
        for set_id in sorted(ends, key=lambda one: one.bytes)
        if set_id in done or ends[set_id].state.state in IN_THE_GROUND
    ]


def check_lines(scope: Scope, checks: Sequence[SetCheck]) -> list[CheckLine]:
    """The record's own looks, in order, as it prints them."""
    return [
        CheckLine(
            check_id=one.id,
            set_id=one.set_id,
            checked_at=one.checked_at,
            checked_by=one.checked_by,
            finding=one.finding,
            action=one.action,
            ground_searched=one.ground_searched,
        )
        for one in own_checks(scope, checks)
    ]


def methods_used(
    lines: Sequence[SetLine], caught: Sequence[Caught], own: Sequence[NewMethod]
) -> list[MethodUsed]:
    """The mechanisms placed or looked at, and how animals were taken without a set, each with its class.

    `own` are methods that the business classed itself.
    """
    used = {line.mechanism for line in lines if line.mechanism is not None and line.done}
    used |= {one.method for one in caught if one.method is not None}
    return [
        MethodUsed(
            method=one,
            method_class=known.of.name,
            breaks_claim=known.of.breaks_claim,
            ground=known.ground,
        )
        for one in sorted(used)
        for known in [class_of(one, own)]
    ]


def next_due(lines: Sequence[SetLine], ends: Mapping[UUID, AtEnd]) -> list[NextDue]:
    """The looks owed to these sets, the soonest first."""
    owed = [one for line in lines for one in ends[line.set_id].owed]
    return sorted(owed, key=lambda one: (one.due_at, one.kind, one.set_id.bytes))


def notice_on(lines: Sequence[SetLine], ends: Mapping[UUID, AtEnd]) -> str:
    """What comes first, and how old each text is that a look owed rests on."""
    read = sorted({text for line in lines for text in ends[line.set_id].readings})
    return " ".join([NOTICE, *read])


def nights(half_nights: int) -> str:
    """Half trap-nights as a decimal of trap-nights."""
    return f"{half_nights // 2}{'.5' if half_nights % 2 else ''}"


def _line(set_id: UUID, done: list[Done], placing: SetPlacing | None, end: AtEnd) -> SetLine:
    longitude, latitude = _e7(placing.position if placing else None)
    return SetLine(
        set_id=set_id,
        done=list(dict.fromkeys(done)),
        moved_from_set_id=placing.moved_from_set_id if placing else None,
        state=end.state.state,
        mechanism=placing.mechanism if placing else None,
        traps=len(placing.trap_nos) if placing else None,
        longitude_e7=longitude,
        latitude_e7=latitude,
        trap_nights=nights(end.half_nights) if placing else None,
    )


def _e7(position: dict[str, Any] | None) -> tuple[int | None, int | None]:
    if position is None:
        return None, None
    longitude, latitude = position["coordinates"][:2]
    return round(longitude * 10_000_000), round(latitude * 10_000_000)
