"""The sets of a visit's record: what was done with each, and how it stood at the visit's end. Pure."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, NamedTuple
from uuid import UUID

from service.deadlines.models import Place
from service.deadlines.why import NOTICE, readings
from service.methods.rules import class_of
from service.records.facts import Head, SetCheck, SetPlacing
from service.records.models import CheckLine, Done, MethodUsed, NextDue, SetLine
from service.sets.models import IN_THE_GROUND, SetFacts, SetState
from service.sets.rules import derive


class AtEnd(NamedTuple):
    """What followed from the facts of a set as at the visit's end: its state, and the looks owed to it.

    `readings` say how old the texts are that the looks rest on.
    """

    state: SetState
    owed: list[NextDue]
    readings: list[str]


def is_seen(head: Head, visit_id: UUID, at: datetime) -> bool:
    """Whether a fact counts for the record: not later than the visit's end, or stated by the visit itself."""
    return at <= head.ended_at or visit_id == head.id


def own_checks(head: Head, checks: Sequence[SetCheck]) -> list[SetCheck]:
    """The visit's own looks, in order."""
    own = [one for one in checks if one.visit_id == head.id]
    return sorted(own, key=lambda one: (one.checked_at, one.id.bytes))


def at_end(head: Head, placings: Mapping[UUID, SetPlacing], checks: Sequence[SetCheck]) -> dict[UUID, AtEnd]:
    """By set id, how each set stood at the visit's end; `placings` are those that count."""
    place = Place(
        property_id=head.property_id,
        zone=head.zone,
        house_policies=head.house_policies,
        region=head.region,
        county=head.county,
        locality=head.locality,
        position=head.position,
        packs=head.packs,
    )
    of_set: dict[UUID, list[SetCheck]] = defaultdict(list)
    for check in checks:
        if is_seen(head, check.visit_id, check.checked_at):
            of_set[check.set_id].append(check)
    found = {}
    for set_id in placings.keys() | of_set.keys():
        facts = SetFacts(set_id=set_id, placing=placings.get(set_id), checks=list(of_set[set_id]))
        book = derive(facts, place)
        if book.state is not None:
            still_open = [one for one in book.deadlines if one.state == "open"]
            found[set_id] = AtEnd(
                book.state,
                [NextDue(set_id=set_id, kind=one.kind, due_at=one.due_at) for one in still_open],
                [text for one in still_open for text in readings(one.why.rules)],
            )
    return found


def set_lines(
    head: Head,
    placings: Mapping[UUID, SetPlacing],
    checks: Sequence[SetCheck],
    ends: Mapping[UUID, AtEnd],
) -> list[SetLine]:
    """The sets that the visit touched or that stood at its end, by id."""
    done: dict[UUID, list[Done]] = {
        set_id: ["placed"] for set_id, one in placings.items() if one.visit_id == head.id
    }
    for check in own_checks(head, checks):
        steps = done.setdefault(check.set_id, [])
        steps += ["checked"] if check.action == "left" else ["checked", check.action]
    return [
        _line(set_id, done.get(set_id, []), placings.get(set_id), ends[set_id].state)
        for set_id in sorted(ends, key=lambda one: one.bytes)
        if set_id in done or ends[set_id].state.state in IN_THE_GROUND
    ]


def check_lines(head: Head, checks: Sequence[SetCheck]) -> list[CheckLine]:
    """The visit's own looks, in order, as a record prints them."""
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
        for one in own_checks(head, checks)
    ]


def methods_used(lines: Sequence[SetLine]) -> list[MethodUsed]:
    """The mechanisms that the visit placed or looked at, each with its class."""
    used = sorted({line.mechanism for line in lines if line.mechanism is not None and line.done})
    return [
        MethodUsed(method=one, method_class=known.name, breaks_claim=known.breaks_claim, ground=known.ground)
        for one in used
        for known in [class_of(one)]
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


def _line(set_id: UUID, done: list[Done], placing: SetPlacing | None, state: SetState) -> SetLine:
    longitude, latitude = _e7(placing.position if placing else None)
    return SetLine(
        set_id=set_id,
        done=list(dict.fromkeys(done)),
        state=state.state,
        mechanism=placing.mechanism if placing else None,
        traps=len(placing.trap_nos) if placing else None,
        longitude_e7=longitude,
        latitude_e7=latitude,
        trap_nights=nights(state.trap_half_nights) if placing else None,
    )


def _e7(position: dict[str, Any] | None) -> tuple[int | None, int | None]:
    if position is None:
        return None, None
    longitude, latitude = position["coordinates"][:2]
    return round(longitude * 10_000_000), round(latitude * 10_000_000)
