"""One sign, set or catch amended in place: an amendment of the visit that states it."""

from typing import Any

import pytest

from tests.bodies import AT, a_check, a_set, a_sign, a_visit, an_id
from tests.http import VISIT, Api, pointers

SIGN, SET, CAUGHT, FOUND = an_id(20), an_id(30), an_id(50), an_id(51)
MOLE = {"species": "Scapanus latimanus", "fate": "dead_in_trap"}
VISITED = a_visit(
    notes="first",
    signs=[a_sign(count=2)],
    sets=[a_set(depth_mm=150)],
    checks=[a_check(finding="catch", catches=[{**MOLE, "id": CAUGHT}])],
    catches=[{**MOLE, "id": FOUND, "caught_at": AT, "method": "by hand"}],
)
# of each fact: its address, its way in the visit's body, a change of it
FACTS: list[tuple[str, list[str | int], dict[str, Any]]] = [
    (f"signs/{SIGN}", ["signs", 0], {"count": 3, "freshness": "fresh"}),
    (f"sets/{SET}", ["sets", 0], {"depth_mm": None, "flagged": True}),
    (f"catches/{CAUGHT}", ["checks", 0, "catches", 0], {"species": "unidentified", "mass_g": 70}),
    (f"catches/{FOUND}", ["catches", 0], {"sex": "female"}),
]
each_fact = pytest.mark.parametrize(
    ("path", "way", "change"), FACTS, ids=["sign", "set", "caught in a set", "found"]
)


@pytest.fixture
async def visited(api: Api) -> Api:
    """With the visit that states them all."""
    await api.made(f"visits/{VISIT}", VISITED)
    return api


def at(way: list[str | int], body: Any) -> Any:
    """The fact in a visit's body."""
    for step in way:
        body = body[step]
    return body


@each_fact
async def test_a_change_is_a_new_version_of_its_visit(
    visited: Api, path: str, way: list[str | int], change: dict[str, Any]
) -> None:
    shown = (await visited.get(path)).json()
    assert shown["visit_etag"] == '"1"'
    before = (await visited.get(f"visits/{VISIT}")).json()
    amended = await visited.patch(path, change, If_Match=shown["visit_etag"])
    assert (amended.status_code, amended.headers["etag"]) == (200, '"2"')
    assert (amended.json()["outcome"], amended.json()["id"]) == ("amended", VISIT)
    after = (await visited.get(f"visits/{VISIT}")).json()
    kept = {name: value for name, value in change.items() if value is not None}
    gone = {name for name, value in change.items() if value is None}
    expected = {name: value for name, value in (at(way, before) | kept).items() if name not in gone}
    assert at(way, after) == expected
    assert after["notes"] == "first"
    again = (await visited.get(path)).json()
    assert again["visit_etag"] == '"2"'
    assert {name: again.get(name) for name in change} == change
    (told,) = await visited.told("visit.amended")
    assert told["data"]["changed"] == ([an_id(40), CAUGHT] if "checks" in way else [at(way, after)["id"]])


@each_fact
async def test_it_needs_the_tag_of_the_visit(
    visited: Api, path: str, way: list[str | int], change: dict[str, Any]
) -> None:
    weak = (await visited.get(path)).headers["etag"]
    assert weak.startswith('W/"')
    assert (await visited.patch(path, change)).status_code == 428
    for tag in (weak, '"2"', 'W/"1"'):
        stale = await visited.patch(path, change, If_Match=tag)
        assert (stale.status_code, stale.headers["etag"]) == (412, '"1"')
    assert (await visited.patch(path, {}, If_Match='"1"')).json()["outcome"] == "same"
    assert (await visited.get(f"visits/{VISIT}")).headers["etag"] == '"1"'


@each_fact
async def test_what_is_wrong_is_pointed_at_in_the_fact(
    visited: Api, path: str, way: list[str | int], change: dict[str, Any]
) -> None:
    refused = await visited.patch(path, {"colour": "red", "photo_ids": ["7"]}, If_Match='"1"')
    assert refused.status_code == 422
    assert sorted(pointers(refused)) == [("#/colour", "unknown_field"), ("#/photo_ids/0", "not_a_uuid")]
    for member in ("visit_id", "state"):
        refused = await visited.patch(path, {member: "x"}, If_Match='"1"')
        assert pointers(refused) == [(f"#/{member}", "unknown_field")]
    refused = await visited.patch(path, {"id": an_id(99)}, If_Match='"1"')
    assert pointers(refused) == [("#/id", "other_id")]
    assert (await visited.patch(path, [], If_Match='"1"')).status_code == 400
    assert (await visited.get(f"visits/{VISIT}")).headers["etag"] == '"1"'


@pytest.mark.parametrize("path", ["signs", "sets", "catches"])
async def test_a_fact_that_is_not_there_is_404(visited: Api, path: str) -> None:
    assert (await visited.patch(f"{path}/{an_id(99)}", {}, If_Match='"1"')).status_code == 404
    await visited.delete(f"visits/{VISIT}", If_Match='"1"')
    one = {"signs": SIGN, "sets": SET, "catches": FOUND}[path]
    assert (await visited.patch(f"{path}/{one}", {}, If_Match='"2"')).status_code == 404


async def test_a_set_that_is_only_awaited_is_stated_nowhere(api: Api) -> None:
    await api.made(f"visits/{VISIT}", a_visit(checks=[a_check()]))
    assert (await api.get(f"sets/{SET}")).json()["state"] == "awaited"
    assert (await api.patch(f"sets/{SET}", {"depth_mm": 9}, If_Match='"1"')).status_code == 404


async def test_what_follows_is_worked_out_anew(visited: Api) -> None:
    (patch,) = await visited.items("lawn-patches")
    assert patch["earliest_from"] == "unknown"
    change = {"absent_since": "2026-05-13T22:00:00Z"}
    assert (await visited.patch(f"signs/{SIGN}", change, If_Match='"1"')).status_code == 200
    (patch,) = await visited.items("lawn-patches")
    # our own arithmetic: 72 hours later
    assert (patch["earliest_at"], patch["due_at"]) == ("2026-05-13T22:00:00Z", "2026-05-16T22:00:00Z")
