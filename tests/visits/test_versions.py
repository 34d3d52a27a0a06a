"""A visit sent once, again, amended, withdrawn and sent again: what is the same, what is a new version."""

import asyncio
from datetime import timedelta
from typing import Any

import httpx
import pytest

from tests.bodies import AT, a_check, a_set, a_sign, a_visit, an_id, full_visit
from tests.http import PROPERTY, VISIT, Api, Clock, a_property, codes, pointers

PATH = f"visits/{VISIT}"
FIRST = a_visit(notes="first", signs=[a_sign()])
SECOND = a_visit(notes="second", signs=[a_sign(count=2)])


def outcome(answer: httpx.Response) -> tuple[int, str, int]:
    """Status, what became of it, version."""
    assert answer.headers["etag"] == answer.json()["etag"] == f'"{answer.json()["version"]}"'
    return answer.status_code, answer.json()["outcome"], answer.json()["version"]


async def history(api: Api) -> list[tuple[int, str | None]]:
    """Version and notes of each version; None where it is the withdrawal."""
    versions = (await api.get(f"{PATH}/versions")).json()
    return [(one["version"], one.get("body") and one["body"].get("notes")) for one in versions]


async def test_the_same_visit_twice_is_one_version(api: Api, clock: Clock) -> None:
    made = await api.put(PATH, FIRST)
    assert outcome(made) == (201, "recorded", 1)
    assert made.headers["location"] == f"/v1/{PATH}"
    clock.now += timedelta(hours=1)
    for again in (await api.put(PATH, FIRST), await api.put(PATH, FIRST, If_Match='"9"')):
        assert outcome(again) == (200, "same", 1)
        assert again.json()["visit"] == made.json()["visit"] == (await api.get(PATH)).json()
    assert await history(api) == [(1, "first")]
    assert len(await api.told()) == 1


@pytest.mark.parametrize(
    "members",
    [
        {"arrived_at": "2026-05-14T17:00:00Z"},
        {"arrived_at": "2026-05-14T17:00:00.000000z"},
        {"left_at": None, "checks": [], "job_id": None, "customer_note": ""},
        {"outcome": "done", "treatments_none": False, "id": VISIT, "amend_reason": "none", "amends": '"1"'},
        {"signs": [a_sign(seen_at="2026-05-14T17:00:00Z", photo_ids=[], id=an_id(20).upper())]},
    ],
)
async def test_what_says_the_same_in_other_words_is_the_same(api: Api, members: dict[str, Any]) -> None:
    await api.made(PATH, FIRST)
    assert outcome(await api.put(PATH, {**FIRST, **members})) == (200, "same", 1)


async def test_an_earlier_version_sent_again_is_the_same_and_the_later_one_stays(api: Api) -> None:
    await api.made(PATH, FIRST)
    assert outcome(await api.put(PATH, SECOND, If_Match='"1"')) == (200, "amended", 2)
    assert outcome(await api.put(PATH, FIRST)) == (200, "same", 2)
    assert outcome(await api.put(PATH, FIRST, If_Match='"1"')) == (200, "same", 2)
    assert (await api.get(PATH)).json()["notes"] == "second"
    assert await history(api) == [(1, "first"), (2, "second")]


async def test_an_earlier_version_with_the_current_tag_is_an_amendment(api: Api) -> None:
    await api.made(PATH, FIRST)
    await api.put(PATH, SECOND, If_Match='"1"')
    assert outcome(await api.put(PATH, FIRST, If_Match='"2"')) == (200, "amended", 3)
    versions = (await api.get(f"{PATH}/versions")).json()
    assert [one["version"] for one in versions] == [1, 2, 3]
    assert versions[2]["body"] == versions[0]["body"] != versions[1]["body"]


@pytest.mark.parametrize(
    ("headers", "status"), [({}, 428), ({"If_Match": '"7"'}, 412), ({"If_Match": 'W/"1"'}, 412)]
)
async def test_another_body_needs_the_current_tag_and_is_kept(
    api: Api, headers: dict[str, str], status: int
) -> None:
    await api.made(PATH, FIRST)
    refused = await api.put(PATH, SECOND, **headers)
    assert refused.status_code == status
    assert refused.headers.get("etag") == ('"1"' if status == 412 else None)
    kept = (await api.get(f"refusals/{refused.json()['refusal_id']}")).json()
    assert (kept["status"], kept["claimed_id"], '"second"' in kept["text"]) == (status, VISIT, True)
    assert (await api.get(PATH)).json()["notes"] == "first"


async def test_a_visit_that_is_not_there_is_not_amended(api: Api) -> None:
    refused = await api.put(PATH, FIRST, If_Match='"1"')
    assert (refused.status_code, "refusal_id" in refused.json()) == (412, True)
    assert (await api.get(PATH)).status_code == 404


async def test_by_post_the_body_says_which_visit_and_what_it_amends(api: Api) -> None:
    made = await api.post("visits", {**FIRST, "id": VISIT})
    assert outcome(made) == (201, "recorded", 1)
    assert outcome(await api.post("visits", {**FIRST, "id": VISIT})) == (200, "same", 1)
    assert (await api.post("visits", {**SECOND, "id": VISIT})).status_code == 428
    amended = await api.post(
        "visits", {**SECOND, "id": VISIT, "amends": '"1"', "amend_reason": "counted again"}
    )
    assert outcome(amended) == (200, "amended", 2)
    versions = (await api.get(f"{PATH}/versions")).json()
    assert [one.get("amend_reason") for one in versions] == [None, "counted again"]
    without = await api.post("visits", FIRST)
    assert (without.status_code, pointers(without)) == (422, [("#/id", "missing")])
    other = await api.put(PATH, {**FIRST, "id": an_id(99)})
    assert (other.status_code, pointers(other)) == (422, [("#/id", "other_id")])


async def test_a_visit_with_every_member_comes_back_as_it_was_stated(api: Api, clock: Clock) -> None:
    body = full_visit()
    for name in ("id", "amends", "amend_reason"):
        body.pop(name)
    await api.made(f"workers/{an_id(6)}", {"name": "T. Sample"})
    await api.made(PATH, body)
    visit = (await api.get(PATH)).json()
    arrival = {name: visit.pop(name) for name in ("id", "version", "first_received_at", "received_at")}
    now = clock.now.isoformat().replace("+00:00", "Z")
    assert arrival == {"id": VISIT, "version": 1, "first_received_at": now, "received_at": now}
    assert outcome(await api.put(PATH, visit)) == (200, "same", 1)
    assert visit.keys() == body.keys() - {"treatments_none"}
    for name, stated in body.items():
        if isinstance(stated, list):
            assert len(visit[name]) == len(stated)


async def test_minimal_still_answers_tag_and_warnings(api: Api) -> None:
    body = a_visit(sets=[a_set(foot_traffic="path")])
    answer = await api.put(PATH, body, Prefer="return=minimal")
    assert outcome(answer) == (201, "recorded", 1)
    assert (codes(answer), "visit" in answer.json()) == (["not_flagged"], False)
    assert "visit" in (await api.put(PATH, body, Prefer="respond-async")).json()


async def test_deleting_withdraws_all_facts_and_keeps_the_history(api: Api, clock: Clock) -> None:
    body = a_visit(notes="first", signs=[a_sign()], sets=[a_set()], treatments=[a_treatment()])
    await api.made(PATH, body)
    assert (await api.delete(PATH)).status_code == 428
    assert (await api.delete(PATH, If_Match='"7"')).status_code == 412
    assert (await api.delete(f"visits/{an_id(99)}", If_Match='"1"')).status_code == 404
    withdrawn = await api.delete(f"{PATH}?amend_reason=wrong%20garden", If_Match='"1"')
    assert outcome(withdrawn) == (200, "withdrawn", 2)
    now = clock.now.isoformat().replace("+00:00", "Z")
    assert withdrawn.json()["visit"]["withdrawn_at"] == now
    assert withdrawn.json()["visit"] == (await api.get(PATH)).json()
    assert outcome(await api.delete(PATH, If_Match='"2"')) == (200, "withdrawn", 2)
    for path in ("visits", "signs", "sets", "treatments", "lawn-patches", "conflicts"):
        assert await api.items(path) == [], path
    assert await history(api) == [(1, "first"), (2, None)]
    (told,) = await api.told("visit.withdrawn")
    assert told["data"]["withdrawn"] == [an_id(20), an_id(30), an_id(64)]


async def test_a_withdrawn_visit_sent_again_stays_withdrawn_but_for_the_current_tag(api: Api) -> None:
    await api.made(PATH, FIRST)
    await api.delete(PATH, If_Match='"1"')
    assert outcome(await api.put(PATH, FIRST)) == (200, "same", 2)
    assert outcome(await api.put(PATH, FIRST, If_Match='"1"')) == (200, "same", 2)
    assert (await api.put(PATH, SECOND)).status_code == 428
    assert await api.items("signs") == []
    revived = await api.put(PATH, FIRST, If_Match='"2"')
    assert outcome(revived) == (200, "amended", 3)
    assert "withdrawn_at" not in revived.json()["visit"]
    assert [one["id"] for one in await api.items("signs")] == [an_id(20)]
    told = (await api.told("visit.amended"))[-1]["data"]
    assert (told["added"], told.get("changed", []), told.get("withdrawn", [])) == ([an_id(20)], [], [])
    assert outcome(await api.put(PATH, SECOND, If_Match='"3"')) == (200, "amended", 4)


async def test_phones_that_send_at_once_make_one_version(api: Api) -> None:
    answers = await asyncio.gather(*(api.put(PATH, FIRST) for _ in range(6)))
    assert sorted(answer.status_code for answer in answers) == [200] * 5 + [201]
    others = await asyncio.gather(
        *(api.put(PATH, a_visit(notes=f"office {number}"), If_Match='"1"') for number in range(6))
    )
    assert sorted(answer.status_code for answer in others) == [200] + [412] * 5
    assert [version for version, _ in await history(api)] == [1, 2]
    told = await api.told()
    assert [one["type"] for one in told] == ["visit.recorded", "visit.amended"]
    assert [int(one["sequence"]) for one in told] == [1, 2]


async def test_a_nested_id_belongs_to_one_visit_for_ever(api: Api) -> None:
    await api.made(PATH, a_visit(signs=[a_sign()], sets=[a_set()]))
    # an amendment leaves the sign out; its id stays the visit's
    await api.put(PATH, a_visit(sets=[a_set()]), If_Match='"1"')
    elsewhere = a_visit(
        surveys=[{"id": an_id(30), "surveyed_at": AT, "fresh_signs": 0}],
        checks=[a_check(id=an_id(41)), a_check(id=an_id(20))],
    )
    taken = [("#/surveys/0/id", "id_taken"), ("#/checks/1/id", "id_taken")]
    for answer in (await api.put(f"visits/{an_id(4)}", elsewhere),):
        assert (answer.status_code, sorted(pointers(answer))) == (422, sorted(taken))
        assert "refusal_id" in answer.json()
    await api.delete(PATH, If_Match='"2"')
    again = await api.put(f"visits/{an_id(4)}", elsewhere)
    assert (again.status_code, sorted(pointers(again))) == (422, sorted(taken))
    assert (await api.get(f"visits/{an_id(4)}")).status_code == 404
    # a refused body has claimed nothing: id 41 is free
    free = a_visit(checks=[a_check(id=an_id(41))])
    assert (await api.put(f"visits/{an_id(5)}", free)).status_code == 201


async def test_a_visit_may_move_to_another_property(api: Api) -> None:
    await api.made(f"properties/{an_id(9)}", a_property(name="Second field"))
    await api.made(PATH, a_visit(signs=[a_sign()], sets=[a_set()], upkeep=[a_mowing()]))
    await api.made(f"visits/{an_id(4)}", a_visit(signs=[a_sign(id=an_id(21))]))
    moved = a_visit(property_id=an_id(9), signs=[a_sign()], sets=[a_set()], upkeep=[a_mowing()])
    assert outcome(await api.put(PATH, moved, If_Match='"1"')) == (200, "amended", 2)
    assert [one["id"] for one in await api.items(f"sets?property_id={PROPERTY}")] == []
    assert [one["id"] for one in await api.items(f"sets?property_id={an_id(9)}")] == [an_id(30)]
    patches = {one["sign_id"]: one["earliest_from"] for one in await api.items("lawn-patches")}
    assert patches == {an_id(20): "mowing", an_id(21): "unknown"}


async def test_lists_of_visits_are_narrowed_and_paged_by_arrival(api: Api) -> None:
    arrivals = {number: f"2026-05-{number:02}T07:30:00Z" for number in (12, 10, 11, 13)}
    for number, arrived_at in arrivals.items():
        await api.made(f"visits/{an_id(number)}", a_visit(arrived_at=arrived_at))
    everyone = [an_id(number) for number in (10, 11, 12, 13)]
    assert [one["id"] for one in await api.items("visits")] == everyone
    # 07:30 UTC is half past midnight of the same local day
    days = "since=2026-05-11&until=2026-05-13"
    assert [one["id"] for one in await api.items(f"visits?{days}")] == [an_id(11), an_id(12)]
    first = (await api.get("visits?limit=3")).json()
    rest = (await api.get(f"visits?limit=3&after={first['next']}")).json()
    assert [one["id"] for one in first["items"] + rest["items"]] == everyone
    assert "next" not in rest
    assert await api.items(f"visits?worker_id={an_id(99)}") == []
    job = {"property_id": PROPERTY, "target": "unidentified", "opened_at": "2026-05-12T00:00:00Z"}
    await api.made(f"jobs/{an_id(8)}", job)
    assert [one["id"] for one in await api.items(f"visits?job_id={an_id(8)}")] == everyone[2:]
    assert [one["id"] for one in await api.items("visits?unassigned=true")] == everyone[:2]


def a_treatment() -> dict[str, Any]:
    """Castor oil, put down by us."""
    return {"id": an_id(64), "method": "repellent", "applied_at": AT}


def a_mowing() -> dict[str, Any]:
    """The whole property, the day before."""
    return {"id": an_id(63), "kind": "mown", "at": "2026-05-13T15:00:00-07:00"}
