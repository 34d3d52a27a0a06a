"""The arithmetic of the lawn clock: areas, due instants by the house policy, verdicts, what to do about the turf.

Areas and instants are our own arithmetic. 72 hours and 7 days are common practice.
"""

from datetime import datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from math import pi
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.deadlines.models import Verdict
from service.facts.models import SignKind, Turf
from service.identity.models import HousePolicy
from service.lawn.models import LawnPatch
from service.lawn.rules import (
    advice_on,
    cover_due,
    cover_m2,
    ellipse_m2,
    first_repair,
    outcome_of,
    policy_at,
    soil_due,
    soil_m2,
)
from tests.sets.builders import HOME, SET, a_place, local, utc
from tests.signs.builders import mown

FROM_THE_10TH = HousePolicy(effective_from=local("2026-03-10 00:00").date(), soil_hours=48, cover_hours=4)
UNTIL_THE_10TH = HousePolicy(effective_until=local("2026-03-10 00:00").date(), soil_hours=24, cover_hours=8)


# Areas ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cover", "length_mm", "width_mm", "area"),
    [
        ("board", 600, 400, "0.240000"),
        ("sheet", 1000, 1000, "1.000000"),
        ("bucket", 300, 300, "0.070686"),
        (None, 600, 400, "0.188496"),
        ("board", None, 400, None),
    ],
)
def test_a_board_is_a_rectangle_and_a_bucket_is_round(
    cover: Any, length_mm: int | None, width_mm: int, area: str | None
) -> None:
    assert cover_m2(cover, length_mm, width_mm) == (None if area is None else Decimal(area))


def test_mounds_are_ellipses_times_their_count() -> None:
    assert soil_m2(430, 400, 1) == soil_m2(430, 400, None) == Decimal("0.135088")
    assert soil_m2(300, 300, 7) == Decimal("0.494801")
    assert soil_m2(300, None, 7) is None


@given(st.integers(1, 2000), st.integers(1, 2000), st.integers(1, 100))
def test_the_area_is_the_formula_rounded_to_a_square_millimetre(length: int, width: int, count: int) -> None:
    exact = Fraction(pi) / 4 * length * width * count / 10**6
    assert abs(Fraction(ellipse_m2(length, width, count)) - exact) <= Fraction(500_001, 10**12)


# By when --------------------------------------------------------------------------------------------------


def test_a_cover_is_due_by_hours_that_go_by_also_over_a_change_of_the_clocks() -> None:
    due = cover_due(local("2026-03-06 10:00"), a_place())
    assert due.due_at == utc("2026-03-09T18:00:00+00:00") == local("2026-03-09 11:00")
    hours, flooring = due.rules
    assert (hours.inputs, hours.state, hours.rule_name) == ({"hours": 72}, "practice", "lawn_cover")
    assert (flooring.due_at, flooring.state, flooring.authority) == (
        None,
        "caution",
        "US National Park Service",
    )
    assert "four hours a day at most, plywood never" in flooring.rule


@pytest.mark.parametrize(
    ("started_at", "soil_hours", "cover_hours"),
    [
        ("2026-03-09 23:59", 24, 8),
        ("2026-03-10 00:00", 48, 4),
    ],
)
def test_the_policy_of_the_local_date_of_the_start_decides(
    started_at: str, soil_hours: int, cover_hours: int
) -> None:
    at, place = local(started_at), a_place("America/Los_Angeles", FROM_THE_10TH, UNTIL_THE_10TH)
    bound = mown(at - timedelta(hours=1))
    assert soil_due(at, bound, place).due_at == bound.at + timedelta(hours=soil_hours)
    assert cover_due(at, place).due_at == at + timedelta(hours=cover_hours)
    assert soil_due(at, bound, place).rules[0].inputs["hours"] == soil_hours


def test_where_no_policy_is_in_force_its_defaults_are() -> None:
    place = a_place("America/Los_Angeles", FROM_THE_10TH)
    assert policy_at(local("2026-03-09 12:00"), place) == HousePolicy()
    assert cover_due(local("2026-03-09 12:00"), place).due_at == local("2026-03-12 12:00")


@given(st.integers(0, 24 * 400), st.integers(1, 336))
def test_a_cover_left_later_is_never_due_earlier_under_one_policy(hour: int, hours: int) -> None:
    place = a_place("America/Los_Angeles", HousePolicy(cover_hours=hours))
    at = local("2026-01-01 00:00") + timedelta(hours=hour)
    assert cover_due(at, place).due_at - at == timedelta(hours=hours)


# What became of it ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("verdict", "turf", "outcome"),
    [
        ("still_lying", None, None),
        ("still_lying", "dead", None),
        ("in_time", None, "saved"),
        ("in_time", "sound", "saved"),
        ("in_time", "thin", None),
        ("in_time", "dead", "lost"),
        ("late", None, "lost"),
        ("late", "sound", None),
        ("late", "thin", "lost"),
        ("late", "dead", "lost"),
        ("found_late", "dead", "found_late"),
        ("found_late", "sound", "found_late"),
    ],
)
def test_turf_is_saved_lost_or_found_late(verdict: Verdict, turf: Turf | None, outcome: str | None) -> None:
    assert outcome_of(verdict, turf) == outcome


def test_a_repair_counts_from_the_instant_of_the_harm_on() -> None:
    before, at, after = (local(f"2026-03-0{day} 09:00") for day in (2, 3, 4))
    assert first_repair(at, [after, before]) == after
    assert first_repair(at, [after, at]) == at
    assert first_repair(at, [before]) is None
    assert first_repair(None, [after]) is None


# What to do -----------------------------------------------------------------------------------------------


def a_patch(turf: Turf | None, repaired_at: datetime | None = None, **more: Any) -> LawnPatch:
    at = local("2026-03-02 09:00")
    stated = {"verdict": "in_time", "area_m2": Decimal("0.135088"), "repaired_at": repaired_at, **more}
    return LawnPatch(
        sign_id=SET,
        starting_fact_id=SET,
        property_id=HOME,
        started_at=at,
        earliest_from="unknown",
        due_at=at,
        turf=turf,
        **stated,
    )


@pytest.mark.parametrize(
    ("turf", "kind", "steps"),
    [
        ("thin", "mound", ["keep_off", "water", "look_again"]),
        ("dead", "mound", ["reseed", "lay_turf"]),
        ("thin", "surface_run", ["press_run", "water", "keep_off", "look_again"]),
        ("dead", "deep_run", ["press_run", "water", "reseed", "lay_turf"]),
    ],
)
def test_thin_turf_is_spared_and_dead_turf_is_made_anew(turf: Turf, kind: SignKind, steps: list[str]) -> None:
    advice = advice_on(a_patch(turf), kind)
    assert advice is not None
    assert advice.steps == steps
    assert advice.area_m2 == Decimal("0.135088")
    assert ("on 0.135088 m2" in advice.sentence) == (turf == "dead")
    assert ("University of California" in advice.source) == ("press_run" in steps)


def test_without_a_measure_dead_turf_is_advised_on_without_an_area() -> None:
    advice = advice_on(a_patch("dead", area_m2=None), "mound")
    assert advice is not None
    assert advice.sentence == "The turf is dead: reseed it or lay turf."
    assert advice.area_m2 is None


def test_found_late_is_said_to_be_no_loss_of_ours() -> None:
    late, found = (advice_on(a_patch("dead", verdict=one), "mound") for one in ("late", "found_late"))
    assert late is not None
    assert found is not None
    assert "no loss of ours" in found.sentence
    assert "no loss of ours" not in late.sentence


@pytest.mark.parametrize(
    "patch", [a_patch(None), a_patch("sound"), a_patch("dead", local("2026-03-09 09:00"))]
)
def test_sound_unseen_and_repaired_turf_asks_for_nothing(patch: LawnPatch) -> None:
    assert advice_on(patch, "mound") is None
