"""What follows from a visit's body by itself: its rows, what it touches, how it differs from another. Pure."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any
from uuid import UUID

from msgspec import Struct, to_builtins

from service.facts.models import Check, Fact, VisitBody

# each list of the body, and the table that holds its facts
TABLES = {
    "surveys": "survey",
    "signs": "sign",
    "tampings": "tamping",
    "looks": "look",
    "sets": "trap_set",
    "checks": "trap_check",
    "catches": "catch",
    "clearings": "clearing",
    "repairs": "repair",
    "upkeep": "upkeep",
    "treatments": "treatment",
    "told": "told",
}


class Touched(Struct, frozen=True):
    """What a body, and the one it replaces, bear on."""

    properties: set[UUID]
    sets: set[UUID]
    signs: set[UUID]
    bounds_since: datetime | None
    # visits that met a locked gate: each shows in the why of every deadline that was open then
    attempts: list[datetime]
    since: datetime


def facts_of(body: VisitBody) -> Iterator[tuple[str, Fact]]:
    """Every nested fact with its list's name; catches of a check follow it."""
    for name in TABLES:
        for fact in getattr(body, name):
            yield name, fact
            if isinstance(fact, Check):
                yield from (("catches", catch) for catch in fact.catches)


def places_of(body: VisitBody) -> dict[UUID, str]:
    """Where each nested id stands: its fact's JSON Pointer."""
    places = {}
    for name in TABLES:
        for index, fact in enumerate(getattr(body, name)):
            places[fact.id] = f"#/{name}/{index}"
            for place, catch in enumerate(fact.catches if isinstance(fact, Check) else ()):
                places[catch.id] = f"#/{name}/{index}/catches/{place}"
    return places


def instants_of(value: Any) -> Iterator[datetime]:
    """Every instant that a body states."""
    if isinstance(value, datetime):
        yield value
    elif isinstance(value, list):
        for item in value:
            yield from instants_of(item)
    elif isinstance(value, Struct):
        for name in value.__struct_fields__:
            yield from instants_of(getattr(value, name))


def ended_at(body: VisitBody) -> datetime:
    """`left_at`, else the latest instant of the visit."""
    return body.left_at or max(instants_of(body))


def visit_row(body: VisitBody) -> dict[str, Any]:
    """The visit's own columns."""
    own = {name: getattr(body, name) for name in VisitBody.__struct_fields__ if name not in TABLES}
    return {**own, "ended_at": ended_at(body)}


def fact_rows(body: VisitBody, **shared: Any) -> dict[str, list[dict[str, Any]]]:
    """Rows for every fact table, each with all its columns; `shared` are the columns that all have."""
    rows: dict[str, list[dict[str, Any]]] = {
        table: [_row(fact, shared) for fact in getattr(body, name)] for name, table in TABLES.items()
    }
    for check in body.checks:
        beside = {**shared, "check_id": check.id, "set_id": check.set_id, "caught_at": check.checked_at}
        rows["catch"] += [_row(catch, beside) for catch in check.catches]
    return rows


def _row(fact: Fact, shared: dict[str, Any]) -> dict[str, Any]:
    members = {name: getattr(fact, name) for name in fact.__struct_fields__ if name != "catches"}
    plain: dict[str, Any] = to_builtins({**members, **shared})
    return plain


def difference(
    before: VisitBody | None, after: VisitBody | None
) -> tuple[list[UUID], list[UUID], list[UUID]]:
    """Ids of the facts added, changed and withdrawn between two bodies, each sorted."""
    old = {} if before is None else {fact.id: (name, fact) for name, fact in facts_of(before)}
    new = {} if after is None else {fact.id: (name, fact) for name, fact in facts_of(after)}
    return (
        sorted(new.keys() - old.keys()),
        sorted(id_ for id_ in new.keys() & old.keys() if new[id_] != old[id_]),
        sorted(old.keys() - new.keys()),
    )


def touched(*bodies: VisitBody) -> Touched:
    """What must be worked out anew when these bodies come or go."""
    sets: set[UUID] = set()
    signs: set[UUID] = set()
    bounds: list[datetime] = []
    for body in bodies:
        sets |= {one.id for one in body.sets} | {check.set_id for check in body.checks}
        sets |= {one.moved_from_set_id for one in body.sets if one.moved_from_set_id is not None}
        sets |= {repair.set_id for repair in body.repairs if repair.set_id is not None}
        signs |= {one.id for one in body.signs}
        signs |= {one.sign_id for one in body.sets if one.sign_id is not None}
        signs |= {one.sign_id for one in body.repairs if one.sign_id is not None}
        for about in (body.tampings, body.looks, body.clearings):
            signs |= {one.sign_id for one in about}
        bounds += [survey.surveyed_at for survey in body.surveys if survey.fresh_signs == 0]
        bounds += [one.at for one in body.upkeep if one.kind == "mown"]
    return Touched(
        properties={body.property_id for body in bodies},
        sets=sets,
        signs=signs,
        bounds_since=min(bounds, default=None),
        attempts=[body.arrived_at for body in bodies if body.outcome == "no_access"],
        since=min(at for body in bodies for at in instants_of(body)),
    )
