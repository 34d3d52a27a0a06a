"""What the API answers and tells of sets, whatever order their visits come in."""

from typing import Any
from urllib.parse import urlencode

import pytest

from tests.bodies import a_visit, an_id
from tests.http import PROPERTY, Api, a_property, codes

OTHER_PROPERTY, SET, NEW_SET, JOB = an_id(0x51), an_id(0xA1), an_id(0xA2), an_id(0x70)
MONDAY, TUESDAY = "2026-03-02T09:00:00-08:00", "2026-03-03T10:00:00-08:00"
WEDNESDAY = "2026-03-04T10:00:00-08:00"


def placing(set_id: str = SET, at: str = MONDAY, **members: Any) -> dict[str, Any]:
    """A pair in one run, the first of them numbered."""
    traps = [{"no": 1, "mark": "A 17", "direction_deg": 90}, {"no": 2}]
    return {"id": set_id, "placed_at": at, "mechanism": "scissor_jaw", "traps": traps, **members}


def check(number: int, at: str, finding: str, action: str, **members: Any) -> dict[str, Any]:
    """Check 1, 2, ... of the set."""
    said = {"finding": finding, "action": action}
    return {"id": an_id(0xC0 + number), "set_id": SET, "checked_at": at, **said, **members}


def an_animal(number: int, **members: Any) -> dict[str, Any]:
    """A mole in the trap."""
    return {"id": an_id(0xD0 + number), "species": "Scapanus latimanus", "fate": "dead_in_trap", **members}


PULL = check(1, TUESDAY, "catch", "pulled", catches=[an_animal(1, trap_no=2)])


def visit_id(number: int) -> str:
    """Visit 1, 2, ..."""
    return an_id(0x100 + number)


async def visit(api: Api, number: int, arrived_at: str, **facts: Any) -> list[str]:
    """Put that visit; gives the codes of its warnings."""
    answer = await api.put(f"visits/{visit_id(number)}", a_visit(arrived_at=arrived_at, **facts))
    assert answer.status_code == 201, answer.text
    return codes(answer)


async def withdraw(api: Api, number: int) -> None:
    """Take that visit back."""
    tag = (await api.get(f"visits/{visit_id(number)}")).headers["etag"]
    answer = await api.delete(f"visits/{visit_id(number)}", If_Match=tag)
    assert answer.status_code == 200, answer.text


async def the_set(api: Api) -> Any:
    """The set as the API answers it."""
    answer = await api.get(f"sets/{SET}")
    assert answer.status_code == 200, answer.text
    return answer.json()


async def told(api: Api) -> list[tuple[str, dict[str, Any]]]:
    """Type and data of what was told of sets, in order."""
    return [(one["type"], one["data"]) for one in await api.told("set.placed", "set.ended", "set.restored")]


async def conflicts(api: Api) -> list[tuple[str, str]]:
    """Kind and fact of every conflict in the api."""
    return sorted((one["kind"], one["fact_id"]) for one in await api.items("conflicts"))


async def test_a_set_answers_what_is_stated_and_what_follows(api: Api) -> None:
    where = {"type": "Point", "coordinates": [-122.45, 45.55]}
    await visit(api, 1, MONDAY, sets=[placing(position=where, depth_mm=180, flagged=True)])
    await visit(api, 2, TUESDAY, checks=[check(1, TUESDAY, "bypassed", "left")])
    await visit(api, 3, WEDNESDAY, checks=[check(2, WEDNESDAY, "catch", "reset", catches=[an_animal(1)])])
    shown = await the_set(api)
    assert [one["code"] for one in shown.pop("cautions")][:1] == ["traps_stand"]
    assert shown == {
        "id": SET,
        "property_id": PROPERTY,
        "visit_id": visit_id(1),
        "visit_etag": '"1"',
        "placed_at": "2026-03-02T17:00:00Z",
        "position": where,
        "mechanism": "scissor_jaw",
        "traps": [{"no": 1, "direction_deg": 90, "mark": "A 17"}, {"no": 2}],
        "depth_mm": 180,
        "flagged": True,
        "photo_ids": [],
        "state": "standing",
        "fishing": True,
        "last_looked_at": "2026-03-04T18:00:00Z",
        "last_finding": "catch",
        "looks": 2,
        "catches": 1,
        "trap_nights": "3.5",
        "notice": "Local codes and licensed practice come first.",
    }


async def test_a_check_that_comes_before_its_placing_is_kept_and_then_counts_as_if_other(
    api: Api, other: Api
) -> None:
    assert await visit(api, 2, TUESDAY, checks=[PULL]) == ["set_awaited"]
    awaited = await the_set(api)
    assert (awaited["state"], awaited["fishing"], awaited["looks"]) == ("awaited", False, 1)
    assert await conflicts(api) == [("set_awaited", PULL["id"])]
    assert await told(api) == []
    assert await visit(api, 1, MONDAY, sets=[placing()]) == []
    assert await visit(other, 1, MONDAY, sets=[placing()]) == []
    assert await visit(other, 2, TUESDAY, checks=[PULL]) == []
    assert await the_set(api) == await the_set(other)
    assert await conflicts(api) == await conflicts(other) == []
    assert [kind for kind, _ in await told(api)] == ["set.placed", "set.ended"]
    assert await told(api) == await told(other)


async def test_another_business_set_is_one_that_is_never_placed(api: Api, other: Api) -> None:
    await visit(api, 1, MONDAY, sets=[placing()])
    assert await visit(other, 2, TUESDAY, checks=[PULL]) == ["set_awaited"]
    assert (await the_set(other))["state"] == "awaited"
    assert (await the_set(api))["looks"] == 0
    assert await conflicts(api) == []


async def test_two_phones_pulled_one_set(api: Api) -> None:
    await visit(api, 1, MONDAY, sets=[placing()])
    left = check(2, "2026-03-03T15:00:00-08:00", "undisturbed", "left")
    assert await visit(api, 3, left["checked_at"], checks=[left]) == []
    assert await visit(api, 2, TUESDAY, checks=[PULL]) == []
    ended = await the_set(api)
    assert (ended["state"], ended["ended_at"], ended["looks"]) == ("pulled", "2026-03-03T18:00:00Z", 1)
    assert await conflicts(api) == [("check_after_end", left["id"])]
    said = dict(await told(api))
    assert said["set.ended"] == {
        "set_id": SET,
        "property_id": PROPERTY,
        "visit_id": visit_id(2),
        "check_id": PULL["id"],
        "ended_as": "pulled",
        "ended_at": "2026-03-03T18:00:00Z",
    }


async def test_a_pull_that_is_taken_back_restores_the_set(api: Api) -> None:
    await visit(api, 1, MONDAY, sets=[placing()])
    await visit(api, 2, TUESDAY, checks=[PULL])
    await withdraw(api, 2)
    standing = await the_set(api)
    assert (standing["state"], standing["looks"], standing["trap_nights"]) == ("standing", 0, "0.0")
    assert "ended_at" not in standing
    assert (await told(api))[-1] == (
        "set.restored",
        {"set_id": SET, "property_id": PROPERTY, "state": "standing"},
    )


async def test_nothing_is_left_of_a_set_whose_visits_are_withdrawn(api: Api) -> None:
    await visit(api, 1, MONDAY, sets=[placing()])
    await visit(api, 2, TUESDAY, checks=[PULL])
    await withdraw(api, 1)
    assert (await the_set(api))["state"] == "awaited"
    await withdraw(api, 2)
    assert (await api.get(f"sets/{SET}")).status_code == 404
    assert await conflicts(api) == []


async def test_a_moved_set_names_its_new_one_once_that_comes(api: Api) -> None:
    await visit(api, 1, MONDAY, sets=[placing()])
    moved = check(1, TUESDAY, "bypassed", "moved")
    assert await visit(api, 2, TUESDAY, checks=[moved]) == ["move_without_new_set"]
    await visit(api, 3, TUESDAY, sets=[placing(NEW_SET, TUESDAY, moved_from_set_id=SET)])
    assert (await the_set(api))["moved_to_set_id"] == NEW_SET
    assert await conflicts(api) == []
    assert (await told(api))[-1][1]["moved_from_set_id"] == SET


async def test_a_repair_at_a_set_that_nobody_placed_is_listed(api: Api) -> None:
    repair = {"id": an_id(0xE1), "set_id": SET, "repaired_at": TUESDAY, "how": "levelled", "area_m2": "0.2"}
    assert await visit(api, 2, TUESDAY, repairs=[repair]) == ["set_awaited"]
    assert (await api.get(f"sets/{SET}")).status_code == 404
    await visit(api, 1, MONDAY, sets=[placing()])
    assert await conflicts(api) == []


async def test_a_set_has_a_weak_tag_that_moves_with_what_it_answers(api: Api) -> None:
    await visit(api, 1, MONDAY, sets=[placing()])
    first = await api.get(f"sets/{SET}")
    tag = first.headers["etag"]
    assert tag.startswith('W/"')
    again = await api.get(f"sets/{SET}", If_None_Match=tag)
    assert (again.status_code, again.content) == (304, b"")
    await visit(api, 2, TUESDAY, checks=[check(1, TUESDAY, "undisturbed", "left")])
    changed = await api.get(f"sets/{SET}", If_None_Match=tag)
    assert (changed.status_code, changed.json()["looks"]) == (200, 1)


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ({}, [SET, NEW_SET]),
        ({"state": "pulled"}, [SET]),
        ({"property_id": OTHER_PROPERTY}, [NEW_SET]),
        ({"job_id": JOB}, [NEW_SET]),
        ({"mark": "A 17"}, [SET]),
        ({"mark": "A 1"}, []),
        # local dates of placing: the second was placed late on the 3rd, which is the 4th in UTC
        ({"since": "2026-03-03"}, [NEW_SET]),
        ({"since": "2026-03-04"}, []),
        ({"until": "2026-03-03"}, [SET]),
        ({"since": "2026-03-02", "until": "2026-03-04"}, [SET, NEW_SET]),
    ],
)
async def test_sets_are_listed_by_what_people_ask_for(
    api: Api, query: dict[str, str], found: list[str]
) -> None:
    job = {"property_id": OTHER_PROPERTY, "target": "Scapanus latimanus", "opened_at": MONDAY}
    await api.made(f"properties/{OTHER_PROPERTY}", a_property())
    await api.made(f"jobs/{JOB}", job)
    late = "2026-03-03T23:30:00-08:00"
    await visit(api, 1, MONDAY, sets=[placing()])
    await visit(api, 2, TUESDAY, checks=[PULL])
    await visit(api, 3, late, property_id=OTHER_PROPERTY, sets=[placing(NEW_SET, late, traps=[{"no": 1}])])
    assert [one["id"] for one in await api.items(f"sets?{urlencode(query)}")] == found


async def test_pages_go_on_where_the_one_before_ended(api: Api) -> None:
    ids = [an_id(0xA0 + number) for number in range(5)]
    await visit(api, 1, MONDAY, sets=[placing(one, traps=[{"no": 1, "mark": one}]) for one in ids])
    for path, key in [("sets", "id"), ("traps", "mark")]:
        found, query = [], {"limit": "2"}
        while "after" not in query or query["after"] is not None:
            page = (await api.get(f"{path}?{urlencode(query)}")).json()
            found.append([one[key] for one in page["items"]])
            query = {"limit": "2", "after": page.get("next")}
        assert found == [ids[:2], ids[2:4], ids[4:]]


async def test_a_marked_trap_is_where_it_was_placed_last(api: Api) -> None:
    await api.made(f"properties/{OTHER_PROPERTY}", a_property())
    await visit(api, 1, MONDAY, sets=[placing()])
    await visit(api, 2, TUESDAY, checks=[PULL])
    await visit(api, 3, WEDNESDAY, property_id=OTHER_PROPERTY, sets=[placing(NEW_SET, WEDNESDAY)])
    assert await api.items("traps") == [
        {
            "mark": "A 17",
            "no": 1,
            "direction_deg": 90,
            "mechanism": "scissor_jaw",
            "set_id": NEW_SET,
            "property_id": OTHER_PROPERTY,
            "placed_at": "2026-03-04T18:00:00Z",
            "state": "standing",
            "fishing": True,
        }
    ]
    assert await api.items(f"traps?property_id={PROPERTY}") == []
    assert await api.items("traps?mark=A+17&state=standing") != []
    assert await api.items("traps?state=pulled") == []


async def test_what_cannot_be_asked_is_refused(api: Api) -> None:
    for query in ("state=resting", "mark=%00", "mark=", "since=yesterday", "limit=0", "after=x"):
        answer = await api.get(f"sets?{query}")
        assert answer.status_code == 400, (query, answer.text)
