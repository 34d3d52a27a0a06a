"""Warnings of what the permit of a visit's job does not cover: never a refusal, always the authority's name."""

from typing import Any

import pytest

from tests.bodies import a_check, a_set, a_visit, an_id
from tests.http import PROPERTY, Api, codes

PERMIT, JOB = an_id(60), an_id(61)
COAST, VOLE = "Scapanus orarius", "Microtus californicus"
BODY: dict[str, Any] = {
    "number": "17",
    "authority": "State Wildlife Office",
    "region": "XX",
    "from_on": "2026-05-01",
}
PLACED, CHECKED = "2026-05-10T09:00:00-07:00", "2026-05-11T09:00:00-07:00"


async def permitted(api: Api, **members: Any) -> None:
    """A job after coast moles, under a permit with these members."""
    await api.made(f"permits/{PERMIT}", {**BODY, **members})
    job = {"property_id": PROPERTY, "target": COAST, "permit_id": PERMIT, "opened_at": "2026-01-01T00:00:00Z"}
    await api.made(f"jobs/{JOB}", job)


def catch(number: int, caught_at: str = CHECKED, **members: Any) -> dict[str, Any]:
    """A coast mole taken by hand."""
    animal = {"species": COAST, "fate": "dispatched", "method": "by hand"}
    return {**animal, "id": an_id(number), "caught_at": caught_at, **members}


async def warned(api: Api, number: int, at: str = PLACED, **facts: Any) -> list[dict[str, Any]]:
    """The warnings of a visit that speak of a permit; it is taken in any case."""
    answer = await api.put(f"visits/{an_id(number)}", a_visit(arrived_at=at, **facts))
    assert answer.status_code == 201, answer.text
    return [one for one in answer.json()["warnings"] if "ermit 17" in one["detail"]]


async def test_a_mechanism_that_the_permit_does_not_cover(api: Api) -> None:
    await permitted(api, mechanisms=["box", "snap"])
    sets = [a_set(placed_at=PLACED), a_set(id=an_id(31), placed_at=PLACED, mechanism="box")]
    assert await warned(api, 3, sets=sets) == [
        {
            "code": "mechanism_not_in_permit",
            "detail": "Permit 17 does not cover scissor jaw traps; ask State Wildlife Office. "
            "Local codes and licensed practice come first.",
            "fact_id": an_id(30),
        }
    ]


async def test_an_animal_that_the_permit_does_not_cover_meant_or_taken(api: Api) -> None:
    await permitted(api, species=["Scapanus orarius"])
    sets = [
        a_set(placed_at=PLACED, target="Thomomys bottae"),
        # by the job's own target, and nobody knows what
        a_set(id=an_id(31), placed_at=PLACED),
        a_set(id=an_id(32), placed_at=PLACED, target="unidentified"),
    ]
    found = [{"id": an_id(50), "species": VOLE, "fate": "dead_in_trap"}]
    checks = [a_check(set_id=an_id(31), checked_at=CHECKED, finding="catch", catches=found)]
    catches = [
        catch(51, species="Scapanus orarius orarius"),
        catch(52, species=VOLE, fate="escaped"),
        catch(53, species="unidentified"),
    ]
    told = await warned(api, 3, sets=sets, checks=checks, catches=catches)
    assert [(one["code"], one["fact_id"]) for one in told] == [
        ("species_not_in_permit", an_id(30)), ("species_not_in_permit", an_id(50)),
    ]  # fmt: skip
    assert told[1]["detail"].startswith(
        "Permit 17 does not cover Microtus californicus; ask State Wildlife Office."
    )


async def test_a_target_of_the_job_that_the_permit_does_not_cover(api: Api) -> None:
    await permitted(api, species=["Thomomys bottae"])
    (told,) = await warned(api, 3, sets=[a_set(placed_at=PLACED)])
    assert (told["code"], told["fact_id"]) == ("species_not_in_permit", an_id(30))


@pytest.mark.parametrize(
    ("at", "day"),
    [
        # the last second before the permit, its first, its last, and the first after it, in Los Angeles
        ("2026-04-30T23:59:59-07:00", "2026-04-30"),
        ("2026-05-01T00:00:00-07:00", None),
        ("2026-05-12T23:59:59-07:00", None),
        ("2026-05-13T00:00:00-07:00", "2026-05-13"),
    ],
)
async def test_a_day_on_which_the_permit_does_not_hold(api: Api, at: str, day: str | None) -> None:
    await permitted(api, until_on="2026-05-13")
    told = await warned(api, 3, at, sets=[a_set(placed_at=at)], catches=[catch(50, at)])
    told += await warned(api, 4, at, checks=[a_check(checked_at=at, action="reset")])
    expected = [("permit_not_in_force", an_id(30)), ("permit_not_in_force", an_id(40))]
    assert [(one["code"], one["fact_id"]) for one in told] == ([] if day is None else expected)
    for one in told:
        assert (
            f"Permit 17 holds from 2026-05-01 until 2026-05-13 (exclusive) and not on {day}" in one["detail"]
        )
    # who fetches the traps is not told off for it
    assert await warned(api, 5, at, checks=[a_check(id=an_id(41), checked_at=at, action="pulled")]) == []


async def test_the_catch_that_passes_the_quota_and_what_follows_it(api: Api) -> None:
    await permitted(api, quota=2, species=[COAST])
    not_counted = [catch(50, species=VOLE), catch(51, fate="escaped"), catch(52, "2026-04-30T09:00:00-07:00")]
    assert "quota_passed" not in {one["code"] for one in await warned(api, 3, catches=not_counted)}
    assert await warned(api, 4, catches=[catch(53), catch(54)]) == []
    (passed,) = await warned(api, 5, catches=[catch(55)])
    assert (passed["code"], passed["fact_id"]) == ("quota_passed", an_id(55))
    assert passed["detail"].startswith(
        "Permit 17 allows 2 animals and 3 were taken under it; ask State Wildlife"
    )
    (later,) = await warned(api, 6, sets=[a_set(placed_at=PLACED)])
    assert (later["code"], later.get("fact_id")) == ("quota_passed", None)
    assert await warned(api, 7, notes="only walked by") == []


async def test_of_several_catches_the_one_that_passes_the_quota_is_named(api: Api) -> None:
    await permitted(api, quota=2)
    late, first, second = (
        catch(number, f"2026-05-11T{hour:02}:00:00-07:00") for number, hour in ((50, 12), (51, 9), (52, 10))
    )
    (told,) = await warned(api, 3, catches=[late, first, second])
    assert told["fact_id"] == an_id(50)


async def test_a_visit_is_counted_once_when_it_is_sent_again_or_amended(api: Api) -> None:
    await permitted(api, quota=2)
    body = a_visit(arrived_at=PLACED, catches=[catch(50), catch(51)])
    made = await api.put(f"visits/{an_id(3)}", body)
    again = await api.put(f"visits/{an_id(3)}", body)
    assert (made.status_code, codes(made), again.json()["outcome"], codes(again)) == (201, [], "same", [])
    more = {**body, "catches": [catch(50), catch(51), catch(52)]}
    amended = await api.put(f"visits/{an_id(3)}", more, If_Match='"1"')
    assert codes(amended) == ["quota_passed"]
    fewer = await api.put(f"visits/{an_id(3)}", {**body, "notes": "two"}, If_Match='"2"')
    assert (fewer.json()["outcome"], codes(fewer)) == ("amended", [])


async def test_without_a_permit_nothing_is_said(api: Api) -> None:
    await api.made(f"permits/{PERMIT}", {**BODY, "quota": 0, "mechanisms": ["box"], "species": [VOLE]})
    job = {"property_id": PROPERTY, "target": COAST, "opened_at": "2026-01-01T00:00:00Z"}
    await api.made(f"jobs/{JOB}", job)
    assert await warned(api, 3, sets=[a_set(placed_at=PLACED)], catches=[catch(50)]) == []


async def test_of_two_jobs_the_stated_one_decides(api: Api) -> None:
    await permitted(api, mechanisms=["box"])
    second = {"property_id": PROPERTY, "target": VOLE, "opened_at": "2026-01-01T00:00:00Z"}
    await api.made(f"jobs/{an_id(62)}", second)
    assert await warned(api, 3, sets=[a_set(placed_at=PLACED)]) == []
    sets = [a_set(id=an_id(31), placed_at=PLACED)]
    assert await warned(api, 4, job_id=an_id(62), sets=sets) == []
    sets = [a_set(id=an_id(32), placed_at=PLACED)]
    (told,) = await warned(api, 5, job_id=JOB, sets=sets)
    assert told["code"] == "mechanism_not_in_permit"


async def test_a_permit_of_another_business_says_nothing(api: Api, other: Api) -> None:
    await permitted(other, mechanisms=["box"], quota=0)
    job = {"property_id": PROPERTY, "target": COAST, "opened_at": "2026-01-01T00:00:00Z"}
    await api.made(f"jobs/{JOB}", job)
    assert await warned(api, 3, sets=[a_set(placed_at=PLACED)], catches=[catch(50)]) == []
