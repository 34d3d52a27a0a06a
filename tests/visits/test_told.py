"""What a visit is warned of, what does not fit beside other facts, and what is told of it."""

from typing import Any

import pytest

from tests.bodies import AT, a_check, a_set, a_sign, a_visit, an_id
from tests.http import PROPERTY, VISIT, Api, codes

PATH, SECOND = f"visits/{VISIT}", f"visits/{an_id(4)}"
SET, SIGN = an_id(30), an_id(20)
HARPOON = a_set(mechanism="harpoon")
SPRUNG = a_check(finding="sprung_empty", action="reset")
MOLE = {"id": an_id(50), "species": "Scapanus latimanus", "fate": "dead_in_trap"}
TICKET = {"number": "T-4711", "called_at": "2026-05-10T08:00:00-07:00"}


def later(hour: int, minute: int = 0) -> str:
    """An instant of the same local morning."""
    return f"2026-05-14T{hour:02}:{minute:02}:00-07:00"


# Common practice, all of them: what is warned of is recorded all the same.
@pytest.mark.parametrize(
    ("members", "expected"),
    [
        ({"sets": [a_set(foot_traffic="none")]}, []),
        ({"sets": [a_set(foot_traffic="some")]}, ["not_flagged"]),
        ({"sets": [a_set(foot_traffic="path", flagged=False)]}, ["not_flagged"]),
        ({"sets": [a_set(foot_traffic="path", flagged=True)]}, []),
        ({"sets": [a_set(depth_mm=300)]}, []),
        ({"sets": [a_set(depth_mm=301)]}, ["no_locate_ticket"]),
        ({"sets": [HARPOON], "checks": [SPRUNG]}, ["ground_not_searched"]),
        ({"sets": [HARPOON], "checks": [{**SPRUNG, "ground_searched": False}]}, ["ground_not_searched"]),
        ({"sets": [HARPOON], "checks": [{**SPRUNG, "ground_searched": True}]}, []),
        ({"sets": [HARPOON], "checks": [a_check()]}, []),
        ({"sets": [a_set()], "checks": [SPRUNG]}, []),
        (
            {
                "sets": [HARPOON],
                "checks": [
                    a_check(
                        finding="catch",
                        traps=[{"no": 1, "finding": "catch"}, {"no": 2, "finding": "sprung_empty"}],
                        catches=[MOLE],
                    )
                ],
            },
            ["ground_not_searched"],
        ),
        ({"job_id": an_id(90)}, ["job_awaited"]),
        ({"signs": [a_sign(feature_id=an_id(91))]}, ["unknown_feature"]),
        ({"sets": [a_set(sign_id=an_id(92))]}, ["sign_awaited"]),
        ({"sets": [a_set(depth_mm=400, foot_traffic="path")]}, ["not_flagged", "no_locate_ticket"]),
    ],
)
async def test_what_the_trade_would_warn_of_is_recorded_with_a_warning(
    api: Api, members: dict[str, Any], expected: list[str]
) -> None:
    made = await api.put(PATH, a_visit(**members))
    assert (made.status_code, codes(made)) == (201, expected)


async def test_the_ground_is_searched_also_where_the_harpoon_was_placed_before(api: Api) -> None:
    await api.made(PATH, a_visit(sets=[HARPOON]))
    await api.made(f"visits/{an_id(5)}", a_visit(sets=[a_set(id=an_id(31))]))
    again = await api.put(SECOND, a_visit(checks=[SPRUNG, {**SPRUNG, "id": an_id(41), "set_id": an_id(31)}]))
    assert [(one["code"], one["fact_id"]) for one in again.json()["warnings"]] == [
        ("ground_not_searched", an_id(40))
    ]


async def test_a_ticket_of_a_job_at_the_property_lets_one_dig_deeper(api: Api) -> None:
    job = {"property_id": PROPERTY, "target": "unidentified", "opened_at": "2026-05-01T00:00:00Z"}
    await api.made(f"jobs/{an_id(8)}", {**job, "locate_ticket": TICKET})
    made = await api.put(PATH, a_visit(job_id=an_id(8), sets=[a_set(depth_mm=400)]))
    assert codes(made) == []


async def test_a_feature_of_another_property_is_an_unknown_one(api: Api) -> None:
    place = {"name": "Second field", "kind": "park", "zone": "Etc/UTC", "region": "US-CA"}
    await api.made(f"properties/{an_id(9)}", place)
    await api.made(f"properties/{an_id(9)}/features/{an_id(6)}", {"name": "Green", "kind": "green"})
    await api.made(f"properties/{PROPERTY}/features/{an_id(5)}", {"name": "Green", "kind": "green"})
    made = await api.put(PATH, a_visit(signs=[a_sign(feature_id=an_id(5))]))
    assert codes(made) == []
    made = await api.put(SECOND, a_visit(signs=[a_sign(id=an_id(21), feature_id=an_id(6))]))
    assert codes(made) == ["unknown_feature"]


async def test_a_check_may_come_before_the_placing_of_its_set(api: Api) -> None:
    checked = await api.put(SECOND, a_visit(checks=[a_check(checked_at=later(10, 30))]))
    assert (checked.status_code, codes(checked)) == (201, ["set_awaited"])
    assert (await api.get(f"sets/{SET}")).json()["state"] == "awaited"
    assert len(await api.items("conflicts")) == 1
    assert [one["type"] for one in await api.told()] == ["visit.recorded"]
    placed = await api.put(PATH, a_visit(sets=[a_set(placed_at=later(9))]))
    assert (placed.status_code, codes(placed)) == (201, [])
    found = (await api.get(f"sets/{SET}")).json()
    assert (found["state"], found["looks"], found["last_finding"]) == ("standing", 1, "undisturbed")
    assert await api.items("conflicts") == []
    assert codes(await api.put(SECOND, a_visit(checks=[a_check(checked_at=later(10, 30))]))) == []
    assert [one["type"] for one in await api.told()] == ["visit.recorded", "visit.recorded", "set.placed"]


async def test_a_set_of_another_business_is_awaited_for_ever(api: Api, other: Api) -> None:
    body = a_visit(checks=[a_check(checked_at=later(10, 30))])
    await other.made(PATH, a_visit(sets=[a_set()]))
    foreign = await api.put(SECOND, body)
    unknown = await api.put(f"visits/{an_id(5)}", a_visit(checks=[a_check(id=an_id(41), set_id=an_id(39))]))
    assert foreign.status_code == unknown.status_code == 201
    assert codes(foreign) == codes(unknown) == ["set_awaited"]
    assert foreign.json()["warnings"][0]["detail"] == unknown.json()["warnings"][0]["detail"]
    assert (await api.get(f"sets/{SET}")).json()["state"] == "awaited"
    theirs = (await other.get(f"sets/{SET}")).json()
    assert (theirs["state"], theirs["looks"]) == ("standing", 0)


async def test_two_phones_that_lift_one_set_are_both_recorded_and_listed(api: Api) -> None:
    await api.made(PATH, a_visit(sets=[a_set(placed_at=later(9))]))
    first = a_visit(checks=[a_check(checked_at=later(10), action="pulled")])
    second = a_visit(checks=[a_check(id=an_id(41), checked_at=later(10, 15), action="pulled")])
    assert codes(await api.put(f"visits/{an_id(5)}", second)) == []
    late = await api.put(SECOND, first)
    assert (late.status_code, codes(late)) == (201, [])
    (conflict,) = await api.items("conflicts")
    assert (conflict["kind"], conflict["fact_id"], conflict["visit_id"]) == (
        "ended_twice",
        an_id(41),
        an_id(5),
    )
    assert (await api.get(f"sets/{SET}")).json()["ended_at"] == "2026-05-14T17:00:00Z"


async def test_every_fact_that_becomes_known_is_told_in_a_log_without_gaps(api: Api) -> None:
    body = a_visit(
        signs=[a_sign()],
        sets=[a_set(placed_at=later(9), moved_from_set_id=None)],
        checks=[a_check(finding="catch", action="pulled", catches=[MOLE])],
        catches=[{**MOLE, "id": an_id(51), "caught_at": AT, "method": "by hand", "fate": "released_here"}],
        treatments=[{"id": an_id(64), "method": "repellent", "applied_at": AT, "applied_by": "customer"}],
    )
    await api.made(PATH, body)
    place = {"visit_id": VISIT, "property_id": PROPERTY}
    at = "2026-05-14T17:00:00Z"
    told = await api.told()
    assert {one["type"]: one["data"] for one in told if one["type"] != "catch.recorded"} == {
        "visit.recorded": {
            **place,
            "worker_id": an_id(2),
            "arrived_at": at,
            "outcome": "done",
            "version": 1,
            "fact_ids": [an_id(number) for number in (20, 30, 40, 50, 51, 64)],
        },
        "set.placed": {
            **place,
            "set_id": SET,
            "placed_at": "2026-05-14T16:00:00Z",
            "mechanism": "scissor_jaw",
            "traps": 1,
        },
        "set.ended": {**place, "set_id": SET, "check_id": an_id(40), "ended_as": "pulled", "ended_at": at},
        "treatment.recorded": {
            **place,
            "treatment_id": an_id(64),
            "method": "repellent",
            "applied_at": at,
            "applied_by": "customer",
        },
    }
    caught = [one["data"] for one in told if one["type"] == "catch.recorded"]
    species = {"species": "Scapanus latimanus", "caught_at": at}
    assert sorted(caught, key=lambda one: one["catch_id"]) == [
        {**place, **species, "catch_id": an_id(50), "set_id": SET, "fate": "dead_in_trap"},
        {**place, **species, "catch_id": an_id(51), "fate": "released_here"},
    ]
    assert [one["sequence"] for one in told] == [f"{number:020}" for number in range(1, len(told) + 1)]
    assert told[0]["type"] == "visit.recorded"
    assert len({one["id"] for one in told}) == len(told)


async def test_an_amendment_tells_which_facts_came_changed_and_went(api: Api) -> None:
    survey = {"id": an_id(10), "surveyed_at": AT, "fresh_signs": 0}
    catch = {**MOLE, "caught_at": AT, "method": "by hand"}
    await api.made(PATH, a_visit(signs=[a_sign(), a_sign(id=an_id(21))], surveys=[survey], catches=[catch]))
    amended = a_visit(
        signs=[a_sign(count=3)],
        surveys=[{**survey, "surveyed_at": "2026-05-14T17:00:00Z"}],
        catches=[{**catch, "mass_g": 70}, {**catch, "id": an_id(51)}],
        checks=[a_check()],
    )
    assert (await api.put(PATH, amended, If_Match='"1"')).status_code == 200
    told = await api.told("visit.amended", "catch.recorded")
    assert [(one["type"], one["data"].get("catch_id")) for one in told] == [
        ("catch.recorded", an_id(50)),
        ("visit.amended", None),
        ("catch.recorded", an_id(51)),
    ]
    assert told[1]["data"] == {
        "visit_id": VISIT,
        "property_id": PROPERTY,
        "version": 2,
        "added": [an_id(40), an_id(51)],
        "changed": [an_id(20), an_id(50)],
        "withdrawn": [an_id(21)],
    }


async def test_a_pull_that_is_taken_back_restores_the_set(api: Api) -> None:
    await api.made(PATH, a_visit(sets=[a_set(placed_at=later(9))]))
    await api.made(SECOND, a_visit(checks=[a_check(action="pulled")]))
    await api.put(SECOND, a_visit(checks=[a_check(action="left")]), If_Match='"1"')
    assert (await api.get(f"sets/{SET}")).json()["state"] == "standing"
    await api.put(SECOND, a_visit(checks=[a_check(action="pulled")]), If_Match='"2"')
    await api.delete(SECOND, If_Match='"3"')
    assert (await api.get(f"sets/{SET}")).json()["state"] == "standing"
    told = await api.told("set.placed", "set.ended", "set.restored")
    assert [one["type"] for one in told] == [
        "set.placed",
        "set.ended",
        "set.restored",
        "set.ended",
        "set.restored",
    ]


async def test_no_words_of_a_visit_are_in_the_log(api: Api) -> None:
    words = {"notes": "Heronry", "customer_note": "Heronry", "no_access_reason": "Heronry"}
    told = [{"id": an_id(65), "who": "Heronry", "how": "Heronry", "at": AT, "what": "cautions"}]
    await api.made(PATH, a_visit(**words, told=told, signs=[a_sign(told_by="Heronry")], sets=[a_set()]))
    log = (await api.get("events")).text
    assert "Heronry" not in log
    assert "R. Example" not in log
