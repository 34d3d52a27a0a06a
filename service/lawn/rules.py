"""The arithmetic of the lawn clock: by when soil or a cover is off, what became of the turf, its area. Pure."""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from decimal import ROUND_HALF_UP, Decimal
from zoneinfo import ZoneInfo

from msgspec.structs import replace

from service.deadlines.models import Due, Place, RuleApplied, Verdict
from service.deadlines.rules import day_end_due, earliest, is_met, policy_in_force
from service.facts.models import Cover, SignKind, Turf
from service.identity.models import HousePolicy
from service.kernel.days import local_date
from service.lawn.models import Advice, LawnPatch, Moment, Outcome, PatchShown, Step

PI = Decimal("3.141592653589793238462643383")
SQUARE_MM = Decimal(1_000_000)
SQUARE_MM_SHOWN = Decimal("0.000001")
RUNS: tuple[SignKind, ...] = ("surface_run", "deep_run")
FLOORING_GUIDE = (
    "Turf Management and Events Operations Guide for the National Mall and Memorial Parks (edition of 2017), "
    "turf area protective decking guidelines"
)
PRACTICE = "common practice"
RUNS_SOURCE = "common practice; runs and dry roots: University of California Statewide IPM Program"


# By when it is off ----------------------------------------------------------------------------------------


def policy_at(at: datetime, place: Place) -> HousePolicy:
    """The house policy in force on the local date of `at`; where none is, its defaults."""
    return policy_in_force(place.house_policies, local_date(at, ZoneInfo(place.zone))) or HousePolicy()


def soil_due(started_at: datetime, bound: Moment | None, place: Place) -> Due:
    """The policy's hours from the earliest moment, elapsed, met to the instant (72 by common practice).

    Where they were over when the soil was seen, or nobody knows the moment, the end of the local day seen.
    """
    policy = policy_at(started_at, place)
    ends_at = None if bound is None else bound.at.astimezone(UTC) + timedelta(hours=policy.soil_hours)
    is_ahead = ends_at is not None and ends_at > started_at
    said = "" if is_ahead else ", which nobody knows" if bound is None else ", over when it was seen"
    from_earliest = RuleApplied(
        rule=f"Lawn: soil off within {policy.soil_hours} hours of the earliest moment{said}",
        rule_name="lawn",
        kind="lawn",
        state="practice",
        inputs={
            "hours": policy.soil_hours,
            "earliest_from": "unknown" if bound is None else bound.kind,
            "earliest_fact_id": None if bound is None else str(bound.id),
            "earliest_at": None if bound is None else bound.at.astimezone(UTC).isoformat(),
        },
        due_at=ends_at if is_ahead else None,
    )
    if is_ahead:
        return earliest([from_earliest])
    day_end = day_end_due(
        started_at, place, 0, "Lawn: soil off by the end of the local day seen", "lawn_day_seen"
    )
    return earliest([from_earliest, *day_end.rules])


def cover_due(started_at: datetime, place: Place) -> Due:
    """The policy's hours from the instant the cover was left, elapsed, met to the instant.

    The 72 hours are common practice. The one published figure that is known, of the US National Park Service,
    is of flooring for crowds: it is shown and never computed.
    """
    policy = policy_at(started_at, place)
    from_start = RuleApplied(
        rule=f"Lawn: cover off the turf within {policy.cover_hours} hours, common practice, no published figure",
        rule_name="lawn_cover",
        kind="elapsed",
        state="practice",
        inputs={"hours": policy.cover_hours},
        due_at=started_at.astimezone(UTC) + timedelta(hours=policy.cover_hours),
    )
    flooring = RuleApplied(
        rule="US National Park Service: opaque flooring on turf four hours a day at most, plywood never",
        rule_name="lawn_cover_flooring",
        kind="qualitative",
        state="caution",
        authority="US National Park Service",
        citation=FLOORING_GUIDE,
    )
    return earliest([from_start, flooring])


# What became of the turf ----------------------------------------------------------------------------------


def soil_verdict(cleared_at: datetime | None, due: Due, *, bound: Moment | None, was_dead: bool) -> Verdict:
    """How soil was dealt with: a function of the facts, which never asks what time it is.

    Soil that had lain its hours when it was seen is no loss of ours: with dead turf, or not cleared by the
    end of that day, it is found late. Where nobody knows how long it had lain, dead turf says so.
    """
    if cleared_at is None:
        return "still_lying"
    in_time = is_met(cleared_at, due)
    began_ahead = all(one.due_at is not None for one in due.rules)
    if not began_ahead and (was_dead or (bound is not None and not in_time)):
        return "found_late"
    return "in_time" if in_time else "late"


def cover_verdict(lifted_at: datetime | None, due: Due) -> Verdict:
    """How a cover was dealt with; we left it there ourselves, so it is never found late."""
    if lifted_at is None:
        return "still_lying"
    return "in_time" if is_met(lifted_at, due) else "late"


def outcome_of(verdict: Verdict, turf: Turf | None) -> Outcome | None:
    """What became of turf under soil, by the verdict and the turf as last seen; None while neither can be said.

    Found late is never our loss. Cleared in time is saved unless it was seen thin or dead since; dead is lost,
    and so is what was cleared late and not seen sound since.
    """
    if verdict == "still_lying":
        return None
    if verdict == "found_late":
        return "found_late"
    if turf == "dead" or (verdict == "late" and turf != "sound"):
        return "lost"
    return "saved" if verdict == "in_time" and turf != "thin" else None


def first_repair(since: datetime | None, repaired: Iterable[datetime]) -> datetime | None:
    """The first repair at `since` or later; None where there is none, or nothing to be repaired."""
    return None if since is None else min((at for at in repaired if at >= since), default=None)


# Areas ----------------------------------------------------------------------------------------------------


def soil_m2(length_mm: int | None, width_mm: int | None, count: int | None) -> Decimal | None:
    """Ellipses of length and width, times their count (one where it is not stated); None without a measure."""
    return None if length_mm is None or width_mm is None else ellipse_m2(length_mm, width_mm, count or 1)


def cover_m2(cover: Cover | None, length_mm: int | None, width_mm: int | None) -> Decimal | None:
    """The turf under a cover: a board or sheet is a rectangle, all else an ellipse; None without a measure."""
    if length_mm is None or width_mm is None:
        return None
    if cover in ("board", "sheet"):
        return (length_mm * width_mm / SQUARE_MM).quantize(SQUARE_MM_SHOWN, ROUND_HALF_UP)
    return ellipse_m2(length_mm, width_mm)


def ellipse_m2(length_mm: int, width_mm: int, count: int = 1) -> Decimal:
    """Ellipses by their two axes in millimetres, in square metres to six decimals, half-up."""
    square_mm = PI / 4 * length_mm * width_mm * count
    return (square_mm / SQUARE_MM).quantize(SQUARE_MM_SHOWN, ROUND_HALF_UP)


# What to do about it --------------------------------------------------------------------------------------


def advised(patch: PatchShown) -> PatchShown:
    """The patch with the advice that its turf asks for, if it does."""
    return replace(patch, advice=advice_on(patch, patch.sign_kind))


def advice_on(patch: LawnPatch, kind: SignKind | None) -> Advice | None:
    """Thin turf is spared, watered and looked at again, dead turf is sown or laid anew (common practice).

    Under a raised run the soil is pressed down as soon as the animal is out and dry roots are watered
    (University of California Statewide IPM Program). None while the turf is sound or not seen, and once a
    repair is stated.
    """
    if patch.turf not in ("thin", "dead") or patch.repaired_at is not None:
        return None
    steps: list[Step] = ["press_run", "water"] if kind in RUNS else []
    said = (
        ["Press the raised run down as soon as the animal is out and water the dry roots."] if steps else []
    )
    if patch.turf == "thin":
        steps = list(dict.fromkeys([*steps, "keep_off", "water", "look_again"]))
        said.append("The turf is thin: keep off it, water it and look again.")
    else:
        steps += ["reseed", "lay_turf"]
        over = "" if patch.area_m2 is None else f" on {patch.area_m2} m2"
        said.append(f"The turf is dead{over}: reseed it or lay turf.")
    if patch.verdict == "found_late":
        said.append("The soil had lain too long before it was seen, which is no loss of ours.")
    return Advice(
        steps=steps,
        area_m2=patch.area_m2,
        sentence=" ".join(said),
        source=RUNS_SOURCE if kind in RUNS else PRACTICE,
    )
