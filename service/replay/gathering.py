"""The facts of one set or sign, gathered from the bodies of visits that stand. Pure."""

from collections.abc import Iterator
from typing import Any
from uuid import UUID

from msgspec import to_builtins

from service.facts.models import Set, Sign, Upkeep
from service.replay.models import Book, Geometry, JobStated, VisitStated
from service.sets.models import Check, Placing, SetFacts
from service.sets.models import Mention as SetMention
from service.signs.models import Bound, Cleared, Looked, Mention, Seen, SignFacts, Tamped


def job_of(visit: VisitStated, jobs: list[JobStated]) -> JobStated | None:
    """The job that a visit states, else the only one whose interval holds its arrival."""
    if visit.body.job_id is not None:
        return next((one for one in jobs if one.id == visit.body.job_id), None)
    open_then = [
        one
        for one in jobs
        if one.property_id == visit.body.property_id
        and one.opened_at <= visit.body.arrived_at
        and (one.closed_at is None or visit.body.arrived_at < one.closed_at)
    ]
    return open_then[0] if len(open_then) == 1 else None


# Sets -------------------------------------------------------------------------------------------------------


def set_facts(book: Book, set_id: UUID) -> SetFacts:
    """All that the visits state of one set."""
    placing = next(
        (_placing(book, visit, one) for visit in book.visits for one in visit.body.sets if one.id == set_id),
        None,
    )
    return SetFacts(
        set_id=set_id,
        placing=placing,
        checks=[check for visit in book.visits for check in _checks(visit, set_id)],
        mentions=[mention for visit in book.visits for mention in _set_mentions(visit, set_id)],
    )


def _workers(visit: VisitStated) -> list[UUID]:
    return [visit.body.worker_id, *visit.body.with_worker_ids]


def _placing(book: Book, visit: VisitStated, one: Set) -> Placing:
    job = job_of(visit, book.jobs)
    return Placing(
        visit_id=visit.id,
        property_id=visit.body.property_id,
        placed_at=one.placed_at,
        mechanism=one.mechanism,
        moved_from_set_id=one.moved_from_set_id,
        trap_nos=[trap.no for trap in one.traps],
        target=one.target or (None if job is None else job.target),
        under_permit=job is not None and job.permit_id is not None,
        worker_ids=_workers(visit),
        cover=one.cover,
        cover_length_mm=one.cover_length_mm,
        cover_width_mm=one.cover_width_mm,
        cover_on_turf=bool(one.cover_on_turf),
    )


def _checks(visit: VisitStated, set_id: UUID) -> Iterator[Check]:
    for one in visit.body.checks:
        if one.set_id == set_id:
            yield Check(
                id=one.id,
                visit_id=visit.id,
                property_id=visit.body.property_id,
                checked_at=one.checked_at,
                checked_by=one.checked_by,
                finding=one.finding,
                action=one.action,
                traps=one.traps,
                caught_in=[catch.trap_no for catch in one.catches],
                worker_ids=_workers(visit),
                opening_closed=one.opening_closed,
                cover=one.cover,
            )


def _set_mentions(visit: VisitStated, set_id: UUID) -> Iterator[SetMention]:
    shared = _shared(visit)
    for one in visit.body.sets:
        if one.moved_from_set_id == set_id:
            yield SetMention(noun="set", fact_id=one.id, at=one.placed_at, **shared)
    for repair in visit.body.repairs:
        if repair.set_id == set_id:
            yield SetMention(noun="repair", fact_id=repair.id, at=repair.repaired_at, **shared)


def _shared(visit: VisitStated) -> dict[str, UUID]:
    return {"visit_id": visit.id, "property_id": visit.body.property_id}


# Signs ------------------------------------------------------------------------------------------------------


def sign_facts(book: Book, sign_id: UUID) -> SignFacts:
    """All that the visits state of one sign."""
    stated = [(visit, one) for visit in book.visits for one in visit.body.signs if one.id == sign_id]
    return SignFacts(
        sign_id=sign_id,
        sign=_seen(book, *stated[0]) if stated else None,
        tampings=[
            Tamped(id=one.id, at=one.tamped_at, **_shared(visit))
            for visit in book.visits
            for one in visit.body.tampings
            if one.sign_id == sign_id
        ],
        looks=[
            Looked(
                id=one.id,
                at=one.looked_at,
                raised_again=one.raised_again,
                fresh_soil=one.fresh_soil,
                turf=one.turf,
                **_shared(visit),
            )
            for visit in book.visits
            for one in visit.body.looks
            if one.sign_id == sign_id
        ],
        clearings=[
            Cleared(id=one.id, at=one.cleared_at, count=one.count, **_shared(visit))
            for visit in book.visits
            for one in visit.body.clearings
            if one.sign_id == sign_id
        ],
        mentions=[mention for visit in book.visits for mention in _sign_mentions(visit, sign_id)],
    )


def _seen(book: Book, visit: VisitStated, one: Sign) -> Seen:
    return Seen(
        id=one.id,
        at=one.seen_at,
        absent_since=one.absent_since,
        count=one.count,
        geometry=_geometry(one.geometry) or _of_feature(book, one.feature_id),
        feature_id=one.feature_id,
        on_turf=one.on_turf,
        length_mm=one.length_mm,
        width_mm=one.width_mm,
        **_shared(visit),
    )


def _sign_mentions(visit: VisitStated, sign_id: UUID) -> Iterator[Mention]:
    for one in visit.body.sets:
        if one.sign_id == sign_id:
            yield Mention(noun="set", id=one.id, at=one.placed_at, **_shared(visit))
    for repair in visit.body.repairs:
        if repair.sign_id == sign_id:
            yield Mention(noun="repair", id=repair.id, at=repair.repaired_at, **_shared(visit))


def bounds_at(book: Book, property_id: UUID) -> Iterator[Bound]:
    """Every survey with nothing fresh and every mowing at a property."""
    there = [one.body for one in book.visits if one.body.property_id == property_id]
    for survey in (one for body in there for one in body.surveys if one.fresh_signs == 0):
        yield Bound(
            id=survey.id,
            kind="survey",
            property_id=property_id,
            at=survey.surveyed_at,
            feature_id=survey.feature_id,
            geometry=_geometry(survey.area) or _of_feature(book, survey.feature_id),
        )
    upkeep: list[Upkeep] = [*book.sites[property_id].upkeep, *(one for body in there for one in body.upkeep)]
    for mowing in (one for one in upkeep if one.kind == "mown"):
        yield Bound(
            id=mowing.id,
            kind="mowing",
            property_id=property_id,
            at=mowing.at,
            feature_id=mowing.feature_id,
            geometry=_of_feature(book, mowing.feature_id),
        )


def _geometry(stated: Any) -> Geometry | None:
    plain: Geometry | None = to_builtins(stated)
    return plain


def _of_feature(book: Book, feature_id: UUID | None) -> Geometry | None:
    return None if feature_id is None else book.features.get(feature_id)
