"""What a record of any kind accounts for, as a function of the facts known at its end. Pure."""

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from service.cautions.models import CautionLine, Met
from service.cautions.rules import cautions_for, merged
from service.claims.models import Period, Presence
from service.claims.rules import claims, statement, treatments
from service.records.facts import Around, Caught, PropertyFacts, Scope, SetPlacing, SoilCleared
from service.records.lines import Animals, SetLine, TreatmentsSaid
from service.records.models import Account
from service.records.set_lines import (
    at_end,
    check_lines,
    methods_used,
    next_due,
    nights,
    notice_on,
    place_of,
    set_lines,
)
from service.records.turf_lines import brought_turf, opening_lines, turf_figures, turf_lines
from service.sets.models import IN_THE_GROUND

DEAD = ("dead_in_trap", "dispatched")


def account(
    around: Around,
    scope: Scope,
    period: Period,
    facts: PropertyFacts,
    visits: Sequence[Presence],
    *,
    target: str | None,
    states_none: bool,
) -> Account:
    """The account of the record's own facts, and of how the property stood at its end.

    `visits` are those of the period, which the claims rest on; `target` is the animal of a set or catch that
    says none; `states_none`: that there was no treatment is stated.
    """
    zone, place = ZoneInfo(around.zone), place_of(around)
    used = treatments(facts.applied, period, around.methods)
    by_us, known = claims(period, visits, used, zone, facts.tenure_from)
    placings = {one.set_id: one for one in facts.placings if scope.is_seen(one.visit_id, one.placed_at)}
    ends = at_end(place, scope, placings, facts.checks, facts.set_repairs)
    lines = set_lines(scope, placings, facts.checks, ends)
    targets, others = _animals(facts.caught, placings, target)
    turf, openings = turf_lines(place, scope, facts, ends), opening_lines(scope, facts, ends)
    said: TreatmentsSaid = "listed" if used else "none_stated" if states_none else "none_known"
    return Account(
        methods=methods_used(lines, facts.caught, around.methods),
        sets=lines,
        checks=check_lines(scope, facts.checks),
        trap_nights=nights(sum(ends[line.set_id].half_nights for line in lines)),
        catches=targets,
        other_animals=others,
        mounds_cleared=_mounds_cleared(scope, facts.clearings),
        turf=turf,
        openings=openings,
        turf_figures=turf_figures(turf, openings),
        repairs=sorted(facts.repairs, key=lambda one: (one.repaired_at, one.repair_id.bytes)),
        treatments_said=said,
        treatments=used,
        pesticide_free_by_us=by_us,
        pesticide_known_at_property=known,
        statement=statement(by_us, known, zone),
        cautions=_cautions(around, target, facts.caught, lines, placings),
        told=sorted(facts.told, key=lambda one: (one.told_at, one.told_id.bytes)),
        next_due=next_due(lines, ends),
        notice=notice_on(lines, ends),
    )


def rested_on(scope: Scope, facts: PropertyFacts, stated: Account) -> set[UUID]:
    """The visits that brought what the account states; a stand-alone treatment was brought by none."""
    sets = {line.set_id for line in stated.sets} | {line.set_id for line in stated.openings}
    sets |= {line.set_id for line in stated.turf if line.set_id is not None}
    used = {one.id for one in stated.treatments}
    brought = {one.visit_id for one in facts.applied if one.id in used}
    brought |= {
        one.visit_id
        for one in facts.placings
        if one.set_id in sets and scope.is_seen(one.visit_id, one.placed_at)
    }
    brought |= {
        one.visit_id
        for one in facts.checks
        if one.set_id in sets and scope.is_seen(one.visit_id, one.checked_at)
    }
    brought |= {
        one.visit_id
        for one in facts.set_repairs
        if one.set_id in sets and scope.is_seen(one.visit_id, one.at)
    }
    brought |= {one.visit_id for one in facts.clearings if scope.is_own(one.visit_id, one.cleared_at)}
    brought |= brought_turf(scope, facts, stated.turf)
    return {*stated.pesticide_known_at_property.visit_ids, *(one for one in brought if one is not None)}


def _animals(
    caught: Sequence[Caught], placings: Mapping[UUID, SetPlacing], target: str | None
) -> tuple[list[Animals], list[Animals]]:
    """Targets and other animals; the target is the set's, else the job's; where none is stated, all are."""
    targets: Counter[tuple[str, str, str, Any]] = Counter()
    others: Counter[tuple[str, str, str, Any]] = Counter()
    for one in caught:
        placing = None if one.set_id is None else placings.get(one.set_id)
        wanted = (placing.target if placing else None) or one.job_target or target
        kind = (one.species, one.sex or "unknown", one.age_class or "unknown", one.fate)
        is_target = wanted is None or one.species == wanted or one.species.startswith(f"{wanted} ")
        (targets if is_target else others)[kind] += 1
    return _counted(targets), _counted(others)


def _counted(kinds: Counter[tuple[str, str, str, Any]]) -> list[Animals]:
    return [
        Animals(species=species, sex=sex, age_class=age_class, fate=fate, count=count)
        for (species, sex, age_class, fate), count in sorted(kinds.items())
    ]


def _mounds_cleared(scope: Scope, clearings: Sequence[SoilCleared]) -> int:
    """Mounds that we cleared by the record's own clearings; one without a count took what was left of the sign's."""
    left: dict[UUID, int] = {}
    cleared = 0
    for one in sorted(clearings, key=lambda one: (one.cleared_at, one.visit_id.bytes, one.id.bytes)):
        if one.is_mound is False or not scope.is_seen(one.visit_id, one.cleared_at):
            continue
        before = left.get(one.sign_id, one.sign_count or 1)
        taken = before if one.count is None else one.count
        left[one.sign_id] = max(before - taken, 0)
        if one.by_us and scope.is_own(one.visit_id, one.cleared_at):
            cleared += taken
    return cleared


def _cautions(
    around: Around,
    target: str | None,
    caught: Sequence[Caught],
    lines: Sequence[SetLine],
    placings: Mapping[UUID, SetPlacing],
) -> list[CautionLine]:
    """What the place, the animals caught and the sets in the ground at the record's end call up."""
    met = [
        Met(
            has_set=False,
            hazards=around.hazards,
            undermined_paving=around.paving_undermined,
            dead_animal=any(one.fate in DEAD for one in caught),
        )
    ]
    met += [
        Met(
            mechanism=one.mechanism,
            target=one.target or target,
            hazards=around.hazards,
            foot_traffic=one.foot_traffic,
            depth_mm=one.depth_mm,
            cover_on_turf=bool(one.cover_on_turf),
        )
        for one in (placings[line.set_id] for line in lines if line.state in IN_THE_GROUND)
    ]
    return merged(map(cautions_for, met))
