"""Positions and rings: RFC 7946 section 3.1 and its appendix A."""

from typing import Any

import msgspec
import pytest

from service.kernel.bodies import decode
from service.kernel.errors import Refused
from service.kernel.faults import faults_of
from service.kernel.values import LineString, Point, Polygon
from tests.bodies import NOW, found

HOLE = [[100.8, 0.8], [100.8, 0.2], [100.2, 0.2], [100.2, 0.8], [100.8, 0.8]]
OUTSIDE = [[100.0, 0.0], [101.0, 0.0], [101.0, 1.0], [100.0, 1.0], [100.0, 0.0]]


@pytest.mark.parametrize(
    ("geometry", "kind"),
    [
        ({"type": "Point", "coordinates": [100.0, 0.0]}, Point),
        ({"type": "LineString", "coordinates": [[100.0, 0.0], [101.0, 1.0]]}, LineString),
        ({"type": "Polygon", "coordinates": [OUTSIDE]}, Polygon),
        ({"type": "Polygon", "coordinates": [OUTSIDE, HOLE]}, Polygon),
        ({"type": "Polygon", "coordinates": [OUTSIDE[::-1], HOLE[::-1]]}, Polygon),
        ({"type": "Point", "coordinates": [-180, -90, 4808.7]}, Point),
    ],
)
def test_the_examples_of_rfc_7946_are_taken_in_either_winding(geometry: object, kind: Any) -> None:
    assert found(geometry, kind) == []
    assert isinstance(msgspec.convert(geometry, kind), kind)


@pytest.mark.parametrize(
    ("rings", "pointer", "code"),
    [
        ([OUTSIDE[:-1]], "/0", "ring_open"),
        ([OUTSIDE, [*HOLE[:-1], [100.8, 0.8, 5]]], "/1", "ring_open"),
        ([OUTSIDE[:3]], "/0", "too_short"),
        ([], "", "too_short"),
        ([[[0, 0], [2, 2], [2, 0], [0, 2], [0, 0]]], "/0", "ring_crosses"),
        ([[[0, 0], [4, 0], [4, 4], [2, 0], [0, 4], [0, 0]]], "/0", "ring_crosses"),
        ([[[0, 0], [1, 1], [2, 2], [0, 0]]], "/0", "no_area"),
        ([[[0, 0]] * 4], "/0", "no_area"),
        ([[[0, 0], [1e-8, 0], [0, 1e-8], [0, 0]]], "/0", "no_area"),
        ([OUTSIDE, [[x + 5, y] for x, y in HOLE]], "", "rings_cross"),
        ([OUTSIDE, HOLE, HOLE], "", "rings_cross"),
        ([[*OUTSIDE[:-1], [190, 0], OUTSIDE[0]]], "/0/4/0", "off_the_globe"),
        ([[[0, 0, 0, 0], *OUTSIDE]], "/0/0", "too_long"),
        ([[[0], *OUTSIDE]], "/0/0", "too_short"),
        ([[[0, float("inf")], *OUTSIDE]], "/0/0/1", "out_of_range"),
        ([[[0, 10**400], *OUTSIDE]], "/0/0/1", "out_of_range"),
        ([[[0, True], *OUTSIDE]], "/0/0/1", "wrong_type"),
    ],
)
def test_rings_that_enclose_nothing_clear_are_refused(rings: object, pointer: str, code: str) -> None:
    assert found({"type": "Polygon", "coordinates": rings}, Polygon) == [(f"#/coordinates{pointer}", code)]


def test_a_crossing_is_told_with_its_place() -> None:
    bow_tie = {"type": "Polygon", "coordinates": [[[0, 0], [2, 2], [2, 0], [0, 2], [0, 0]]]}
    (fault,) = faults_of(bow_tie, Polygon, NOW)
    assert "near longitude 1, latitude 1" in fault.detail


def test_a_number_beyond_a_double_is_a_fault_with_its_place() -> None:
    with pytest.raises(Refused) as caught:
        decode(b'{"type": "Point", "coordinates": [1e400, 0]}', Point, NOW)
    assert [(fault.pointer, fault.code) for fault in caught.value.errors] == [
        ("#/coordinates/0", "out_of_range")
    ]
