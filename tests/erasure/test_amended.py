"""What was of the customer's days before it was amended: each version is judged by the day that it states itself."""

import json
from typing import Any

import asyncpg
import pytest

from tests.bodies import a_visit, an_id
from tests.erasure.spoken import CUSTOMER, GROUND, SECOND, sell, tables_with
from tests.http import PROPERTY, Api, a_property

Owner = asyncpg.Connection
OF_FIRST, OF_SECOND = "2026-05-13T10:00:00-07:00", "2026-05-14T09:00:00-07:00"
ELSEWHERE = an_id(380)
# What each of the two says; one may go with the other, not stay behind it.
SAID, SAID_AFTER = "Wxyzzy", "Qwertz"
# What is stated alone: its day, its text, and what else it needs.
ALONE: dict[str, tuple[str, str, dict[str, Any]]] = {
    "treatments": ("applied_at", "told_by", {"method": "bait"}),
    "upkeep": ("at", "told_by", {"kind": "mown"}),
    "incidents": ("happened_at", "description", {"kind": "other"}),
    "jobs": ("opened_at", "ref", {"target": "Thomomys bottae"}),
}


@pytest.fixture
async def sold(spoken_of: Api) -> Api:
    """A book in which the property is the second customer's from the day on that is today."""
    await sell(spoken_of, "2026-05-14")
    return spoken_of


@pytest.mark.parametrize("day", [OF_FIRST, "2026-05-14T06:59:00+23:59"])
@pytest.mark.parametrize("noun", ALONE)
async def test_a_version_of_an_own_day_goes_though_it_was_amended_to_anothers(
    sold: Api, owner: "Owner[Any]", noun: str, day: str
) -> None:
    """It came in the other's days, and the row is of one of those; PostgreSQL reads no offset of 16 hours or more."""
    at, text, needed = ALONE[noun]
    path, body = f"{noun}/{an_id(351)}", {"property_id": PROPERTY, **needed}
    await sold.made(path, body | {at: day, text: SAID})
    amended = await sold.put(path, body | {at: OF_SECOND, text: SAID_AFTER}, If_Match='"1"')
    assert amended.status_code == 200, amended.text
    await sold.post(f"customers/{CUSTOMER}/erase", GROUND)
    assert await tables_with(owner, SAID) == set()
    assert "stated_version.body" in await tables_with(owner, SAID_AFTER)


@pytest.mark.parametrize("noun", ["treatments", "upkeep"])
async def test_a_version_of_an_own_day_goes_though_it_was_deleted(
    sold: Api, owner: "Owner[Any]", noun: str
) -> None:
    at, text, needed = ALONE[noun]
    await sold.made(f"{noun}/{an_id(351)}", {"property_id": PROPERTY, at: OF_FIRST, text: SAID, **needed})
    assert (await sold.delete(f"{noun}/{an_id(351)}", If_Match='"1"')).status_code < 300
    await sold.post(f"customers/{CUSTOMER}/erase", GROUND)
    assert await tables_with(owner, SAID) == set()


@pytest.mark.parametrize("to", [{"arrived_at": OF_SECOND}, {"property_id": ELSEWHERE}])
async def test_a_version_of_a_visit_goes_though_it_was_amended_away(
    sold: Api, owner: "Owner[Any]", to: dict[str, str]
) -> None:
    """To another day or another place; what it says there stays with those whose it is."""
    await sold.made(f"properties/{ELSEWHERE}", a_property())
    await sold.made(f"visits/{an_id(352)}", a_visit(arrived_at=OF_FIRST, notes=SAID))
    body = a_visit(**{"arrived_at": OF_FIRST, "notes": SAID_AFTER, "amend_reason": f"not at {SAID}'s"} | to)
    amended = await sold.put(f"visits/{an_id(352)}", body, If_Match='"1"')
    assert (amended.status_code, amended.json()["outcome"]) == (200, "amended")
    held = (await sold.get(f"customers/{CUSTOMER}/personal-data")).json()["held"]
    of_visit = {one["noun"]: one["data"] for one in held if one["id"] == an_id(352)}
    assert {noun: data["notes"] for noun, data in of_visit.items()} == {"visit, version 1": SAID}
    answer = await sold.post(f"customers/{CUSTOMER}/erase", GROUND)
    assert answer.status_code == 200, answer.text
    assert await tables_with(owner, SAID) == set()
    assert await tables_with(owner, SAID_AFTER) == {"visit.notes", "visit_version.body"}


async def test_a_version_of_anothers_day_stays_where_a_visit_was_amended_to_an_own(
    sold: Api, owner: "Owner[Any]"
) -> None:
    """Withdrawn at last: its withdrawal is of the version before."""
    await sold.made(f"visits/{an_id(352)}", a_visit(arrived_at=OF_SECOND, notes=SAID_AFTER))
    await sold.put(f"visits/{an_id(352)}", a_visit(arrived_at=OF_FIRST, notes=SAID), If_Match='"1"')
    gone = await sold.delete(f"visits/{an_id(352)}?amend_reason=twice", If_Match='"2"')
    assert gone.status_code == 200, gone.text
    for customer, versions in ((CUSTOMER, {2, 3}), (SECOND, {1})):
        held = (await sold.get(f"customers/{customer}/personal-data")).json()["held"]
        named = {one["noun"] for one in held if one["id"] == an_id(352)}
        assert named == {f"visit, version {version}" for version in versions}
    await sold.post(f"customers/{CUSTOMER}/erase", GROUND)
    assert await tables_with(owner, SAID) == set()
    assert await tables_with(owner, SAID_AFTER) == {"visit_version.body"}
    left = (await sold.get(f"customers/{SECOND}/personal-data")).json()["held"]
    assert SAID_AFTER in json.dumps(left)


@pytest.mark.parametrize("place", [PROPERTY, ELSEWHERE])
async def test_every_version_of_an_incident_of_an_own_visit_goes(
    sold: Api, owner: "Owner[Any]", place: str
) -> None:
    """On whatever day it happened, and wherever."""
    await sold.made(f"properties/{ELSEWHERE}", a_property())
    await sold.made(f"visits/{an_id(352)}", a_visit(arrived_at=OF_FIRST))
    hurt = {"property_id": place, "visit_id": an_id(352), "kind": "other", "happened_at": OF_SECOND}
    await sold.made(f"incidents/{an_id(351)}", hurt | {"description": SAID})
    await sold.post(f"customers/{CUSTOMER}/erase", GROUND)
    assert await tables_with(owner, SAID) == set()
