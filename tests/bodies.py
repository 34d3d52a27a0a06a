"""Bodies for tests: a visit that states everything once, and strategies made from the types themselves."""

import re
from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any
from uuid import UUID

from hypothesis import strategies as st
from msgspec import inspect

from service.kernel.faults import faults_of
from service.kernel.values import LineString, Point, Polygon

NOW = datetime(2026, 5, 14, 18, 0, tzinfo=UTC)
AT = "2026-05-14T10:00:00-07:00"
SQUARE = [[[-122.5, 45.5], [-122.4, 45.5], [-122.4, 45.6], [-122.5, 45.6], [-122.5, 45.5]]]


def an_id(number: int) -> str:
    """A UUIDv7 that ends in `number`."""
    return f"0198f3a0-0000-7000-8000-{number:012x}"


def a_visit(**members: Any) -> dict[str, Any]:
    """What every visit states, and what the test wants beside it."""
    return {"property_id": an_id(1), "worker_id": an_id(2), "arrived_at": AT, **members}


def a_check(**members: Any) -> dict[str, Any]:
    """A look that found nothing."""
    return {
        "id": an_id(40),
        "set_id": an_id(30),
        "checked_at": AT,
        "finding": "undisturbed",
        "action": "left",
        **members,
    }


def a_set(**members: Any) -> dict[str, Any]:
    """One trap at one spot."""
    return {"id": an_id(30), "placed_at": AT, "mechanism": "scissor_jaw", "traps": [{"no": 1}], **members}


def a_sign(**members: Any) -> dict[str, Any]:
    """A mound on turf."""
    return {"id": an_id(20), "kind": "mound", "seen_at": AT, "on_turf": True, **members}


def a_pack(*rules: dict[str, Any], **members: Any) -> dict[str, Any]:
    """A rule pack of a business for Idaho, with these rules, or a look within every 24 hours."""
    daily = {"kind": "elapsed", "id": "every-24-hours", "sentence": "Look within 24 hours.", "hours": 24}
    return {
        "name": "our-reading",
        "region": "US-ID",
        "authority": "Parks office",
        "citation": "Conditions for parks, section 4",
        "verified_on": "2026-03-02",
        "state": "law",
        "rules": list(rules) or [daily],
        **members,
    }


def full_visit() -> dict[str, Any]:
    """Every member that a visit may have, once."""
    animal = {"species": "Scapanus latimanus", "sex": "female", "age_class": "adult", "mass_g": 70}
    animal |= {"fate": "dead_in_trap", "photo_ids": [an_id(90)]}
    sign = a_sign(
        absent_since="2026-05-13T22:00:00Z",
        told_by="the groundskeeper",
        count=3,
        freshness="fresh",
        feature_id=an_id(5),
        geometry={"type": "Point", "coordinates": [-122.45, 45.55]},
        length_mm=430,
        width_mm=400,
        height_mm=160,
        shape="round",
        plug="middle",
        soil="clods",
        hole_width_mm=40,
        seen_by_day=False,
        photo_ids=[an_id(91)],
    )
    run = {"type": "LineString", "coordinates": [[-122.45, 45.55], [-122.451, 45.55, 61.5]]}
    placed = a_set(
        sign_id=an_id(20),
        moved_from_set_id=an_id(31),
        target="Scapanus latimanus",
        depth_mm=180,
        light_kept_out=True,
        position={"type": "Point", "coordinates": [-122.45, 45.55]},
        traps=[{"no": 1, "direction_deg": 90, "mark": "A 17"}],
        trigger_travel_mm=13,
        flagged=True,
        foot_traffic="some",
        opening_length_mm=200,
        opening_width_mm=150,
        opening_on_turf=True,
        photo_ids=[],
    )
    check = a_check(
        checked_by="worker",
        finding="catch",
        traps=[{"no": 1, "finding": "catch"}, {"no": 2, "finding": "bypassed"}],
        ground_searched=True,
        action="reset",
        flagged=True,
        opening_closed=False,
        catches=[{"id": an_id(50), "trap_no": 1, **animal}],
    )
    return a_visit(
        id=an_id(3),
        job_id=an_id(4),
        with_worker_ids=[an_id(6)],
        appointment_id=an_id(7),
        left_at="2026-05-14T10:40:00-07:00",
        outcome="partly",
        no_access_reason="one bed locked",
        notes="wet\nsoil",
        customer_note="Gate closed again.",
        amends='"1"',
        amend_reason="forgot the mowing",
        treatments_none=False,
        surveys=[
            {"id": an_id(10), "surveyed_at": AT, "feature_id": an_id(5), "fresh_signs": 0},
            {
                "id": an_id(11),
                "surveyed_at": AT,
                "area": {"type": "Polygon", "coordinates": SQUARE},
                "fresh_signs": 2,
            },
        ],
        signs=[sign],
        tampings=[{"id": an_id(21), "sign_id": an_id(20), "tamped_at": AT, "geometry": run}],
        looks=[
            {
                "id": an_id(22),
                "sign_id": an_id(20),
                "looked_at": AT,
                "raised_again": True,
                "fresh_soil": False,
                "turf": "thin",
                "photo_ids": [],
            }
        ],
        sets=[placed],
        checks=[check],
        catches=[{"id": an_id(51), "caught_at": AT, "method": "by hand", **animal}],
        clearings=[
            {
                "id": an_id(60),
                "sign_id": an_id(20),
                "cleared_at": AT,
                "count": 1,
                "how": "raked",
                "cleared_by": "us",
            }
        ],
        repairs=[
            {
                "id": an_id(61),
                "sign_id": an_id(20),
                "repaired_at": AT,
                "how": "reseeded",
                "area_m2": "0.25",
                "seed_treated": False,
            },
            {"id": an_id(62), "set_id": an_id(30), "repaired_at": AT, "how": "levelled", "area_m2": "1"},
        ],
        upkeep=[
            {
                "id": an_id(63),
                "kind": "mown",
                "at": AT,
                "feature_id": an_id(5),
                "told_by": "the groundskeeper",
            }
        ],
        treatments=[
            {
                "id": an_id(64),
                "method": "repellent",
                "product": "castor oil",
                "registration": "none",
                "amount": "1.5",
                "unit": "l",
                "applied_at": "2026-05-05T09:00:00-07:00",
                "applied_by": "customer",
                "told_by": "the customer",
                "feature_id": an_id(5),
            },
        ],
        told=[{"id": an_id(65), "who": "the porter", "how": "in person", "at": AT, "what": "traps_standing"}],
    )


def found(body: object, kind: Any) -> list[tuple[str, str]]:
    """Where the faults of a body are, and of which kind."""
    return [(fault.pointer, fault.code) for fault in faults_of(body, kind, NOW)]


def of(kind: inspect.Type) -> st.SearchStrategy[Any]:
    """Values as JSON has them that are well-formed by their type."""
    if isinstance(kind, inspect.Metadata):
        return of(kind.type)
    if isinstance(kind, inspect.UnionType):
        return st.one_of([of(member) for member in kind.types])
    if isinstance(kind, inspect.StructType):
        return _struct(kind)
    if isinstance(kind, inspect.ListType):
        return st.lists(
            of(kind.item_type), min_size=kind.min_length or 0, max_size=(kind.min_length or 0) + 1
        )
    if isinstance(kind, inspect.StrType):
        return _text(kind)
    return _SCALARS[type(kind)](kind)


def instants() -> st.SearchStrategy[str]:
    """RFC 3339, in several spellings, not after NOW."""
    past = st.datetimes(datetime(1990, 1, 1), datetime(2026, 5, 14, 3))  # noqa: DTZ001 the offset comes next
    offsets = st.integers(-12 * 60, 14 * 60).map(lambda minutes: timezone(timedelta(minutes=minutes)))
    aware = st.builds(lambda at, offset: at.replace(tzinfo=offset).isoformat(), past, offsets)
    return aware | aware.map(str.lower) | past.map(lambda at: f"{at.isoformat()}Z")


def positions() -> st.SearchStrategy[list[float]]:
    """On the globe, some of them with an altitude."""
    longitude = st.integers(-180, 180) | st.floats(-180, 180)
    latitude = st.integers(-90, 90) | st.floats(-90, 90)
    flat = st.tuples(longitude, latitude).map(list)
    return flat | st.tuples(longitude, latitude, st.floats(-100, 9000)).map(list)


@st.composite
def rectangles(draw: st.DrawFn) -> list[list[list[float]]]:
    """One closed ring, wound either way."""
    west, south = draw(st.floats(-179, 178)), draw(st.floats(-89, 88))
    east, north = west + draw(st.floats(0.001, 1)), south + draw(st.floats(0.001, 1))
    ring = [[west, south], [east, south], [east, north], [west, north], [west, south]]
    return [ring if draw(st.booleans()) else ring[::-1]]


_GEOMETRIES = {
    Point: positions(),
    LineString: st.lists(positions(), min_size=2, max_size=4),
    Polygon: rectangles(),
}
_SCALARS: dict[type, Any] = {
    inspect.NoneType: lambda _: st.none(),
    inspect.BoolType: lambda _: st.booleans(),
    inspect.IntType: lambda kind: st.integers(kind.ge, kind.le),
    inspect.FloatType: lambda _: st.floats(allow_nan=False, allow_infinity=False),
    inspect.LiteralType: lambda kind: st.sampled_from(kind.values),
    inspect.UUIDType: lambda _: st.uuids().filter(lambda one: one != UUID(int=0)).map(str),
    inspect.DateTimeType: lambda _: instants(),
    inspect.DateType: lambda _: (
        st.dates(date(1990, 1, 1)).map(date.isoformat).filter(lambda day: day < "2200")
    ),
}


def _struct(kind: inspect.StructType) -> st.SearchStrategy[Any]:
    if kind.cls in _GEOMETRIES:
        return _GEOMETRIES[kind.cls].map(lambda where: {"type": kind.tag, "coordinates": where})
    members = {field.encode_name: of(field.type) for field in kind.fields}
    optional = {field.encode_name for field in kind.fields if not field.required}
    needed = {name: each for name, each in members.items() if name not in optional}
    return st.fixed_dictionaries(needed, optional={name: members[name] for name in optional})


def _text(kind: inspect.StrType) -> st.SearchStrategy[str]:
    if kind.pattern is None:
        return st.text(st.characters(exclude_categories=["C"]), max_size=20)
    form = re.compile(kind.pattern.removesuffix("$") + r"\Z")
    least, most = kind.min_length or 0, kind.max_length or 1_000
    return st.from_regex(form, fullmatch=True).filter(lambda text: least <= len(text) <= most)
