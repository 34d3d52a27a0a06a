"""What bounds the lawn clock of a sign: moments at which no soil lay there yet, and whether they speak for it. Pure."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

import shapely
import shapely.geometry

from service.lawn.models import BoundKind
from service.signs.models import Bound, Cleared, Geometry, Looked, Seen


def own_bounds(sign: Seen, looks: Sequence[Looked], clearings: Sequence[Cleared]) -> list[Bound]:
    """Moments without soil that speak for this sign alone: told, or looked at and not fresh.

    A clearing is one as well: what a later look finds fresh cannot have lain when the soil had just been taken
    off. So the clock that it starts again has a bound also where nobody looked in between.
    """
    said: list[tuple[BoundKind, UUID, datetime]] = []
    if sign.absent_since is not None:
        said.append(("absent_since", sign.id, sign.absent_since))
    said += [("look", one.id, one.at) for one in looks if one.fresh_soil is False]
    said += [("clearing", one.id, one.at) for one in clearings if one.at >= sign.at]
    return [Bound(kind=kind, id=fact_id, property_id=sign.property_id, at=at) for kind, fact_id, at in said]


def does_cover(bound: Bound, sign: Seen) -> bool:
    """Whether a survey or mowing speaks for the sign: the whole property, its feature, or a polygon round it.

    The polygon is the area surveyed, or that of the feature; it must hold all of the sign's own geometry, else
    of its feature's, the edge included. In doubt it does not speak for it.
    """
    if bound.feature_id is None and bound.geometry is None:
        return True
    if bound.feature_id is not None and bound.feature_id == sign.feature_id:
        return True
    if bound.geometry is None or bound.geometry["type"] != "Polygon" or sign.geometry is None:
        return False
    return bool(shapely.covers(_shape(bound.geometry), _shape(sign.geometry)))


def _shape(geometry: Geometry) -> shapely.Geometry:
    """On the map alone: the library takes no line of which only some positions have an altitude."""
    return shapely.geometry.shape(geometry | {"coordinates": _on_the_map(geometry["coordinates"])})


def _on_the_map(coordinates: list[Any]) -> list[Any]:
    """GeoJSON coordinates of any depth, without altitudes."""
    if isinstance(coordinates[0], list):
        return [_on_the_map(one) for one in coordinates]
    return coordinates[:2]


def latest_bound(covering: Sequence[Bound], at: datetime) -> Bound | None:
    """The last moment strictly before `at` at which no soil lay, or None where nobody knows one."""
    known = [one for one in covering if one.at < at]
    return max(known, key=lambda one: (one.at, one.id.bytes), default=None)
