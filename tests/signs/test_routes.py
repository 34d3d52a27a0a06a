"""Signs and lawn patches as they are read, after visits as a phone sends them.

Instants are our own arithmetic for May 2026 in Los Angeles (UTC-7 then).
"""

import itertools
from datetime import datetime
from typing import Any

import pytest

from tests.bodies import an_id
from tests.signs.builders import la
from tests.signs.conftest import BED, LAWN, SQUARE, Book

DEADLINES = (
    "select id, state, due_at, met_at, outcome, why from deadline where state <> 'withdrawn' order by id"
)


def sign(number: int, at: datetime, **more: Any) -> dict[str, Any]:
    return {"id": an_id(number), "kind": "mound", "seen_at": at.isoformat(), "on_turf": True, **more}


def clearing(number: int, sign_number: int, at: datetime, **more: Any) -> dict[str, Any]:
    return {"id": an_id(number), "sign_id": an_id(sign_number), "cleared_at": at.isoformat(), **more}


def look(number: int, sign_number: int, at: datetime, **more: Any) -> dict[str, Any]:
    return {"id": an_id(number), "sign_id": an_id(sign_number), "looked_at": at.isoformat(), **more}


def mowing(number: int, at: datetime, **more: Any) -> dict[str, Any]:
    return {"id": an_id(number), "kind": "mown", "at": at.isoformat(), **more}


def survey(number: int, at: datetime, **more: Any) -> dict[str, Any]:
    return {"id": an_id(number), "surveyed_at": at.isoformat(), "fresh_signs": 0, **more}


async def test_a_sign_shows_what_was_stated_of_it_and_its_state(book: Book) -> None:
    stated = sign(20, la(14, 10), count=2, length_mm=430, width_mm=400, feature_id=LAWN, photo_ids=[an_id(9)])
    await book.visit(100, la(14, 10), signs=[stated])
    shown = await book.get(f"signs/{an_id(20)}")
    assert shown == stated | {
        "seen_at": "2026-05-14T17:00:00Z",
        "property_id": an_id(1),
        "visit_id": an_id(100),
        "visit_etag": '"1"',
        "state": "lying",
        "cleared_count": 0,
    }
    await book.visit(101, la(15, 9), clearings=[clearing(30, 20, la(15, 9))])
    await book.visit(102, la(20, 9), looks=[look(31, 20, la(20, 9), turf="thin")])
    assert await book.get(f"signs/{an_id(20)}") == shown | {
        "state": "cleared",
        "cleared_count": 2,
        "cleared_at": "2026-05-15T16:00:00Z",
        "turf": "thin",
    }


async def test_the_tag_of_a_sign_is_weak_and_changes_with_its_state(book: Book) -> None:
    await book.visit(100, la(14, 10), signs=[sign(20, la(14, 10))])
    first = await book.api.get(f"/v1/signs/{an_id(20)}")
    tag = first.headers["ETag"]
    assert tag.startswith('W/"')
    again = await book.api.get(f"/v1/signs/{an_id(20)}", headers={"If-None-Match": tag})
    assert (again.status_code, again.content) == (304, b"")
    await book.visit(101, la(15, 9), clearings=[clearing(30, 20, la(15, 9))])
    changed = await book.api.get(f"/v1/signs/{an_id(20)}", headers={"If-None-Match": tag})
    assert (changed.status_code, changed.json()["state"]) == (200, "cleared")


async def test_a_sign_of_which_nothing_is_known_is_not_found(book: Book) -> None:
    answer = await book.api.get(f"/v1/signs/{an_id(20)}")
    assert (answer.status_code, answer.json()["type"]) == (404, "/problems/not_found")


async def test_facts_of_an_awaited_sign_wait_for_it_and_then_count(book: Book) -> None:
    receipt = await book.visit(101, la(14, 12), clearings=[clearing(30, 20, la(14, 12))])
    assert [one["code"] for one in receipt["warnings"]] == ["sign_awaited"]
    waiting = {"id": an_id(20), "property_id": an_id(1), "state": "awaited", "cleared_count": 0}
    assert await book.get(f"signs/{an_id(20)}") == waiting
    assert (await book.get("signs", state="awaited"))["items"] == [waiting]
    assert (await book.get("lawn-patches"))["items"] == []
    await book.visit(100, la(14, 10), signs=[sign(20, la(14, 10))])
    assert (await book.get(f"signs/{an_id(20)}"))["state"] == "cleared"
    assert await book.rows("select * from conflict") == []


async def test_an_amended_and_a_withdrawn_visit_leave_what_is_stated_now(book: Book) -> None:
    await book.visit(100, la(14, 10), signs=[sign(20, la(14, 10))])
    await book.visit(100, la(14, 10), signs=[sign(21, la(14, 10), on_turf=False)])
    assert [one["id"] for one in (await book.get("signs"))["items"]] == [an_id(21)]
    assert await book.rows("select * from lawn_patch") == []
    await book.withdraw(100)
    assert await book.rows("select * from sign_state") == []
    assert {one["state"] for one in await book.rows("select state from deadline")} == {"withdrawn"}


async def test_a_patch_shows_its_clock_its_area_and_the_visit_that_states_its_start(book: Book) -> None:
    stated = sign(20, la(14, 10), length_mm=300, width_mm=300, count=7)
    await book.visit(99, la(13, 15), upkeep=[mowing(10, la(13, 15))])
    await book.visit(100, la(14, 10), signs=[stated])
    await book.visit(101, la(15, 9), clearings=[clearing(30, 20, la(15, 9))])
    await book.visit(102, la(16, 9), looks=[look(31, 20, la(16, 9), fresh_soil=True, turf="sound")])
    first, again = sorted((await book.get("lawn-patches"))["items"], key=lambda one: str(one["started_at"]))
    deadlines = {str(one["id"]) for one in await book.rows("select id from deadline where kind = 'lawn'")}
    assert {first.pop("id"), again.pop("id")} == deadlines
    shared = {"sign_id": an_id(20), "sign_kind": "mound", "property_id": an_id(1), "area_m2": "0.494801"}
    shared |= {"visit_etag": '"1"'}
    assert first == shared | {
        "starting_fact_id": an_id(20),
        "visit_id": an_id(100),
        "started_at": "2026-05-14T17:00:00Z",
        "earliest_at": "2026-05-13T22:00:00Z",
        "earliest_from": "mowing",
        "due_at": "2026-05-16T22:00:00Z",
        "cleared_at": "2026-05-15T16:00:00Z",
        "count": 7,
        "cleared_count": 7,
        "verdict": "in_time",
        "outcome": "saved",
    }
    assert again == shared | {
        "starting_fact_id": an_id(31),
        "visit_id": an_id(102),
        "started_at": "2026-05-16T16:00:00Z",
        "earliest_at": "2026-05-15T16:00:00Z",
        "earliest_from": "clearing",
        "due_at": "2026-05-18T16:00:00Z",
        "cleared_count": 0,
        "verdict": "still_lying",
        "turf": "sound",
    }


@pytest.mark.parametrize(
    ("bounds", "earliest_at"),
    [
        ([survey(10, la(11, 9), feature_id=LAWN)], "2026-05-11T16:00:00Z"),
        ([survey(10, la(11, 9), feature_id=BED)], None),
        ([survey(10, la(11, 9), area=SQUARE)], "2026-05-11T16:00:00Z"),
        ([survey(10, la(11, 9), fresh_signs=1)], None),
        ([survey(10, la(12, 8))], None),
        ([survey(10, la(4, 9)), survey(11, la(5, 9), feature_id=LAWN)], "2026-05-05T16:00:00Z"),
        ([survey(10, la(6, 9)), survey(11, la(5, 9), feature_id=LAWN)], "2026-05-06T16:00:00Z"),
    ],
)
async def test_surveys_that_speak_for_the_place_of_the_sign_bound_it(
    book: Book, bounds: list[dict[str, Any]], earliest_at: str | None
) -> None:
    inside = {"type": "Point", "coordinates": [-121.5, 45.5]}
    await book.visit(100, la(12, 8), signs=[sign(20, la(12, 8), geometry=inside)])
    await book.visit(99, la(4, 9), surveys=bounds)
    (patch,) = (await book.get("lawn-patches"))["items"]
    assert patch.get("earliest_at") == earliest_at


async def test_a_mowing_that_becomes_known_later_gives_the_verdict_as_if_known_at_once(book: Book) -> None:
    await book.visit(100, la(14, 10), signs=[sign(20, la(14, 10))])
    await book.visit(101, la(16, 14), clearings=[clearing(30, 20, la(16, 14, 59))])
    (before,) = (await book.get("lawn-patches"))["items"]
    assert (before["earliest_from"], before["verdict"]) == ("unknown", "late")
    mown = {"property_id": an_id(1), "kind": "mown", "at": la(13, 15).isoformat()}
    await book.put(f"upkeep/{an_id(10)}", mown)
    (after,) = (await book.get("lawn-patches"))["items"]
    assert (after["id"], after["earliest_from"], after["verdict"]) == (before["id"], "mowing", "in_time")
    (deadline,) = await book.rows("select state, outcome from deadline where kind = 'lawn'")
    assert deadline == {"state": "met", "outcome": "in_time"}


async def test_lists_are_narrowed_by_property_job_state_verdict_and_local_date(book: Book) -> None:
    job = {"property_id": an_id(1), "target": "Scapanus latimanus", "opened_at": la(14, 0).isoformat()}
    await book.put(f"jobs/{an_id(40)}", job)
    await book.visit(100, la(13, 10), signs=[sign(20, la(13, 23, 59)), sign(21, la(14, 0))])
    await book.visit(101, la(14, 10), signs=[sign(22, la(15, 0))])
    await book.visit(102, la(15, 9), clearings=[clearing(30, 22, la(15, 9))])

    async def ids(path: str, key: str, **query: Any) -> list[str]:
        return sorted(one[key] for one in (await book.get(path, **query))["items"])

    every = [an_id(20), an_id(21), an_id(22)]
    for path, key in (("signs", "id"), ("lawn-patches", "sign_id")):
        assert await ids(path, key, property_id=an_id(1)) == every
        assert await ids(path, key, property_id=an_id(7)) == []
        assert await ids(path, key, job_id=an_id(40)) == [an_id(22)]
        assert await ids(path, key, since="2026-05-14", until="2026-05-15") == [an_id(21)]
    assert await ids("signs", "id", state="cleared") == [an_id(22)]
    assert await ids("lawn-patches", "sign_id", verdict="still_lying") == every[:2]
    wrong = await book.api.get("/v1/signs", params={"state": "gone"})
    assert wrong.status_code == 400


@pytest.mark.parametrize("path", ["signs", "lawn-patches"])
async def test_pages_hold_every_row_once(book: Book, path: str) -> None:
    await book.visit(100, la(14, 10), signs=[sign(number, la(14, 10)) for number in (20, 21, 22)])
    found: list[str] = []
    next_page: str | None = f"/v1/{path}?limit=2"
    while next_page:
        answer = await book.api.get(next_page)
        found += [one["id"] for one in answer.json()["items"]]
        next_page = answer.links["next"]["url"] if "Link" in answer.headers else None
    assert len(found) == 3
    assert found == sorted(found)
    assert found == [one["id"] for one in (await book.get(path))["items"]]


async def test_what_follows_does_not_depend_on_the_order_in_which_visits_came(book: Book) -> None:
    visits: dict[int, dict[str, Any]] = {
        100: {"at": la(14, 10), "signs": [sign(20, la(14, 10), count=2)]},
        101: {"at": la(13, 15), "upkeep": [mowing(10, la(13, 15))]},
        102: {"at": la(15, 9), "clearings": [clearing(30, 20, la(15, 9)), clearing(31, 20, la(13, 9))]},
        103: {"at": la(16, 9), "looks": [look(32, 20, la(16, 9), fresh_soil=True)]},
    }
    found = set()
    for order in itertools.permutations(visits):
        for number in order:
            await book.visit(number, **visits[number])
        states = await book.rows("select * from sign_state order by sign_id")
        patches = await book.rows("select * from lawn_patch order by id")
        conflicts = await book.rows("select * from conflict order by id")
        deadlines = await book.rows(DEADLINES)
        assert (len(states), len(patches), len(conflicts)) == (1, 2, 1)
        found.add(repr((states, patches, conflicts, deadlines)))
        for number in order:
            await book.withdraw(number)
        assert await book.rows("select * from sign_state") == []
    assert len(found) == 1
