"""The turf of a record: what soil and covers did to it, and what our own digging opened. Pure."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from uuid import UUID

from msgspec.structs import replace

from service.deadlines.models import Place
from service.lawn.models import LawnPatch
from service.lawn.rules import ellipse_m2
from service.records.facts import BoundStated, PropertyFacts, Scope, SetCheck, SetPlacing
from service.records.lines import OpeningLine, TurfFigure, TurfFigures, TurfLine
from service.records.set_lines import AtEnd
from service.signs.models import Cleared, Looked, Mention, Seen, SignFacts
from service.signs.rules import derive


def turf_lines(
    place: Place, scope: Scope, facts: PropertyFacts, ends: Mapping[UUID, AtEnd]
) -> list[TurfLine]:
    """The patches of turf that the record's own facts touch, as the facts known at its end leave them."""
    bounds = [one for one in facts.bounds if scope.is_seen(one.visit_id, one.at)]
    found = [_line(one) for sign in facts.signs for one in _of_sign(place, scope, sign, bounds)]
    touched = _touching_sets(scope, facts)
    found += [
        _line(one)
        for set_id, end in ends.items()
        for one in end.covers
        if any(_is_touched(one, at) for at in touched.get(set_id, ()))
    ]
    return sorted(found, key=lambda one: (one.started_at, (one.sign_id or one.set_id or UUID(int=0)).bytes))


def opening_lines(scope: Scope, facts: PropertyFacts, ends: Mapping[UUID, AtEnd]) -> list[OpeningLine]:
    """What was dug open in turf by the record's own facts, or closed, or dug up again by them; by instant."""
    spoken = {one.set_id for one in facts.placings if scope.is_own(one.visit_id, one.placed_at)}
    spoken |= {
        one.set_id
        for one in facts.checks
        if one.opening_closed is not None and scope.is_own(one.visit_id, one.checked_at)
    }
    spoken |= {one.set_id for one in facts.set_repairs if scope.is_own(one.visit_id, one.at)}
    lines = [
        OpeningLine(
            set_id=one.set_id,
            opened_at=one.placed_at,
            closed_at=ends[one.set_id].state.opening_closed_at,
            area_m2=_opened_m2(one),
        )
        for one in facts.placings
        if one.opening_on_turf and one.set_id in spoken and scope.is_seen(one.visit_id, one.placed_at)
    ]
    return sorted(lines, key=lambda one: (one.opened_at, one.set_id.bytes))


def turf_figures(turf: Sequence[TurfLine], openings: Sequence[OpeningLine]) -> TurfFigures:
    """The lines added up."""
    soil = [one for one in turf if one.set_id is None]
    return TurfFigures(
        saved=_figure(one.area_m2 for one in soil if one.outcome == "saved"),
        lost=_figure(one.area_m2 for one in soil if one.outcome == "lost"),
        found_late=_figure(one.area_m2 for one in soil if one.outcome == "found_late"),
        still_lying=_figure(one.area_m2 for one in soil if one.verdict == "still_lying"),
        covered=_figure(one.area_m2 for one in turf if one.set_id is not None),
        opened=_figure(one.area_m2 for one in openings),
        opened_still=_figure(one.area_m2 for one in openings if one.closed_at is None),
    )


def brought_turf(scope: Scope, facts: PropertyFacts, turf: Sequence[TurfLine]) -> set[UUID | None]:
    """The visits that stated what the lines of soil rest on: the sign, looks, clearings, repairs, the bound."""
    shown = {one.sign_id for one in turf}
    brought: set[UUID | None] = set()
    for one in facts.signs:
        if one.sign_id in shown:
            brought |= {each.visit_id for each in _stated(seen_of(scope, one))}
    bounds = {(one.earliest_from, one.earliest_at) for one in turf}
    return brought | {one.visit_id for one in facts.bounds if (one.kind, one.at) in bounds}


def seen_of(scope: Scope, facts: SignFacts) -> SignFacts:
    """The sign with those of its facts that count for the record; its mentions are repairs alone."""
    return replace(
        facts,
        looks=[one for one in facts.looks if scope.is_seen(one.visit_id, one.at)],
        clearings=[one for one in facts.clearings if scope.is_seen(one.visit_id, one.at)],
        mentions=[one for one in facts.mentions if scope.is_seen(one.visit_id, one.at)],
    )


def _of_sign(place: Place, scope: Scope, facts: SignFacts, bounds: Sequence[BoundStated]) -> list[LawnPatch]:
    """The patches of one sign that own facts touch: each from its start to that of the next."""
    sign = facts.sign
    if sign is None or not scope.is_seen(sign.visit_id, sign.at):
        return []
    seen = seen_of(scope, facts)
    patches = derive(seen, {sign.property_id: bounds}, {sign.property_id: place}).patches
    touched = [one.at for one in _stated(seen) if scope.is_own(one.visit_id, one.at)]
    ends: list[datetime | None] = [*(one.started_at for one in patches[1:]), None]
    return [
        patch
        for patch, end in zip(patches, ends, strict=True)
        if any(patch.started_at <= at and (end is None or at < end) for at in touched)
    ]


def _stated(facts: SignFacts) -> list[Seen | Looked | Cleared | Mention]:
    """All that is stated of the sign."""
    sign = [] if facts.sign is None else [facts.sign]
    return [*sign, *facts.looks, *facts.clearings, *facts.mentions]


def _touching_sets(scope: Scope, facts: PropertyFacts) -> dict[UUID, list[datetime]]:
    """By set, the instants of own facts that may begin, end or repair a patch under its cover."""
    found: dict[UUID, list[datetime]] = {}
    own: list[tuple[UUID, UUID, datetime]] = [
        *((one.set_id, one.visit_id, one.placed_at) for one in facts.placings),
        *((one.set_id, one.visit_id, one.checked_at) for one in facts.checks if _speaks_of_cover(one)),
        *((one.set_id, one.visit_id, one.at) for one in facts.set_repairs),
    ]
    for set_id, visit_id, at in own:
        if scope.is_own(visit_id, at):
            found.setdefault(set_id, []).append(at)
    return found


def _speaks_of_cover(look: SetCheck) -> bool:
    return look.cover is not None or look.action in ("pulled", "moved", "lost")


def _is_touched(patch: LawnPatch, at: datetime) -> bool:
    return at in (patch.started_at, patch.cleared_at, patch.repaired_at) or (
        patch.started_at <= at and (patch.cleared_at is None or at < patch.cleared_at)
    )


def _opened_m2(placing: SetPlacing) -> str | None:
    length, width = placing.opening_length_mm, placing.opening_width_mm
    return None if length is None or width is None else format(ellipse_m2(length, width), "f")


def _line(patch: LawnPatch) -> TurfLine:
    return TurfLine(
        sign_id=patch.sign_id,
        set_id=patch.set_id,
        started_at=patch.started_at,
        earliest_at=patch.earliest_at,
        earliest_from=patch.earliest_from,
        due_at=patch.due_at,
        cleared_at=patch.cleared_at,
        verdict=patch.verdict,
        turf=patch.turf,
        outcome=patch.outcome,
        area_m2=None if patch.area_m2 is None else format(patch.area_m2, "f"),
        repaired_at=patch.repaired_at,
    )


def _figure(areas: Iterable[str | None]) -> TurfFigure:
    counted = list(areas)
    stated = [Decimal(one) for one in counted if one is not None]
    return TurfFigure(count=len(counted), area_m2=format(sum(stated, Decimal()), "f") if stated else None)
