"""What becomes of a visit that arrives: new, same or amended, refused, warned of. Pure."""

from collections.abc import Iterator
from datetime import datetime
from typing import Literal
from uuid import UUID
from zoneinfo import ZoneInfo

from msgspec import Struct

from service.events.models import Event
from service.facts.models import Catch, CheckCatch, Set, VisitBody
from service.facts.rules import facts_of
from service.facts.texts import TEXTS_NOT_KEPT
from service.kernel.days import local_date
from service.kernel.errors import Fault, Refused
from service.kernel.http import check_precondition, matches, tag_of
from service.kernel.values import Caution
from service.packs.models import Pack
from service.packs.permitted import Done, code, sentence, spoken_against
from service.packs.rules import packs_at
from service.treatments.models import TreatmentRecorded
from service.visits.models import CatchRecorded, VisitRecorded
from service.visits.permitting import PermitThere, not_under_permit

DEEP_MM = 300


class StoredVisit(Struct, frozen=True):
    """A visit as the database has it; `body` is that of the last version that is not a withdrawal."""

    id: UUID
    property_id: UUID
    version: int
    digest: bytes
    first_received_at: datetime
    received_at: datetime
    withdrawn_at: datetime | None
    body: str


class VersionRow(Struct, frozen=True):
    """One version as the database has it; no body where it is the withdrawal."""

    version: int
    body: str | None
    amend_reason: str | None
    received_at: datetime
    key_id: UUID


class Subject(Struct, frozen=True):
    """A set or a sign."""

    id: UUID
    noun: Literal["set", "sign"]


class Surroundings(Struct, frozen=True):
    """What stands beside a visit when it arrives, as far as it is judged by it."""

    property_known: bool
    region: str | None
    county: str | None
    locality: str | None
    zone: str | None
    # the business's own rule packs of the region
    packs: list[Pack]
    workers_known: list[UUID]
    # what the job of the visit is after; None where it has no job
    target: str | None
    under_permit: bool
    ticket_known: bool
    features_known: list[UUID]
    harpoons: list[UUID]
    # the customer whose property it was on the day, or the only one it ever had, was erased: what people write is not
    # kept
    holder_erased: bool
    # what the job of the visit is done under; None where it has no job or no permit
    permit: PermitThere | None = None


def decide(
    stored: StoredVisit | None, digest: bytes, earlier: list[bytes], if_match: str | None
) -> Literal["recorded", "same", "amended"]:
    """Whether a body is new, the same again, or an amendment; 428 or 412 where it may not amend.

    The same as now is `same` before If-Match is looked at; the same as an earlier version too, unless the
    current ETag comes with it.
    """
    if stored is None:
        if if_match is not None:
            raise Refused("stale", "There is no such visit to amend yet; send it without If-Match.")
        return "recorded"
    if digest == stored.digest and stored.withdrawn_at is None:
        return "same"
    tag = tag_of(stored.version)
    if digest in earlier and not matches(if_match, tag):
        return "same"
    check_precondition(if_match, tag)
    return "amended"


def check_surroundings(body: VisitBody, around: Surroundings, worker_id: UUID | None) -> None:
    """422 for what the property, the workers or the key show; `worker_id` is the one the key was given to."""
    faults = []
    if not around.property_known:
        faults.append(
            Fault(
                "This property is not in your book yet; send the property, the visit is then taken by itself.",
                "#/property_id",
                "unknown_property",
            )
        )
    for pointer, one in [("#/worker_id", body.worker_id)] + [
        (f"#/with_worker_ids/{place}", one) for place, one in enumerate(body.with_worker_ids)
    ]:
        if one not in around.workers_known:
            faults.append(
                Fault("This worker is not in your book; add the worker first.", pointer, "unknown_worker")
            )
    if worker_id is not None and worker_id not in (body.worker_id, *body.with_worker_ids):
        faults.append(
            Fault(
                "The key was given to a worker who was not there; use that worker's key.",
                "#/worker_id",
                "other_key",
            )
        )
    if faults:
        raise Refused("invalid", faults[0].detail, faults)


def cautions(body: VisitBody, around: Surroundings) -> list[Caution]:
    """What the trade would warn of (common practice); what was done is recorded all the same."""
    found = [caution for one in body.sets for caution in _of_set(one, around)]
    if around.holder_erased:
        found.append(TEXTS_NOT_KEPT)
    found += _not_permitted(body, around)
    found += not_under_permit(body, around.permit, around.target)
    harpoons = {*around.harpoons, *(one.id for one in body.sets if one.mechanism == "harpoon")}
    for check in body.checks:
        sprung = "sprung_empty" in (check.finding, *(trap.finding for trap in check.traps))
        if sprung and check.set_id in harpoons and not check.ground_searched:
            found.append(
                Caution(
                    code="ground_not_searched",
                    detail="A sprung harpoon can leave the animal in the ground; search it before calling it empty.",
                    fact_id=check.id,
                )
            )
    features = [(fact.id, getattr(fact, "feature_id", None)) for _, fact in facts_of(body)]
    found += [
        Caution(
            code="unknown_feature",
            detail="This feature is not in your book at this property.",
            fact_id=fact_id,
        )
        for fact_id, feature in features
        if feature is not None and feature not in around.features_known
    ]
    return found


def _not_permitted(body: VisitBody, around: Surroundings) -> Iterator[Caution]:
    """Mechanisms and animals that a text read for this place does not permit, or protects, on that day."""
    if around.region is None or around.zone is None:
        return
    zone = ZoneInfo(around.zone)
    used: list[tuple[UUID, datetime, str | None, str | None]] = [
        (one.id, one.placed_at, one.mechanism, one.target or around.target) for one in body.sets
    ]
    used += [(one.id, one.caught_at, None, one.species) for one in body.catches]
    used += [(one.id, each.checked_at, None, one.species) for each in body.checks for one in each.catches]
    packs = packs_at(around.packs, around.region, around.county, around.locality)
    for fact_id, at, mechanism, species in used:
        done = Done(mechanism, species, local_date(at, zone), around.under_permit)
        for pack, rule in spoken_against(packs, done):
            yield Caution(code=code(rule), detail=sentence(pack, rule), fact_id=fact_id)


def _of_set(one: Set, around: Surroundings) -> Iterator[Caution]:
    if one.foot_traffic in ("some", "path") and not one.flagged:
        yield Caution(
            code="not_flagged",
            detail="People walk here and the set carries no flag; flag it and tell all concerned where it stands.",
            fact_id=one.id,
        )
    if one.depth_mm is not None and one.depth_mm > DEEP_MM and not around.ticket_known:
        yield Caution(
            code="no_locate_ticket",
            detail=f"Deeper than {DEEP_MM} mm and the job holds no line-locate ticket; call before you dig.",
            fact_id=one.id,
        )


def recorded(visit_id: UUID, body: VisitBody, version: int, fact_ids: list[UUID]) -> VisitRecorded:
    """What is told of a visit that arrived."""
    return VisitRecorded(
        visit_id=visit_id,
        property_id=body.property_id,
        worker_id=body.worker_id,
        arrived_at=body.arrived_at,
        outcome=body.outcome,
        version=version,
        fact_ids=fact_ids,
    )


def facts_told(visit_id: UUID, body: VisitBody, added: set[UUID]) -> Iterator[tuple[Event, UUID]]:
    """What is told of catches and treatments that became known with the body."""
    taken: list[tuple[Catch | CheckCatch, datetime, UUID | None]] = [
        (one, one.caught_at, None) for one in body.catches
    ]
    taken += [(one, check.checked_at, check.set_id) for check in body.checks for one in check.catches]
    for one, caught_at, set_id in taken:
        if one.id in added:
            yield (
                CatchRecorded(
                    catch_id=one.id,
                    visit_id=visit_id,
                    property_id=body.property_id,
                    set_id=set_id,
                    caught_at=caught_at,
                    species=one.species,
                    fate=one.fate,
                ),
                one.id,
            )
    for treatment in body.treatments:
        if treatment.id in added:
            yield (
                TreatmentRecorded(
                    treatment_id=treatment.id,
                    property_id=body.property_id,
                    visit_id=visit_id,
                    method=treatment.method,
                    applied_at=treatment.applied_at,
                    applied_by=treatment.applied_by,
                ),
                treatment.id,
            )
