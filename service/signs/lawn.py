"""The lawn clock: since when soil can have lain on turf, and how long it may lie there. Pure."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from decimal import ROUND_HALF_UP, Decimal
from uuid import UUID

import shapely
import shapely.geometry

from service.deadlines.models import Due, Place, RuleApplied, Verdict
from service.deadlines.rules import day_end_due, earliest, is_met
from service.signs.models import Bound, BoundKind, Cleared, Fact, Geometry, Looked, Seen

# Soil left on turf for longer smothers it: common practice.
HOURS_ON_TURF = 72
PI = Decimal("3.141592653589793238462643383")
SQUARE_MM = Decimal(1_000_000)


def own_bounds(sign: Seen, looks: Sequence[Looked], clearings: Sequence[Cleared]) -> list[Bound]:
    """Moments without soil that speak for this sign alone: told, looked at and not fresh, or just cleared."""
    said: list[tuple[BoundKind, UUID, datetime]] = []
    if sign.absent_since is not None:
        said.append(("absent_since", sign.id, sign.absent_since))
    said += [("look", one.id, one.at) for one in looks if not one.fresh_soil]
    said += [("clearing", one.id, one.at) for one in clearings if one.at >= sign.at]
    return [Bound(kind=kind, id=fact_id, property_id=sign.property_id, at=at) for kind, fact_id, at in said]


def does_cover(bound: Bound, sign: Seen) -> bool:
    """Whether a survey or mowing speaks for the sign: the whole property, its feature, or a polygon round it.

    In doubt it does not.
    """
    if bound.feature_id is None and bound.geometry is None:
        return True
    if bound.feature_id is not None and bound.feature_id == sign.feature_id:
        return True
    if bound.geometry is None or bound.geometry["type"] != "Polygon" or sign.geometry is None:
        return False
    return bool(shapely.covers(_shape(bound.geometry), _shape(sign.geometry)))


def _shape(geometry: Geometry) -> shapely.Geometry:
    return shapely.geometry.shape(geometry)


def latest_bound(covering: Sequence[Bound], at: datetime) -> Bound | None:
    """The last moment strictly before `at` at which no soil lay, or None where nobody knows one."""
    known = [one for one in covering if one.at < at]
    return max(known, key=lambda one: (one.at, one.id.bytes), default=None)


def lawn_due(start: Fact, bound: Bound | None, place: Place) -> Due:
    """Three days from the earliest moment, elapsed, met to the instant.

    Where they were over when the soil was seen, or nobody knows the moment, the end of the local day seen.
    """
    ends_at = None if bound is None else bound.at.astimezone(UTC) + timedelta(hours=HOURS_ON_TURF)
    is_ahead = ends_at is not None and ends_at > start.at
    said = "" if is_ahead else ", which nobody knows" if bound is None else ", over when it was seen"
    three_days = RuleApplied(
        rule=f"Lawn: soil off within {HOURS_ON_TURF} hours of the earliest moment{said}",
        rule_id="lawn",
        kind="lawn",
        state="practice",
        inputs={
            "hours": HOURS_ON_TURF,
            "earliest_from": "unknown" if bound is None else bound.kind,
            "earliest_fact_id": None if bound is None else str(bound.id),
            "earliest_at": None if bound is None else bound.at.astimezone(UTC).isoformat(),
        },
        due_at=ends_at if is_ahead else None,
    )
    if is_ahead:
        return earliest([three_days])
    day_end = day_end_due(
        start.at, place, 0, "Lawn: soil off by the end of the local day seen", "lawn_day_seen"
    )
    return earliest([three_days, *day_end.rules])


def verdict(cleared: Cleared | None, due: Due, bound: Bound | None, *, was_dead: bool) -> Verdict:
    """How the turf fared: a function of the facts, which never asks what time it is.

    Soil that had lain its three days when it was seen is no loss of ours: with dead turf, or not cleared by
    the end of that day, it is found late. Where nobody knows how long it had lain, dead turf says so.
    """
    if cleared is None:
        return "still_lying"
    in_time = is_met(cleared.at, due)
    began_ahead = all(one.due_at is not None for one in due.rules)
    if not began_ahead and (was_dead or (bound is not None and not in_time)):
        return "found_late"
    return "in_time" if in_time else "late"


def area_m2(sign: Seen) -> Decimal | None:
    """Ellipses of the sign's length and width, times its count, in square metres to six decimals, half-up.

    None where a measure was not taken.
    """
    if sign.length_mm is None or sign.width_mm is None:
        return None
    square_mm = PI / 4 * sign.length_mm * sign.width_mm * (sign.count or 1)
    return (square_mm / SQUARE_MM).quantize(Decimal("0.000001"), ROUND_HALF_UP)
