"""Lawn patches as they are read, after visits as a phone sends them: covers, counts, advice, what the clock says.

Instants are our own arithmetic for May 2026 in Los Angeles (UTC-7 then).
"""

from datetime import datetime
from typing import Any
from uuid import UUID

import pytest

from service.deadlines.rules import deadline_id
from service.deadlines.ticks import tick
from service.kernel.db import Pool
from service.visits.ticks import property_anew
from service.work import ticks as work
from service.work.models import PROPERTY_ANEW
from tests.bodies import a_check, a_set, a_sign, a_visit, an_id
from tests.http import PROPERTY, Api, Clock

SET, SIGN = an_id(30), an_id(20)
BOARD = {"cover": "board", "cover_length_mm": 600, "cover_width_mm": 400, "cover_on_turf": True}


def at(text: str) -> str:
    """A day and time of May 2026 in Los Angeles."""
    return f"2026-05-{text}:00-07:00"


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text)


async def visit(api: Api, clock: Clock, number: int, when: str, **lists: Any) -> None:
    """A visit that is known at once."""
    clock.now = utc(when)
    await api.made(f"visits/{an_id(number)}", a_visit(arrived_at=when, **lists))


async def covered(api: Api, clock: Clock, **members: Any) -> None:
    """A set under a board, on Monday the 11th at 09:00."""
    when = at("11T09:00")
    await visit(api, clock, 100, when, sets=[a_set(placed_at=when, **{**BOARD, **members})])


async def looked(api: Api, clock: Clock, number: int, when: str, **members: Any) -> None:
    checks = [a_check(id=an_id(number + 100), checked_at=when, **members)]
    await visit(api, clock, number, when, checks=checks)


def clocks(api: Api, *fact_ids: str) -> list[str]:
    """Ids of the patches that these facts started."""
    return [str(deadline_id(api.business_id, "lawn_cover", UUID(SET), UUID(one))) for one in fact_ids]


async def patches(api: Api, query: str = "") -> list[dict[str, Any]]:
    """In order of their start."""
    found = await api.items(f"lawn-patches?{query}")
    return sorted(found, key=lambda one: str(one["started_at"]))


# Covers ---------------------------------------------------------------------------------------------------


async def test_a_cover_left_on_turf_is_a_patch_with_a_deadline(api: Api, clock: Clock) -> None:
    await covered(api, clock)
    (patch,) = await patches(api)
    (id_,) = clocks(api, SET)
    assert patch == {
        "id": id_,
        "set_id": SET,
        "starting_fact_id": SET,
        "property_id": PROPERTY,
        "visit_id": an_id(100),
        "visit_etag": '"1"',
        "started_at": "2026-05-11T16:00:00Z",
        "earliest_at": "2026-05-11T16:00:00Z",
        "earliest_from": "cover",
        "due_at": "2026-05-14T16:00:00Z",
        "verdict": "still_lying",
        "area_m2": "0.240000",
    }
    shown = (await api.get(f"deadlines/{id_}")).json()
    assert (shown["kind"], shown["set_id"], shown["due_at"]) == ("lawn_cover", SET, patch["due_at"])
    assert "sign_id" not in shown
    assert [one["rule_name"] for one in shown["why"]["rules"]] == ["lawn_cover", "lawn_cover_flooring"]
    assert (await api.get(f"sets/{SET}")).json().items() >= BOARD.items()


async def test_shifted_pulled_and_amended_covers_leave_the_patches_that_are_stated_now(
    api: Api, clock: Clock
) -> None:
    await covered(api, clock)
    await looked(api, clock, 101, at("13T17:00"), cover="shifted")
    await looked(api, clock, 102, at("16T17:01"), action="pulled")
    first, second = await patches(api)
    assert [first["id"], second["id"]] == clocks(api, SET, an_id(201))
    assert [first["verdict"], second["verdict"]] == ["in_time", "late"]
    assert [first["visit_id"], second["visit_id"]] == [an_id(100), an_id(101)]
    assert await patches(api, "verdict=late") == [second]
    assert await patches(api, "since=2026-05-12") == [second]
    assert await patches(api, "until=2026-05-12") == [first]
    # the office puts right that it did not lie on turf
    answer = await api.patch(f"sets/{SET}", {"cover_on_turf": False}, If_Match='"1"')
    assert answer.status_code == 200, answer.text
    assert await patches(api) == []
    states = [one["state"] for one in await api.items("deadlines?kind=lawn_cover")]
    assert states == ["withdrawn", "withdrawn"]


async def test_the_clock_tells_of_covers_and_says_a_verdict_again_when_it_changed(
    api: Api, clock: Clock, clock_pool: Pool
) -> None:
    await covered(api, clock)
    clock.now = utc(at("13T21:00"))
    await tick(clock_pool, clock.now)
    clock.now = utc(at("14T09:01"))
    await tick(clock_pool, clock.now)
    await looked(api, clock, 102, at("15T09:00"), cover="lifted_off")
    # the phone of somebody who had taken it off two days before comes into coverage
    lifted = a_check(id=an_id(203), checked_at=at("13T09:00"), cover="lifted_off")
    await api.made(f"visits/{an_id(103)}", a_visit(arrived_at=at("13T09:00"), checks=[lifted]))
    soon, overdue, late, met = await api.told("lawn.due_soon", "lawn.overdue", "lawn.settled")
    assert [one["type"] for one in (soon, overdue, late, met)] == [
        "lawn.due_soon",
        "lawn.overdue",
        "lawn.settled",
        "lawn.settled",
    ]
    for one in (soon, overdue, late, met):
        assert one["data"]["set_id"] == SET
        assert "sign_id" not in one["data"]
    assert (late["data"]["outcome"], late["data"].get("replaces")) == ("late", None)
    assert (met["data"]["outcome"], met["data"]["replaces"]) == ("in_time", late["id"])


async def test_a_verdict_on_a_cover_is_told_though_nothing_was_overdue(api: Api, clock: Clock) -> None:
    await covered(api, clock)
    await looked(api, clock, 101, at("12T09:00"), action="pulled")
    (settled,) = await api.told("lawn.settled")
    assert (settled["data"]["outcome"], settled["data"]["set_id"]) == ("in_time", SET)


async def test_a_locked_gate_shows_in_the_why_of_a_cover(api: Api, clock: Clock) -> None:
    await covered(api, clock)
    await visit(api, clock, 101, at("12T09:00"), outcome="no_access", no_access_reason="locked")
    (deadline,) = await api.items("deadlines?kind=lawn_cover")
    assert [one["visit_id"] for one in deadline["why"]["attempts"]] == [an_id(101)]


async def test_a_house_policy_works_out_covers_soil_and_second_looks_anew(
    api: Api, clock: Clock, pool: Pool, clock_pool: Pool
) -> None:
    when = at("11T09:00")
    await visit(
        api,
        clock,
        100,
        when,
        sets=[a_set(placed_at=when, **BOARD)],
        signs=[a_sign(seen_at=when, absent_since=at("11T07:00"))],
    )
    cleared = {"id": an_id(60), "sign_id": SIGN, "cleared_at": at("12T09:00")}
    await visit(api, clock, 101, at("12T09:00"), clearings=[cleared])

    async def dues() -> dict[str, str]:
        return {one["kind"]: one["due_at"] for one in await api.items("deadlines") if one["kind"] != "check"}

    assert await dues() == {
        "lawn_cover": "2026-05-14T16:00:00Z",
        "lawn": "2026-05-14T14:00:00Z",
        "lawn_followup": "2026-05-20T07:00:00Z",
    }
    strict = {"calendar_days": 1, "soil_hours": 24, "cover_hours": 4, "followup_days": 2}
    stricter = {
        **strict,
        "effective_from": "2026-05-12",
        "soil_hours": 1,
        "cover_hours": 1,
        "followup_days": 1,
    }
    changed = {"house_policies": [strict, stricter]}
    answer = await api.patch("business", changed, If_Match=(await api.get("business")).headers["etag"])
    assert answer.status_code == 200, answer.text
    assert await work.run(clock_pool, pool, clock.now, {PROPERTY_ANEW: property_anew}) == 1
    # the cover and the soil started on the 11th, the second look with the clearing on the 12th
    assert await dues() == {
        "lawn_cover": "2026-05-11T20:00:00Z",
        "lawn": "2026-05-12T14:00:00Z",
        "lawn_followup": "2026-05-14T07:00:00Z",
    }
    verdicts = {one["earliest_from"]: one["verdict"] for one in await patches(api)}
    assert verdicts == {"cover": "still_lying", "absent_since": "late"}


# Counts and areas -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("counts", "cleared_count", "verdict"),
    [
        ([3], 3, "still_lying"),
        ([3, 2], 5, "in_time"),
        ([None], 5, "in_time"),
        ([2, None], 5, "in_time"),
    ],
)
async def test_clearings_add_up_to_the_count_of_the_mounds(
    api: Api, clock: Clock, counts: list[int | None], cleared_count: int, verdict: str
) -> None:
    seen = a_sign(seen_at=at("11T09:00"), absent_since=at("11T07:00"), count=5, length_mm=300, width_mm=300)
    await visit(api, clock, 100, at("11T09:00"), signs=[seen])
    for number, count in enumerate(counts, 1):
        when = at(f"{11 + number}T09:00")
        clearing = {"id": an_id(60 + number), "sign_id": SIGN, "cleared_at": when}
        stated = clearing if count is None else clearing | {"count": count}
        await visit(api, clock, 100 + number, when, clearings=[stated])
    (patch,) = await patches(api)
    assert (patch["count"], patch["cleared_count"], patch["verdict"]) == (5, cleared_count, verdict)
    assert patch["area_m2"] == "0.353429"
    assert len(await api.items("deadlines?kind=lawn_followup")) == (verdict == "in_time")


# Advice and repairs ---------------------------------------------------------------------------------------


async def test_thin_and_dead_turf_is_advised_on_until_it_is_repaired(api: Api, clock: Clock) -> None:
    seen = a_sign(seen_at=at("11T09:00"), absent_since=at("11T07:00"), length_mm=430, width_mm=400)
    await visit(api, clock, 100, at("11T09:00"), signs=[seen])
    cleared = {"id": an_id(60), "sign_id": SIGN, "cleared_at": at("12T09:00")}
    await visit(api, clock, 101, at("12T09:00"), clearings=[cleared])
    (patch,) = await patches(api)
    assert "advice" not in patch
    thin = {"id": an_id(22), "sign_id": SIGN, "looked_at": at("14T09:00"), "turf": "thin"}
    await visit(api, clock, 102, at("14T09:00"), looks=[thin])
    (patch,) = await patches(api)
    assert (patch["turf"], patch.get("outcome")) == ("thin", None)
    assert patch["advice"] == {
        "steps": ["keep_off", "water", "look_again"],
        "area_m2": "0.135088",
        "sentence": "The turf is thin: keep off it, water it and look again.",
        "source": "common practice",
    }
    dead = {"id": an_id(23), "sign_id": SIGN, "looked_at": at("18T09:00"), "turf": "dead"}
    await visit(api, clock, 103, at("18T09:00"), looks=[dead])
    (patch,) = await patches(api)
    assert (patch["verdict"], patch["outcome"]) == ("in_time", "lost")
    assert patch["advice"]["steps"] == ["reseed", "lay_turf"]
    assert "on 0.135088 m2" in patch["advice"]["sentence"]
    # a repair that was made before the turf was seen dead does not mend it
    early = {
        "id": an_id(61),
        "sign_id": SIGN,
        "how": "levelled",
        "area_m2": "0.2",
        "repaired_at": at("15T09:00"),
    }
    await visit(api, clock, 104, at("15T09:00"), repairs=[early])
    (patch,) = await patches(api)
    assert "advice" in patch
    repair = {**early, "id": an_id(62), "how": "reseeded", "repaired_at": at("20T09:00")}
    await visit(api, clock, 105, at("20T09:00"), repairs=[repair])
    (patch,) = await patches(api)
    assert patch["repaired_at"] == "2026-05-20T16:00:00Z"
    assert "advice" not in patch


async def test_dead_turf_under_a_run_that_had_lain_too_long_is_no_loss_of_ours(
    api: Api, clock: Clock
) -> None:
    run = a_sign(kind="surface_run", seen_at=at("11T09:00"), length_mm=3000, width_mm=100)
    look = {"id": an_id(22), "sign_id": SIGN, "looked_at": at("11T09:05"), "turf": "dead"}
    cleared = {"id": an_id(60), "sign_id": SIGN, "cleared_at": at("11T09:10"), "how": "pressed"}
    await visit(api, clock, 100, at("11T09:00"), signs=[run], looks=[look], clearings=[cleared])
    (patch,) = await patches(api)
    assert (patch["verdict"], patch["outcome"], patch["sign_kind"]) == (
        "found_late",
        "found_late",
        "surface_run",
    )
    assert patch["advice"]["steps"] == ["press_run", "water", "reseed", "lay_turf"]
    assert patch["advice"]["sentence"].endswith("which is no loss of ours.")
    assert patch["advice"]["source"].endswith("University of California Statewide IPM Program")


async def test_an_opening_shows_since_when_it_is_closed(api: Api, clock: Clock) -> None:
    await covered(api, clock, opening_length_mm=200, opening_width_mm=150, opening_on_turf=True)
    assert "opening_closed_at" not in (await api.get(f"sets/{SET}")).json()
    await looked(api, clock, 101, at("12T09:00"), action="pulled", opening_closed=True)
    assert (await api.get(f"sets/{SET}")).json()["opening_closed_at"] == "2026-05-12T16:00:00Z"
