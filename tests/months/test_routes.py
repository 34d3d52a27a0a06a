"""The month over HTTP: facts by their own instant, records by the arrival, each figure with its ids."""

from datetime import UTC, datetime
from typing import Any

import pytest

from tests.bodies import a_check, a_set, a_sign, a_visit, an_id
from tests.http import PROPERTY, Api, Clock, a_property

EAST = an_id(301)


def at(day: int, hour: int, minute: int = 0) -> str:
    """A local time of May 2026 in Los Angeles."""
    return f"2026-05-{day:02}T{hour:02}:{minute:02}:00-07:00"


def figures(part: dict[str, Any]) -> dict[str, Any]:
    """By figure and kind, the count."""
    return {
        one["figure"] + (f" {one['kind']}" if "kind" in one else ""): one["count"] for one in part["figures"]
    }


def ids(part: dict[str, Any], figure: str) -> list[str]:
    return [id_ for one in part["figures"] if one["figure"] == figure for id_ in one["ids"]]


@pytest.fixture
async def spring(api: Api, clock: Clock) -> Api:
    """Two properties in two zones; at one a set placed, looked at late, pulled; a mound cleared too late."""
    clock.now = datetime(2026, 6, 10, 18, tzinfo=UTC)
    await api.made(
        f"properties/{EAST}", a_property(name="Birch Lane", zone="America/New_York", region="US-NY")
    )
    await api.made(
        f"visits/{an_id(101)}",
        a_visit(
            arrived_at=at(4, 9),
            left_at=at(4, 10),
            sets=[a_set(placed_at=at(4, 9, 30), target="Scapanus latimanus", **opening())],
            signs=[a_sign(seen_at=at(4, 9, 10), length_mm=430, width_mm=400, absent_since=at(4, 1))],
        ),
    )
    found = {"species": "Scapanus latimanus", "fate": "dead_in_trap"}
    vole = {"species": "Microtus californicus", "fate": "released_here"}
    await api.made(
        f"visits/{an_id(102)}",
        a_visit(
            arrived_at=at(8, 9),
            left_at=at(8, 10),
            checks=[
                a_check(
                    checked_at=at(8, 9, 5),
                    finding="catch",
                    action="pulled",
                    catches=[{"id": an_id(50), **found}, {"id": an_id(51), **vole}],
                )
            ],
            clearings=[{"id": an_id(60), "sign_id": an_id(20), "cleared_at": at(8, 9, 10)}],
            treatments=[
                {"id": an_id(64), "method": "castor_oil", "applied_at": at(6, 12), "applied_by": "customer"}
            ],
        ),
    )
    await api.made(
        f"visits/{an_id(103)}",
        a_visit(
            arrived_at=at(31, 23, 30), left_at=at(31, 23, 40), outcome="no_access", no_access_reason="locked"
        ),
    )
    await api.made(
        f"visits/{an_id(104)}",
        a_visit(
            property_id=EAST, arrived_at=at(31, 23, 30), sets=[a_set(id=an_id(39), placed_at=at(31, 23, 30))]
        ),
    )
    for number in (101, 102, 103, 104):
        assert (await api.post("service-records", {"visit_id": an_id(number)})).status_code == 201
    return api


def opening() -> dict[str, Any]:
    """What digging it in opened."""
    return {"opening_length_mm": 200, "opening_width_mm": 150, "opening_on_turf": True}


async def test_the_month_counts_every_kind_of_fact_once_with_its_ids(spring: Api):
    month = (await spring.get("months/2026-05")).json()
    school, east = month["properties"]
    assert school["property_id"] == PROPERTY
    assert figures(east) == {"overdue_now check": 1}
    assert figures(school) == {
        "visits": 3,
        "no_access": 1,
        "sets_placed scissor_jaw": 1,
        "sets_pulled": 1,
        "looks": 1,
        "missed_looks": 1,
        "catches Scapanus latimanus": 1,
        "other_animals Microtus californicus": 1,
        "clearings us": 1,
        "lawn_patches late": 1,
        "turf_lost not_looked_at": 1,
        "turf_opened": 1,
        "turf_opened_still": 1,
        "treatments castor_oil": 1,
        "overdue_now lawn_followup": 1,
    }
    assert figures(month) == figures(school) | {"overdue_now check": 1}
    assert ids(school, "visits") == [an_id(101), an_id(102), an_id(103)]
    assert ids(school, "catches") == [an_id(50)]
    areas = {one["figure"]: one["area_m2"] for one in school["figures"] if "area_m2" in one}
    assert areas == {
        "lawn_patches": "0.135088",
        "turf_lost": "0.135088",
        "turf_opened": "0.023562",
        "turf_opened_still": "0.023562",
    }
    assert school["records"]["issued"] == ["2026-000001.1", "2026-000002.1", "2026-000003.1"]
    assert school["records"]["pesticide_free_by_us"] is True
    assert school["records"]["not_known_at_property"] == ["2026-000002.1"]


async def test_the_same_instant_is_june_in_a_zone_further_east(spring: Api):
    june = (await spring.get("months/2026-06")).json()
    east = next(one for one in june["properties"] if one["property_id"] == EAST)
    assert figures(east)["visits"] == 1
    assert figures(east)["sets_placed scissor_jaw"] == 1
    assert figures(east)["missed_looks"] == 1
    assert ids(east, "overdue_now") == ids(east, "missed_looks")
    assert east["records"]["issued"] == ["2026-000004.1"]
    assert "visits" not in figures(next((one for one in june["properties"] if one != east), {"figures": []}))


async def test_a_version_that_replaces_another_counts_instead_of_it(spring: Api):
    await spring.delete(f"visits/{an_id(102)}?amend_reason=another+place", If_Match='"1"')
    await spring.post("service-records", {"visit_id": an_id(102)})
    records = (await spring.get("months/2026-05")).json()["records"]
    assert records["withdrawn"] == ["2026-000002.2"]
    assert records["issued"] == ["2026-000001.1", "2026-000003.1"]
    assert records["pesticide_known_at_property"] is True


async def test_an_empty_month_is_empty_and_no_month_is_refused(spring: Api, other: Api):
    assert (await other.get("months/2026-05")).json()["properties"] == []
    for text in ("2026-13", "may", "2026-5"):
        answer = await spring.get(f"months/{text}")
        assert answer.status_code == 400
        assert "2026-05 for example" in answer.json()["detail"]
