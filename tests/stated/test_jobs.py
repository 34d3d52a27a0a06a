"""Jobs: which may stand side by side, what is told of them, and the sets that are left out."""

from datetime import timedelta
from typing import Any

import asyncpg
import pytest

from service.kernel.db import Pool
from service.work import ticks as work
from tests.bodies import a_check, a_set, a_visit, an_id
from tests.books import HANDLERS
from tests.http import PROPERTY, Api, Clock, a_property

MOLE, GOPHER = "Scapanus latimanus", "Thomomys bottae"
JOB, OTHER_JOB, SET = an_id(20), an_id(21), an_id(30)
TEN_MINUTES = timedelta(minutes=10)


def a_job(**members: Any) -> dict[str, Any]:
    """Open since the first of May."""
    return {"property_id": PROPERTY, "target": MOLE, "opened_at": "2026-05-01T08:00:00Z", **members}


def closed(at: str, reason: str = "clear") -> dict[str, Any]:
    """What is stated where it is closed."""
    return {"closed_at": at, "end_reason": reason}


@pytest.mark.parametrize(
    ("second", "status"),
    [
        (a_job(), 409),
        (a_job(opened_at="2026-04-01T08:00:00Z"), 409),
        (a_job(opened_at="2026-04-01T08:00:00Z", **closed("2026-05-01T08:00:01Z")), 409),
        (a_job(opened_at="2026-04-01T08:00:00Z", **closed("2026-05-01T08:00:00Z")), 201),
        (a_job(opened_at="2026-05-10T08:00:00Z"), 201),
        (a_job(opened_at="2026-05-09T08:00:00Z"), 409),
        (a_job(target=GOPHER), 201),
        (a_job(property_id=an_id(9)), 201),
    ],
)
async def test_at_one_property_only_jobs_with_different_targets_overlap(
    api: Api, second: dict[str, Any], status: int
) -> None:
    await api.made(f"properties/{an_id(9)}", a_property(name="Second field"))
    await api.made(f"jobs/{JOB}", a_job(**closed("2026-05-10T08:00:00Z")))
    answer = await api.put(f"jobs/{OTHER_JOB}", second)
    assert answer.status_code == status
    if status == 409:
        assert JOB in answer.json()["detail"]
        assert (await api.get(f"jobs/{OTHER_JOB}")).status_code == 404
        assert [one["data"]["job_id"] for one in await api.told("job.opened", "job.closed")] == [JOB]


async def test_opening_closing_and_opening_again_are_told(api: Api) -> None:
    path = f"jobs/{JOB}"
    await api.made(path, a_job())
    await api.patch(path, {"ref": "J-9"}, If_Match='"1"')
    await api.patch(path, closed("2026-05-10T08:00:00Z"), If_Match='"2"')
    await api.patch(path, {"closed_at": None, "end_reason": None}, If_Match='"3"')
    await api.patch(path, closed("2026-05-11T08:00:00Z", "no_access"), If_Match='"4"')
    place = {"job_id": JOB, "property_id": PROPERTY}
    opened = {**place, "target": MOLE, "opened_at": "2026-05-01T08:00:00Z"}
    assert [(one["type"], one["data"]) for one in await api.told()] == [
        ("job.opened", opened),
        ("job.closed", {**place, **closed("2026-05-10T08:00:00Z")}),
        ("job.opened", opened),
        ("job.closed", {**place, **closed("2026-05-11T08:00:00Z", "no_access")}),
    ]


async def place_and_close(api: Api) -> None:
    """A set of the job stands when the job is closed at 13:00 UTC."""
    await api.made(f"jobs/{JOB}", a_job())
    placed = a_set(placed_at="2026-05-14T12:00:00Z")
    await api.made(f"visits/{an_id(3)}", a_visit(arrived_at="2026-05-14T12:00:00Z", sets=[placed]))
    answer = await api.patch(f"jobs/{JOB}", closed("2026-05-14T13:00:00Z"), If_Match='"1"')
    assert answer.status_code == 200


async def left_out(api: Api) -> list[dict[str, Any]]:
    """What was told of sets left out."""
    return [one["data"] for one in await api.told("set.left_out")]


async def test_a_set_that_stands_when_its_job_is_closed_is_told_of_once(
    api: Api, clock: Clock, pool: Pool, clock_pool: Pool
) -> None:
    await place_and_close(api)
    await work.run(clock_pool, pool, clock.now, HANDLERS)
    assert await left_out(api) == []
    clock.now += TEN_MINUTES
    await work.run(clock_pool, pool, clock.now, HANDLERS)
    expected = {
        "set_id": SET,
        "job_id": JOB,
        "property_id": PROPERTY,
        "closed_at": "2026-05-14T13:00:00Z",
    }
    assert await left_out(api) == [expected]
    # the office touches the closed job again: looked at once more, told no second time
    await api.patch(f"jobs/{JOB}", {"ref": "J-9"}, If_Match='"2"')
    clock.now += TEN_MINUTES
    await work.run(clock_pool, pool, clock.now, HANDLERS)
    assert await left_out(api) == [expected]


async def test_a_set_that_a_late_phone_lifts_before_the_settling_time_is_over_is_not_told_of(
    api: Api, clock: Clock, pool: Pool, clock_pool: Pool
) -> None:
    await place_and_close(api)
    lifted = a_check(checked_at="2026-05-14T12:50:00Z", action="pulled")
    await api.made(f"visits/{an_id(4)}", a_visit(arrived_at="2026-05-14T12:50:00Z", checks=[lifted]))
    clock.now += TEN_MINUTES
    await work.run(clock_pool, pool, clock.now, HANDLERS)
    assert await left_out(api) == []


async def test_a_set_that_becomes_known_after_its_job_was_closed_is_told_of_too(
    api: Api, clock: Clock, pool: Pool, clock_pool: Pool
) -> None:
    await place_and_close(api)
    clock.now += TEN_MINUTES
    await work.run(clock_pool, pool, clock.now, HANDLERS)
    placed = a_set(id=an_id(31), placed_at="2026-05-14T12:30:00Z")
    after = a_set(id=an_id(32), placed_at="2026-05-14T13:00:01Z")
    visit = a_visit(arrived_at="2026-05-14T12:30:00Z", sets=[placed, after])
    await api.made(f"visits/{an_id(4)}", visit)
    clock.now += TEN_MINUTES
    await work.run(clock_pool, pool, clock.now, HANDLERS)
    assert [one["set_id"] for one in await left_out(api)] == [SET, an_id(31)]


async def test_a_job_that_is_open_again_leaves_nothing_out(
    api: Api,
    clock: Clock,
    pool: Pool,
    clock_pool: Pool,
    owner: "asyncpg.Connection[asyncpg.Record]",
) -> None:
    await place_and_close(api)
    await api.patch(f"jobs/{JOB}", {"closed_at": None, "end_reason": None}, If_Match='"2"')
    clock.now += TEN_MINUTES
    await work.run(clock_pool, pool, clock.now, HANDLERS)
    assert await left_out(api) == []
    assert await owner.fetchval("select count(*) from work where kind = 'left_out'") == 0
