"""What a visit's record states, as a function of the facts as at the visit's end. Pure."""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

import msgspec

from service.cautions.models import CautionLine, Met
from service.cautions.rules import cautions_for, merged
from service.claims.models import Presence
from service.claims.rules import claims, period_of, statement, treatments
from service.identity.models import Licence
from service.kernel.canonical import canonical, sha256
from service.kernel.days import local_date
from service.kernel.errors import Refused
from service.records.facts import Caught, Head, SetPlacing, SoilCleared, VisitFacts
from service.records.models import (
    Animals,
    Content,
    LicenceLine,
    Party,
    SetLine,
    VisitContent,
    WithdrawnContent,
)
from service.records.set_lines import (
    at_end,
    check_lines,
    is_seen,
    methods_used,
    next_due,
    nights,
    notice_on,
    set_lines,
)
from service.sets.models import IN_THE_GROUND

_MONTH = re.compile(r"(19[0-9]{2}|2[01][0-9]{2})-(0[1-9]|1[0-2])")

DEAD = ("dead_in_trap", "dispatched")


def content(facts: VisitFacts) -> VisitContent:
    """The content of the record of a visit that is not withdrawn.

    It takes facts with instants up to the visit's end, whoever brought them, and all that the visit itself
    states; the order of the lists does not matter.
    """
    head = facts.head
    zone = ZoneInfo(head.zone)
    period = period_of(presence(head), facts.visits)
    used = treatments(facts.applied, period)
    by_us, known = claims(period, facts.visits, used)
    placings = {one.set_id: one for one in facts.placings if is_seen(head, one.visit_id, one.placed_at)}
    ends = at_end(head, placings, facts.checks)
    lines = set_lines(head, placings, facts.checks, ends)
    targets, others = _animals(facts.caught, placings, head.target)
    return VisitContent(
        visit_id=head.id,
        property_id=head.property_id,
        customer_id=facts.customer_id,
        zone=head.zone,
        region=head.region,
        service_on=local_date(head.arrived_at, zone),
        arrived_at=head.arrived_at,
        ended_at=head.ended_at,
        arrived_local=head.arrived_at.astimezone(zone).isoformat(),
        ended_local=head.ended_at.astimezone(zone).isoformat(),
        outcome=head.outcome,
        worker_id=head.worker_id,
        with_worker_ids=sorted(head.with_worker_ids),
        job_id=head.job_id,
        target=head.target,
        methods=methods_used(lines),
        sets=lines,
        checks=check_lines(head, facts.checks),
        trap_nights=nights(sum(ends[line.set_id].state.trap_half_nights for line in lines)),
        catches=targets,
        other_animals=others,
        mounds_cleared=_mounds_cleared(head, facts.clearings),
        repairs=sorted(facts.repairs, key=lambda one: one.repair_id.bytes),
        treatments_none=head.treatments_none,
        treatments=used,
        pesticide_free_by_us=by_us,
        pesticide_known_at_property=known,
        statement=statement(by_us, known, zone),
        cautions=_cautions(facts, lines, placings),
        told=sorted(facts.told, key=lambda one: (one.told_at, one.told_id.bytes)),
        next_due=next_due(lines, ends),
        notice=notice_on(lines, ends),
    )


def rested_on(facts: VisitFacts, stated: VisitContent) -> set[UUID]:
    """The visits that brought what the content states; a stand-alone treatment was brought by none."""
    sets = {line.set_id for line in stated.sets}
    used = {one.id for one in stated.treatments}
    brought = [one.visit_id for one in facts.applied if one.id in used]
    brought += [one.visit_id for one in facts.placings if one.set_id in sets]
    brought += [one.visit_id for one in facts.checks if one.set_id in sets]
    visits = {*stated.pesticide_known_at_property.visit_ids, stated.visit_id}
    return visits | {one for one in brought if one is not None}


def withdrawn(head: Head, customer_id: UUID | None) -> WithdrawnContent:
    """The content of the record of a visit that was withdrawn."""
    service_on = local_date(head.arrived_at, ZoneInfo(head.zone))
    return WithdrawnContent(
        visit_id=head.id,
        property_id=head.property_id,
        customer_id=customer_id,
        service_on=service_on,
        statement=f"The visit of {service_on} was withdrawn; earlier versions of its record are void.",
    )


def bytes_of(value: msgspec.Struct) -> bytes:
    """The RFC 8785 form of a record, of its content or of a party block."""
    return canonical(msgspec.to_builtins(value))


def content_digest(stated: Content) -> bytes:
    """SHA-256 that decides whether a new version is due: equal where the content is equal."""
    return sha256(bytes_of(stated))


def party_hash(party: Party) -> str:
    """SHA-256, in hex, of the party block's RFC 8785 form."""
    return sha256(bytes_of(party)).hex()


def with_party(line: str, party: Party) -> bytes:
    """A signed record as it goes out, with the persons beside it; RFC 8785 form again."""
    members = line.removeprefix('{"noun":"signed_service_record",').encode()
    return b'{"noun":"service_record_with_party","party":' + bytes_of(party) + b"," + members


def in_force(licences: Sequence[Licence], day: date) -> list[LicenceLine]:
    """The licences that had not expired on the day, as they are printed."""
    return [
        LicenceLine(number=one.number, authority=one.authority)
        for one in licences
        if one.expires_on is None or one.expires_on >= day
    ]


def duration(seconds: int) -> str:
    """ISO 8601 duration of whole seconds, never negative: a phone's clock may run ahead of ours."""
    minutes, second = divmod(max(seconds, 0), 60)
    hour, minute = divmod(minutes, 60)
    return f"PT{hour}H{minute}M{second}S"


def month_in(text: str) -> tuple[date, date]:
    """The first day of the month that `YYYY-MM` names, and of the next; `unreadable` where it names none."""
    form = _MONTH.fullmatch(text)
    if form is None:
        raise Refused("unreadable", "A month is written as year and month, 2026-05 for example.")
    year, number = int(form.group(1)), int(form.group(2))
    following = date(year + 1, 1, 1) if number == 12 else date(year, number + 1, 1)  # noqa: PLR2004 December
    return date(year, number, 1), following


def presence(head: Head) -> Presence:
    """The visit as one of the property's."""
    return Presence(
        id=head.id,
        arrived_at=head.arrived_at,
        ended_at=head.ended_at,
        treatments_none=head.treatments_none,
    )


def _animals(
    caught: Sequence[Caught], placings: Mapping[UUID, SetPlacing], target: str | None
) -> tuple[list[Animals], list[Animals]]:
    """Targets and other animals; the target is the set's, else the job's; where none is stated, all are."""
    targets: Counter[tuple[str, str, str, Any]] = Counter()
    others: Counter[tuple[str, str, str, Any]] = Counter()
    for one in caught:
        placing = None if one.set_id is None else placings.get(one.set_id)
        wanted = (placing.target if placing else None) or target
        kind = (one.species, one.sex or "unknown", one.age_class or "unknown", one.fate)
        is_target = wanted is None or one.species == wanted or one.species.startswith(f"{wanted} ")
        (targets if is_target else others)[kind] += 1
    return _counted(targets), _counted(others)


def _counted(kinds: Counter[tuple[str, str, str, Any]]) -> list[Animals]:
    return [
        Animals(species=species, sex=sex, age_class=age_class, fate=fate, count=count)
        for (species, sex, age_class, fate), count in sorted(kinds.items())
    ]


def _mounds_cleared(head: Head, clearings: Sequence[SoilCleared]) -> int:
    """Mounds that we cleared on this visit; a clearing without a count took what was left of the sign's."""
    left: dict[UUID, int] = {}
    cleared = 0
    for one in sorted(clearings, key=lambda one: (one.cleared_at, one.visit_id.bytes, one.id.bytes)):
        if one.is_mound is False or not is_seen(head, one.visit_id, one.cleared_at):
            continue
        before = left.get(one.sign_id, one.sign_count or 1)
        taken = before if one.count is None else one.count
        left[one.sign_id] = max(before - taken, 0)
        if one.visit_id == head.id and one.by_us:
            cleared += taken
    return cleared


def _cautions(
    facts: VisitFacts, lines: Sequence[SetLine], placings: Mapping[UUID, SetPlacing]
) -> list[CautionLine]:
    """What the place, the animals of the visit and the sets in the ground at its end call up."""
    head = facts.head
    met = [
        Met(
            has_set=False,
            hazards=head.hazards,
            undermined_paving=head.paving_undermined,
            dead_animal=any(one.fate in DEAD for one in facts.caught),
        )
    ]
    met += [
        Met(
            mechanism=one.mechanism,
            target=one.target or head.target,
            hazards=head.hazards,
            foot_traffic=one.foot_traffic,
            depth_mm=one.depth_mm,
            cover_on_turf=bool(one.cover_on_turf),
        )
        for one in (placings[line.set_id] for line in lines if line.state in IN_THE_GROUND)
    ]
    return merged(map(cautions_for, met))
