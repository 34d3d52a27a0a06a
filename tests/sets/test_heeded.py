"""The cautions of sets as the API answers them: from the set, its job's target, its sign and its property."""

from typing import Any

import pytest

from tests.bodies import AT, a_check, a_set, a_sign, a_visit, an_id
from tests.http import PROPERTY, Api, a_property

SET, SIGN, JOB = an_id(30), an_id(20), an_id(102)
EVERYWHERE = {"traps_stand", "cover_and_tell", "count_traps"}
SCISSOR_JAW = EVERYWHERE | {"safety_catch", "point_away", "dead_animal", "disinfect"}


async def placed(api: Api, **members: Any) -> None:
    """The set, placed by a visit that names no job."""
    await api.made(f"visits/{an_id(3)}", a_visit(sets=[a_set(**members)]))


async def hazards(api: Api, *named: str) -> None:
    """The property as the office amends it."""
    answer = await api.patch(f"properties/{PROPERTY}", {"hazards": list(named)}, If_Match="*")
    assert answer.status_code == 200, answer.text


async def codes(api: Api) -> set[str]:
    """The cautions of the set, the same one by one and in the list."""
    shown = (await api.get(f"sets/{SET}")).json()
    assert await api.items("sets") == [shown]
    assert shown["notice"] == "Local codes and licensed practice come first."
    return {one["code"] for one in shown["cautions"]}


async def test_a_set_carries_its_own_cautions_each_with_its_source_and_cause(api: Api) -> None:
    await placed(api, mechanism="harpoon", target="Scapanus latimanus", depth_mm=320, foot_traffic="path")
    said = {one["code"]: one for one in (await api.get(f"sets/{SET}")).json()["cautions"]}
    assert said["search_ground"] == {
        "code": "search_ground",
        "to": "worker",
        "sentence": "A harpoon pulled up after a catch can leave the animal in the ground: "
        "search the run before you call it empty.",
        "source": "common practice",
        "called_up_by": ["mechanism harpoon"],
    }
    assert said["locate_ticket"]["called_up_by"] == ["depth 320 mm"]
    assert said["mole_runs"]["called_up_by"] == ["animal Scapanus latimanus"]
    assert said["foot_traffic"]["called_up_by"] == ["foot traffic path"]
    assert all(one["source"] for one in said.values())


async def test_the_hazards_of_the_property_are_those_of_its_sets(api: Api) -> None:
    await placed(api)
    assert await codes(api) == SCISSOR_JAW
    await hazards(api, "children", "irrigation")
    assert await codes(api) == SCISSOR_JAW | {"children", "private_lines"}
    await hazards(api)
    assert await codes(api) == SCISSOR_JAW


async def test_a_set_without_a_target_of_its_own_has_that_of_its_job(api: Api) -> None:
    job = {"property_id": PROPERTY, "target": "Thomomys bottae", "opened_at": "2026-05-01T00:00:00Z"}
    await api.made(f"jobs/{JOB}", job)
    await placed(api, mechanism="box")
    assert await codes(api) == EVERYWHERE | {"gopher_runs", "stake_and_wire", "dead_animal", "disinfect"}
    assert "target" not in (await api.get(f"sets/{SET}")).json()


async def test_paving_that_runs_hollowed_out_is_told_at_the_set_there(api: Api) -> None:
    paving = a_sign(kind="undermined_paving", on_turf=False)
    await api.made(f"visits/{an_id(3)}", a_visit(signs=[paving], sets=[a_set(sign_id=SIGN)]))
    assert await codes(api) == SCISSOR_JAW | {"hollowed_paving"}


@pytest.mark.parametrize(
    ("action", "said"),
    [
        ("left", SCISSOR_JAW),
        ("made_safe", SCISSOR_JAW),
        ("pulled", set()),
        ("lost", set()),
    ],
)
async def test_a_set_that_is_gone_has_no_cautions(api: Api, action: str, said: set[str]) -> None:
    await placed(api, placed_at="2026-05-14T09:30:00-07:00")
    await api.made(f"visits/{an_id(4)}", a_visit(checks=[a_check(action=action)]))
    assert await codes(api) == said


async def test_of_a_set_that_nobody_placed_it_is_not_known_that_it_was_fetched(api: Api) -> None:
    await hazards(api, "pets")
    await api.made(f"visits/{an_id(4)}", a_visit(checks=[a_check()]))
    assert (await api.get(f"sets/{SET}")).json()["state"] == "awaited"
    assert await codes(api) == EVERYWHERE | {"pets"}


async def test_a_changed_hazard_changes_the_tag(api: Api) -> None:
    await placed(api)
    tag = (await api.get(f"sets/{SET}")).headers["etag"]
    assert (await api.get(f"sets/{SET}", If_None_Match=tag)).status_code == 304
    await hazards(api, "pets")
    assert (await api.get(f"sets/{SET}", If_None_Match=tag)).status_code == 200


async def test_hazards_of_another_property_are_not_the_set_s(api: Api) -> None:
    await api.made(f"properties/{an_id(0x51)}", a_property(hazards=["water"]))
    await placed(api)
    other = a_set(id=an_id(31), placed_at=AT)
    await api.made(f"visits/{an_id(5)}", a_visit(property_id=an_id(0x51), sets=[other]))
    first, second = await api.items("sets")
    assert "water" not in {one["code"] for one in first["cautions"]}
    assert "water" in {one["code"] for one in second["cautions"]}
