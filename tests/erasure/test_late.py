"""What arrives after an erasure, from phones that did not know: what was done is kept, and no word of the person."""

import json
from datetime import timedelta
from typing import Any

import asyncpg
import pytest

from service.work import ticks as work
from tests.bodies import a_visit, an_id
from tests.books import HANDLERS
from tests.erasure.spoken import CUSTOMER, GROUND, SECOND, WORD, sell, tables_with, the_visit, verified
from tests.http import PROPERTY, VISIT, Api, Clock, a_property, codes

Owner = asyncpg.Connection


async def test_a_phone_that_sends_the_old_body_again_is_answered_same_and_brings_no_word_back(
    spoken_of: Api, owner: "Owner[Any]"
) -> None:
    await spoken_of.post(f"customers/{CUSTOMER}/erase", GROUND)
    answer = await spoken_of.put(f"visits/{VISIT}", the_visit())
    assert (answer.status_code, answer.json()["outcome"]) == (200, "same")
    assert await tables_with(owner, WORD) == set()


async def test_a_version_that_comes_later_names_nobody(spoken_of: Api, owner: "Owner[Any]") -> None:
    await spoken_of.post(f"customers/{CUSTOMER}/erase", GROUND)
    late = {"property_id": PROPERTY, "method": "bait", "applied_at": "2026-05-14T10:10:00-07:00"}
    await spoken_of.made(f"treatments/{an_id(68)}", late)
    answer = await spoken_of.post("service-records", {"visit_id": VISIT})
    assert answer.status_code == 201, answer.text
    shown = await verified(spoken_of, "2026-000001.2")
    assert shown["party"]["customer_name"] == "erased"
    assert await tables_with(owner, WORD) == set()


async def test_a_visit_that_arrives_or_is_amended_after_it_is_kept_without_texts(
    spoken_of: Api, owner: "Owner[Any]", clock: Clock, clock_pool: Any, pool: Any
) -> None:
    await spoken_of.post(f"customers/{CUSTOMER}/erase", GROUND)
    late = a_visit(arrived_at="2026-05-13T10:00:00-07:00", notes=WORD, customer_note=f"Dear {WORD}")
    came = await spoken_of.put(f"visits/{an_id(330)}", late)
    assert came.status_code == 201
    assert "texts_not_kept" in [one["code"] for one in came.json()["warnings"]]
    amended = the_visit() | {"treatments": [], "amend_reason": WORD}
    answer = await spoken_of.put(f"visits/{VISIT}", amended, If_Match='"1"')
    assert (answer.status_code, answer.json()["outcome"]) == (200, "amended")
    again = await spoken_of.put(f"visits/{an_id(330)}", late)
    assert (again.status_code, again.json()["outcome"]) == (200, "same")
    assert (await spoken_of.post("service-records", {"visit_id": an_id(330)})).status_code == 201
    clock.now += timedelta(hours=2)
    while await work.run(clock_pool, pool, clock.now, HANDLERS):
        pass
    assert await tables_with(owner, WORD) == set()


async def test_a_visit_of_a_day_before_anybody_held_it_is_the_only_holders(
    spoken_of: Api, owner: "Owner[Any]"
) -> None:
    """An erasure takes the texts of all visits at a property that nobody else held, so those that come later too."""
    await spoken_of.post(f"customers/{CUSTOMER}/erase", GROUND)
    late = a_visit(arrived_at="2025-06-01T10:00:00-07:00", notes=WORD)
    answer = await spoken_of.put(f"visits/{an_id(330)}", late)
    assert answer.status_code == 201, answer.text
    assert "texts_not_kept" in codes(answer)
    assert await tables_with(owner, WORD) == set()


ALONE: dict[str, dict[str, Any]] = {
    "treatments": {"method": "bait", "applied_at": "2026-05-13T10:00:00Z", "told_by": WORD},
    "upkeep": {"kind": "mown", "at": "2026-05-13T10:00:00Z", "told_by": WORD},
    "jobs": {"target": "Thomomys bottae", "opened_at": "2026-05-13T10:00:00Z", "ref": WORD},
}


@pytest.mark.parametrize("noun", ALONE)
async def test_what_is_stated_alone_is_kept_without_its_texts_says_so_and_is_known_again(
    spoken_of: Api, owner: "Owner[Any]", noun: str
) -> None:
    await spoken_of.post(f"customers/{CUSTOMER}/erase", GROUND)
    body = {"property_id": PROPERTY, **ALONE[noun]}
    came = await spoken_of.put(f"{noun}/{an_id(370)}", body)
    assert (came.status_code, codes(came)) == (201, ["texts_not_kept"])
    told = {name: value for name, value in body.items() if value != WORD}
    assert told.keys() <= came.json().keys(), "all else is kept"
    again = await spoken_of.put(f"{noun}/{an_id(370)}", body)
    assert (again.status_code, again.json()["version"], codes(again)) == (200, 1, ["texts_not_kept"])
    for silent in (
        await spoken_of.put(f"{noun}/{an_id(370)}", told),
        await spoken_of.get(f"{noun}/{an_id(370)}"),
    ):
        assert (silent.status_code, "warnings" in silent.json()) == (200, False), "nothing was lost here"
    assert await tables_with(owner, WORD) == set()


async def test_a_line_of_a_batch_says_that_its_texts_are_not_kept(spoken_of: Api) -> None:
    await spoken_of.post(f"customers/{CUSTOMER}/erase", GROUND)
    line = json.dumps({"job": {"id": an_id(370), "property_id": PROPERTY, **ALONE["jobs"]}})
    answer = await spoken_of.post("visits/batch", line.encode(), Content_Type="application/x-ndjson")
    assert (answer.json()["status"], codes(answer)) == (201, ["texts_not_kept"])


HURT = {
    "property_id": PROPERTY,
    "kind": "injury",
    "happened_at": "2026-05-14T10:00:00Z",
    "description": "A finger in a set.",
    "measures": "Washed; taken to a doctor.",
}


async def test_the_account_of_an_incident_is_refused_rather_than_lost(spoken_of: Api) -> None:
    """It comes in once somebody else holds the property, and without words at any time."""
    await spoken_of.post(f"customers/{CUSTOMER}/erase", GROUND)
    path = f"incidents/{an_id(380)}"
    refused = await spoken_of.put(path, HURT)
    assert refused.status_code == 409
    assert "end the tenure" in refused.json()["detail"]
    assert (await spoken_of.get(path)).status_code == 404
    bare = {name: value for name, value in HURT.items() if name != "measures"} | {"description": "erased"}
    await spoken_of.made(f"incidents/{an_id(381)}", bare)
    await sell(spoken_of, "2026-05-14")
    made = await spoken_of.made(path, HURT)
    assert HURT.items() <= made.items()


async def test_an_incident_that_lost_its_words_is_known_again_and_closed_and_gets_no_new_ones(
    spoken_of: Api, owner: "Owner[Any]"
) -> None:
    path = f"incidents/{an_id(380)}"
    hurt = HURT | {"description": WORD, "measures": WORD}
    await spoken_of.made(path, hurt)
    await spoken_of.post(f"customers/{CUSTOMER}/erase", GROUND)
    again = await spoken_of.put(path, hurt)
    assert (again.status_code, again.json()["version"], again.json()["description"]) == (200, 1, "erased")
    for change in (
        {"description": f"{WORD}, later"},
        {"measures": WORD, "closed_at": "2026-05-14T11:00:00Z"},
    ):
        assert (await spoken_of.patch(path, change, If_Match='"1"')).status_code == 409
    closed = await spoken_of.patch(path, {"closed_at": "2026-05-14T11:00:00Z"}, If_Match='"1"')
    assert (closed.status_code, closed.json()["version"]) == (200, 2)
    assert await tables_with(owner, WORD) == set()


async def test_an_incident_of_a_visit_of_the_erased_ones_days_is_theirs(spoken_of: Api) -> None:
    """An erasure takes those of the customer's visits, on whatever day they happened, so those that come later too."""
    await sell(spoken_of, "2026-05-13")
    await spoken_of.made(f"visits/{an_id(382)}", a_visit(arrived_at="2026-05-12T10:00:00-07:00"))
    await spoken_of.post(f"customers/{CUSTOMER}/erase", GROUND)
    path, later = f"incidents/{an_id(380)}", HURT | {"happened_at": "2026-05-13T17:00:00Z"}
    elsewhere = an_id(9)
    await spoken_of.made(f"properties/{elsewhere}", a_property(name="Second field"))
    for property_id in (PROPERTY, elsewhere):
        named = later | {"property_id": property_id, "visit_id": an_id(382)}
        assert (await spoken_of.put(path, named)).status_code == 409
    await spoken_of.made(path, later | {"visit_id": VISIT})


@pytest.mark.parametrize(("day", "kept"), [("2026-05-12T10:00:00Z", False), ("2026-05-13T10:00:00Z", True)])
async def test_at_a_property_of_two_it_is_kept_as_it_came_for_who_is_not_erased(
    spoken_of: Api, day: str, kept: bool
) -> None:
    await sell(spoken_of, "2026-05-13")
    await spoken_of.post(f"customers/{CUSTOMER}/erase", GROUND)
    body = {"property_id": PROPERTY, **ALONE["upkeep"], "at": day, "told_by": "B. Sample"}
    assert ("told_by" in await spoken_of.made(f"upkeep/{an_id(371)}", body)) is kept
    held = (await spoken_of.get(f"customers/{SECOND}/personal-data")).text
    assert (f"{an_id(371)}" in held) is kept
