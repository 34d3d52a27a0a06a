"""What speaks for the place of a sign: the whole property, its feature, or a polygon that holds all of it.

Polygons lie on a grid of whole degrees, so that plain comparisons of numbers say what holds what.
"""

from typing import Any

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from service.signs.bounds import does_cover
from service.signs.models import Bound, Geometry, Seen, SignBook
from tests.bodies import an_id
from tests.signs.builders import F1, F2, book_of, cleared, la, looked, mound, mown, survey
from tests.signs.conftest import BED, LAWN, SQUARE, Book

Box = tuple[int, int, int, int]
grid = st.integers(0, 6)


@st.composite
def boxes(draw: st.DrawFn) -> Box:
    """West, south, east, north."""
    west, south = draw(grid), draw(grid)
    return west, south, draw(st.integers(west + 1, 8)), draw(st.integers(south + 1, 8))


def polygon(box: Box) -> Geometry:
    west, south, east, north = box
    ring = [[west, south], [east, south], [east, north], [west, north], [west, south]]
    return {"type": "Polygon", "coordinates": [ring]}


def point(x: float, y: float) -> Geometry:
    return {"type": "Point", "coordinates": [x, y]}


points = st.builds(point, grid, grid)
lines = st.lists(st.tuples(grid, grid), min_size=2, max_size=4, unique=True).map(
    lambda places: {"type": "LineString", "coordinates": [list(one) for one in places]}
)
geometries = points | lines | boxes().map(polygon)


def holds(box: Box, geometry: Geometry) -> bool:
    """A box is convex: it holds what it holds every corner of."""
    west, south, east, north = box
    places = geometry["coordinates"]
    if geometry["type"] == "Point":
        places = [places]
    elif geometry["type"] == "Polygon":
        (places,) = places
    return all(west <= x <= east and south <= y <= north for x, y in places)


@given(boxes(), geometries)
def test_an_area_speaks_for_a_sign_where_it_holds_all_of_it(box: Box, geometry: Geometry) -> None:
    bound = survey(la(13, 9), geometry=polygon(box))
    assert does_cover(bound, mound(la(14, 10), geometry=geometry)) == holds(box, geometry)


@given(st.lists(st.tuples(grid, grid), min_size=3, max_size=8, unique=True), st.data())
def test_an_area_of_any_shape_speaks_for_what_lies_within_and_not_beyond(
    corners: list[tuple[int, int]], data: st.DataObject
) -> None:
    hull = shapely.convex_hull(shapely.MultiPoint(corners))
    if hull.geom_type != "Polygon":
        corners = [*corners, (9, 0), (0, 9), (9, 9)]
        hull = shapely.convex_hull(shapely.MultiPoint(corners))
    area = shapely.geometry.mapping(hull)
    area["coordinates"] = [[list(one) for one in ring] for ring in area["coordinates"]]
    bound = survey(la(13, 9), geometry=area)
    a, b = data.draw(st.sampled_from(corners)), data.draw(st.sampled_from(corners))
    assert does_cover(bound, mound(la(14, 10), geometry=point(*a)))
    within = hull.representative_point()
    assert does_cover(bound, mound(la(14, 10), geometry=point(within.x, within.y)))
    beyond = point(max(x for x, _ in corners) + 1, b[1])
    assert not does_cover(bound, mound(la(14, 10), geometry=beyond))
    across = {"type": "LineString", "coordinates": [list(a), beyond["coordinates"]]}
    assert not does_cover(bound, mound(la(14, 10), geometry=across))


@given(boxes(), boxes(), geometries)
def test_a_larger_area_speaks_for_all_that_a_smaller_one_does(
    one: Box, other: Box, geometry: Geometry
) -> None:
    west, south, east, north = (
        *(min(pair) for pair in zip(one[:2], other[:2], strict=True)),
        *(max(pair) for pair in zip(one[2:], other[2:], strict=True)),
    )
    sign = mound(la(14, 10), geometry=geometry)
    if does_cover(survey(la(13, 9), geometry=polygon(one)), sign):
        assert does_cover(survey(la(13, 9), geometry=polygon((west, south, east, north))), sign)


instants = st.integers(9, 20).map(lambda day: la(day, 9))
spoken = st.builds(
    survey,
    instants,
    feature_id=st.sampled_from([None, F1, F2]),
    geometry=st.none() | boxes().map(polygon) | points,
) | st.builds(mown, instants, feature_id=st.sampled_from([None, F1, F2]))


def book(sign: Seen, bounds: list[Bound]) -> SignBook:
    """The sign, cleared after three days and fresh again a week later, beside these bounds."""
    facts = (cleared(la(15, 9)), looked(la(18, 9), fresh_soil=True), cleared(la(21, 8), 21))
    return book_of(sign, *facts, bounds=bounds)


@given(geometries | st.none(), st.sampled_from([None, F1, F2]), st.lists(spoken, max_size=6))
def test_a_fact_that_covers_another_spot_never_changes_a_verdict(
    geometry: Geometry | None, feature_id: Any, bounds: list[Bound]
) -> None:
    sign = mound(la(14, 10), geometry=geometry, feature_id=feature_id)

    def is_elsewhere(bound: Bound) -> bool:
        if bound.feature_id is None and bound.geometry is None:
            return False
        if bound.feature_id is not None and bound.feature_id == feature_id:
            return False
        if bound.geometry is None or bound.geometry["type"] != "Polygon" or geometry is None:
            return True
        (ring,) = bound.geometry["coordinates"]
        (west, south), _, (east, north), *_ = ring
        return not holds((west, south, east, north), geometry)

    here = [one for one in bounds if not is_elsewhere(one)]
    assert book(sign, bounds) == book(sign, here)


@given(st.lists(spoken, max_size=4), spoken)
def test_a_later_or_equal_start_is_never_bounded_by_what_came_after(bounds: list[Bound], one: Bound) -> None:
    sign = mound(la(12, 9), geometry=point(3, 3), feature_id=F1)
    for patch in book_of(sign, bounds=[*bounds, one]).patches:
        assert patch.earliest_at is None or patch.earliest_at < patch.started_at


# As it is read --------------------------------------------------------------------------------------------

HALF = {"type": "Polygon", "coordinates": [[[-122, 45], [-121.5, 45], [-121.5, 46], [-122, 46], [-122, 45]]]}
AROUND = {"type": "Polygon", "coordinates": [[[-123, 44], [-120, 44], [-120, 47], [-123, 47], [-123, 44]]]}
IN_EAST_HALF = {"type": "Point", "coordinates": [-121.2, 45.5]}
IN_WEST_HALF = {"type": "Point", "coordinates": [-121.8, 45.5]}
# an altitude is optional, position by position (RFC 7946 section 3.1.1)
ALONG_WEST_HALF = {"type": "LineString", "coordinates": [[-121.8, 45.5], [-121.7, 45.5, 61.5]]}
CORNER = [-122, 45, 9.5]
HALF_FROM_A_HEIGHT = {"type": "Polygon", "coordinates": [[CORNER, *HALF["coordinates"][0][1:4], CORNER]]}


@pytest.mark.parametrize(
    ("sign", "stated", "covers"),
    [
        # without a geometry of its own a sign lies where its feature does
        ({"feature_id": LAWN}, {"area": AROUND}, True),
        ({"feature_id": LAWN}, {"area": SQUARE}, True),
        ({"feature_id": LAWN}, {"area": HALF}, False),
        ({"feature_id": BED}, {"area": AROUND}, False),
        ({}, {"area": AROUND}, False),
        # with one of its own it lies there
        ({"feature_id": LAWN, "geometry": IN_WEST_HALF}, {"area": HALF}, True),
        ({"feature_id": LAWN, "geometry": IN_EAST_HALF}, {"area": HALF}, False),
        ({"geometry": IN_EAST_HALF}, {"feature_id": LAWN}, True),
        ({"geometry": IN_EAST_HALF}, {"feature_id": BED}, False),
        ({"feature_id": BED}, {"feature_id": BED}, True),
        ({}, {}, True),
        ({"geometry": ALONG_WEST_HALF}, {"area": HALF}, True),
        ({"geometry": ALONG_WEST_HALF}, {"area": HALF_FROM_A_HEIGHT}, True),
        ({"geometry": IN_EAST_HALF}, {"area": HALF_FROM_A_HEIGHT}, False),
    ],
)
async def test_a_survey_bounds_the_signs_it_covers(
    book: Book, sign: dict[str, Any], stated: dict[str, Any], *, covers: bool
) -> None:
    seen = {"id": an_id(20), "kind": "mound", "seen_at": la(12, 8).isoformat(), "on_turf": True, **sign}
    walked = {"id": an_id(10), "surveyed_at": la(11, 9).isoformat(), "fresh_signs": 0, **stated}
    await book.visit(100, la(12, 8), signs=[seen])
    await book.visit(99, la(11, 9), surveys=[walked])
    (patch,) = (await book.get("lawn-patches"))["items"]
    assert patch["earliest_from"] == ("survey" if covers else "unknown")


@pytest.mark.parametrize(("feature_id", "covers"), [(LAWN, True), (BED, False), (None, True)])
async def test_a_mowing_bounds_the_signs_on_what_was_mown(
    book: Book, feature_id: str | None, *, covers: bool
) -> None:
    seen = {"id": an_id(20), "kind": "mound", "seen_at": la(12, 8).isoformat(), "on_turf": True}
    await book.visit(100, la(12, 8), signs=[seen | {"geometry": IN_EAST_HALF}])
    done = {"property_id": an_id(1), "kind": "mown", "at": la(11, 9).isoformat()}
    await book.put(f"upkeep/{an_id(10)}", done if feature_id is None else done | {"feature_id": feature_id})
    (patch,) = (await book.get("lawn-patches"))["items"]
    assert patch["earliest_from"] == ("mowing" if covers else "unknown")
