"""When a day ends where, and how the rows of a round make its stops. Pure."""

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from uuid import UUID
from zoneinfo import ZoneInfo

from service.cautions.models import CautionLine, Met
from service.cautions.rules import cautions_for, merged
from service.kernel.days import next_day, start_of_day
from service.kernel.errors import Refused
from service.rounds.models import DeadlineThere, PlaceDue, SetThere, Stop, StopDeadline, StopSet

_DAY = re.compile(r"(19[0-9]{2}|2[01][0-9]{2})-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])")


def day_named(text: str) -> date:
    """The date that `YYYY-MM-DD` names; `unreadable` where it has no such form, `not_found` as 30 February."""
    if _DAY.fullmatch(text) is None:
        raise Refused("unreadable", "A day is written as year, month and day, 2026-05-15 for example.")
    try:
        return date.fromisoformat(text)
    except ValueError as wrong:
        raise Refused("not_found", f"The calendar has no {text}; ask for a day that it has.") from wrong


def end_of(day: date, zone: str) -> datetime:
    """The instant at which the local day ends: where the next one that exists begins."""
    known = ZoneInfo(zone)
    return start_of_day(next_day(day, known), known)


def stops(
    places: Iterable[PlaceDue], sets: Iterable[SetThere], deadlines: Iterable[DeadlineThere]
) -> list[Stop]:
    """The stops in the order of the places; sets and deadlines keep theirs."""
    sets_at: dict[UUID, list[SetThere]] = defaultdict(list)
    for one in sets:
        sets_at[one.property_id].append(one)
    deadlines_at: dict[UUID, list[DeadlineThere]] = defaultdict(list)
    for deadline in deadlines:
        deadlines_at[deadline.property_id].append(deadline)
    return [_stop(one, sets_at[one.property_id], deadlines_at[one.property_id]) for one in places]


def _stop(place: PlaceDue, sets: Sequence[SetThere], deadlines: Sequence[DeadlineThere]) -> Stop:
    return Stop(
        property_id=place.property_id,
        name=place.name,
        zone=place.zone,
        address=place.address,
        locality=place.locality,
        access_notes=place.access_notes,
        position=place.position,
        hazards=list(place.hazards),
        earliest_due_at=place.earliest_due_at,
        sets=[_set(one) for one in sets],
        deadlines=[_deadline(one) for one in deadlines],
        cautions=_cautions(place, sets),
    )


def _cautions(place: PlaceDue, sets: Sequence[SetThere]) -> list[CautionLine]:
    """What the place itself and each set there call up, said once."""
    met = [Met(has_set=False, hazards=place.hazards, undermined_paving=place.undermined_paving)]
    met += [
        Met(
            mechanism=one.mechanism,
            target=one.target,
            hazards=place.hazards,
            foot_traffic=one.foot_traffic,
            depth_mm=one.depth_mm,
            cover_on_turf=bool(one.cover_on_turf),
        )
        for one in sets
    ]
    return merged(map(cautions_for, met))


def _set(one: SetThere) -> StopSet:
    return StopSet(
        id=one.id,
        mechanism=one.mechanism,
        target=one.target,
        position=one.position,
        state=one.state,
        deadline_id=one.deadline_id,
        due_at=one.due_at,
        why=one.why,
    )


def _deadline(one: DeadlineThere) -> StopDeadline:
    return StopDeadline(
        id=one.id, kind=one.kind, set_id=one.set_id, sign_id=one.sign_id, due_at=one.due_at, why=one.why
    )
