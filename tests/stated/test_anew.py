"""What is worked out anew when a property, a part of it or the house policy changes. Our own arithmetic."""

from typing import Any

import pytest

from service.kernel.db import Pool
from service.work import ticks as work
from tests.bodies import SQUARE, a_set, a_sign, a_visit, an_id
from tests.books import HANDLERS
from tests.http import PROPERTY, VISIT, Api, Clock, a_property, pointers

LAWN = an_id(5)
INSIDE = {"type": "Point", "coordinates": [-122.45, 45.55]}


@pytest.fixture
async def standing(api: Api) -> Api:
    """A set was placed on Thursday 14 May at 10:00 in Los Angeles, and the work so far is done."""
    await api.made(f"visits/{VISIT}", a_visit(sets=[a_set()]))
    return api


async def check_due(api: Api) -> tuple[str, str]:
    """When the look at the set is due, and by which rule."""
    (one,) = await api.items("deadlines?kind=check")
    return one["due_at"], one["why"]["winner"]


async def do(clock: Clock, pool: Pool, clock_pool: Pool) -> None:
    """The clock wakes once."""
    await work.run(clock_pool, pool, clock.now, HANDLERS)


async def test_another_zone_moves_what_is_due_there(
    standing: Api, clock: Clock, pool: Pool, clock_pool: Pool
) -> None:
    await standing.made(f"properties/{an_id(9)}", a_property(name="Second field"))
    assert (await check_due(standing))[0] == "2026-05-16T07:00:00Z"
    await standing.patch(f"properties/{PROPERTY}", {"zone": "America/New_York"}, If_Match='"1"')
    await do(clock, pool, clock_pool)
    assert (await check_due(standing))[0] == "2026-05-16T04:00:00Z"
    # the clocks of Auckland are a day ahead: placed on Friday there, due at the start of Sunday
    await standing.patch(f"properties/{PROPERTY}", {"zone": "Pacific/Auckland"}, If_Match='"2"')
    await do(clock, pool, clock_pool)
    assert (await check_due(standing))[0] == "2026-05-16T12:00:00Z"


@pytest.mark.parametrize(
    ("policies", "due_at", "kind"),
    [
        ([{"calendar_days": 2}], "2026-05-17T07:00:00Z", "calendar-day"),
        ([{"calendar_days": 1, "latest_hour": 17}], "2026-05-16T00:00:00Z", "latest-hour"),
        ([{"calendar_days": 1, "elapsed_hours": 24}], "2026-05-15T17:00:00Z", "elapsed"),
        (
            [{"calendar_days": 1}, {"effective_from": "2026-05-15", "elapsed_hours": 2}],
            "2026-05-16T07:00:00Z",
            "calendar-day",
        ),
        (
            [{"calendar_days": 1}, {"effective_from": "2026-05-14", "elapsed_hours": 2}],
            "2026-05-14T19:00:00Z",
            "elapsed",
        ),
    ],
)
async def test_another_house_policy_moves_what_began_while_it_is_in_force(
    standing: Api,
    clock: Clock,
    pool: Pool,
    clock_pool: Pool,
    policies: list[dict[str, Any]],
    due_at: str,
    kind: str,
) -> None:
    answer = await standing.patch("business", {"house_policies": policies}, If_Match='"1"')
    assert answer.status_code == 200, answer.text
    await do(clock, pool, clock_pool)
    found, winner = await check_due(standing)
    assert (found, kind in winner) == (due_at, True)


async def test_a_policy_without_any_part_is_refused_as_nothing_would_be_due(standing: Api) -> None:
    answer = await standing.patch("business", {"house_policies": [{"calendar_days": 1}, {}]}, If_Match='"1"')
    assert (answer.status_code, pointers(answer)) == (422, [("#/house_policies/1", "sets_no_look")])
    assert "off_where_law_speaks" in answer.json()["detail"]
    (one,) = await standing.items("deadlines?kind=check")
    assert one["state"] == "open"


async def test_a_feature_that_is_drawn_later_says_which_mounds_a_survey_covers(
    api: Api, clock: Clock, pool: Pool, clock_pool: Pool
) -> None:
    await api.made(f"properties/{PROPERTY}/features/{LAWN}", {"name": "Front lawn", "kind": "lawn"})
    survey = {"id": an_id(10), "surveyed_at": "2026-05-13T09:00:00-07:00", "fresh_signs": 0}
    body = a_visit(surveys=[{**survey, "feature_id": LAWN}], signs=[a_sign(geometry=INSIDE)])
    await api.made(f"visits/{VISIT}", body)
    (patch,) = await api.items("lawn-patches")
    assert patch["earliest_from"] == "unknown"
    area = {"type": "Polygon", "coordinates": SQUARE}
    await api.patch(f"properties/{PROPERTY}/features/{LAWN}", {"geometry": area}, If_Match='"1"')
    await do(clock, pool, clock_pool)
    (patch,) = await api.items("lawn-patches")
    # 72 hours after the survey
    assert (patch["earliest_from"], patch["due_at"]) == ("survey", "2026-05-16T16:00:00Z")


async def test_a_visit_before_its_job_belongs_to_it_once_the_job_is_there(api: Api) -> None:
    await api.made(f"visits/{VISIT}", a_visit(sets=[a_set()]))
    shown = await api.get(f"sets/{an_id(30)}")
    assert "job_id" not in shown.json()
    job = {"property_id": PROPERTY, "target": "unidentified", "opened_at": "2026-05-14T10:00:00-07:00"}
    await api.made(f"jobs/{an_id(8)}", job)
    again = await api.get(f"sets/{an_id(30)}")
    assert again.json()["job_id"] == an_id(8)
    assert again.headers["etag"] != shown.headers["etag"]
    # two jobs hold the instant: it is nobody's, and listed as such
    await api.made(
        f"jobs/{an_id(9)}", {**job, "target": "Thomomys bottae", "opened_at": "2026-05-01T00:00:00Z"}
    )
    assert "job_id" not in (await api.get(f"sets/{an_id(30)}")).json()
    assert [one["id"] for one in await api.items("visits?unassigned=true")] == [VISIT]
    assert (
        await api.put(f"visits/{VISIT}", a_visit(sets=[a_set()], job_id=an_id(9)), If_Match='"1"')
    ).is_success
    assert (await api.get(f"sets/{an_id(30)}")).json()["job_id"] == an_id(9)
