"""What arrives after an erasure, from phones that did not know: what was done is kept, and no word of the person."""

from datetime import timedelta
from typing import Any

import asyncpg
import pytest

from service.work import ticks as work
from tests.bodies import a_visit, an_id
from tests.books import HANDLERS
from tests.erasure.spoken import CUSTOMER, GROUND, SECOND, WORD, sell, tables_with, the_visit, verified
from tests.http import PROPERTY, VISIT, Api, Clock, codes

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
    "incidents": {
        "kind": "other",
        "happened_at": "2026-05-13T10:00:00Z",
        "description": WORD,
        "measures": WORD,
    },
    "treatments": {"method": "bait", "applied_at": "2026-05-13T10:00:00Z", "told_by": WORD},
    "upkeep": {"kind": "mown", "at": "2026-05-13T10:00:00Z", "told_by": WORD},
    "jobs": {"target": "Thomomys bottae", "opened_at": "2026-05-13T10:00:00Z", "ref": WORD},
}


@pytest.mark.parametrize("noun", ALONE)
async def test_what_is_stated_alone_is_kept_without_its_texts_and_known_again(
    spoken_of: Api, owner: "Owner[Any]", noun: str
) -> None:
    await spoken_of.post(f"customers/{CUSTOMER}/erase", GROUND)
    body = {"property_id": PROPERTY, **ALONE[noun]}
    made = await spoken_of.made(f"{noun}/{an_id(370)}", body)
    told = {name for name, value in body.items() if value != WORD}
    assert told <= made.keys(), "all else is kept"
    again = await spoken_of.put(f"{noun}/{an_id(370)}", body)
    assert (again.status_code, again.json()["version"]) == (200, 1)
    assert await tables_with(owner, WORD) == set()


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
