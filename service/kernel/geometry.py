"""Checks of GeoJSON positions and rings (RFC 7946), by range and by shapely."""

import re
from collections.abc import Sequence

import shapely

from service.kernel.errors import Fault
from service.kernel.sentences import CLEAN, fault, inside

# About 10 cm by 10 cm at the equator, in square degrees: less is a slip of the finger, not a place.
LEAST_AREA = 1e-12

_RANGES = ((180, "longitude"), (90, "latitude"))
_PLACE = re.compile(r"\[(\S+) (\S+)\]")


def position_faults(position: Sequence[float]) -> Sequence[Fault]:
    """Longitude and latitude must lie on the globe (RFC 7946 sections 3.1.1 and 4); the altitude is free."""
    found: list[Fault] = []
    for index, (most, name) in enumerate(_RANGES):
        if not -most <= position[index] <= most:
            detail = f"The {name} {position[index]} is off the globe: it must be from -{most} to {most}"
            found += inside(index, fault(f"{detail}, and longitude comes first.", "off_the_globe"))
    return found or CLEAN


def rings_faults(rings: Sequence[Sequence[Sequence[float]]]) -> Sequence[Fault]:
    """Rings must be closed, enclose something and cross neither themselves nor each other.

    RFC 7946 section 3.1.6; either winding is taken, as it asks of readers.
    """
    found: list[Fault] = []
    for index, ring in enumerate(rings):
        found += inside(index, _ring_faults(ring))
    if found or len(rings) == 1:
        return found or CLEAN
    polygon = shapely.Polygon(_flat(rings[0]), [_flat(ring) for ring in rings[1:]])
    if polygon.is_valid:
        return CLEAN
    detail = "The first ring must hold all others, and none may cross another or lie in it"
    return fault(f"{detail}{_where(polygon)}.", "rings_cross")


def _ring_faults(ring: Sequence[Sequence[float]]) -> Sequence[Fault]:
    if list(ring[0]) != list(ring[-1]):
        return fault("The ring must be closed: repeat its first position as its last.", "ring_open")
    polygon = shapely.Polygon(_flat(ring))
    # The hull's area, since the halves of a bow-tie cancel out in the ring's own.
    if polygon.convex_hull.area < LEAST_AREA:
        return fault("The ring must enclose an area of at least about 10 cm by 10 cm.", "no_area")
    if not polygon.is_valid:
        return fault(f"The ring must not cross or touch itself{_where(polygon)}.", "ring_crosses")
    return CLEAN


def _flat(ring: Sequence[Sequence[float]]) -> list[tuple[float, float]]:
    return [(position[0], position[1]) for position in ring]


def _where(polygon: shapely.Polygon) -> str:
    place = _PLACE.search(shapely.is_valid_reason(polygon))
    return f", as it does near longitude {place[1]}, latitude {place[2]}" if place else ""
