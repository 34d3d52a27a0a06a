"""What a visit is warned of by rule packs, shipped and own; it is recorded all the same."""

from typing import Any

import pytest

from tests.bodies import AT, a_check, a_pack, a_set, a_visit, an_id
from tests.http import PROPERTY, VISIT, Api, a_property, codes

PATH = f"visits/{VISIT}"
NO_SNAPS = {"kind": "not_permitted", "id": "no-snaps", "sentence": "No snap traps.", "mechanisms": ["snap"]}
SNAP = a_set(mechanism="snap")


async def place(api: Api, **members: Any) -> None:
    """The property lies elsewhere."""
    read = await api.get(f"properties/{PROPERTY}")
    moved = await api.put(f"properties/{PROPERTY}", a_property(**members), If_Match=read.headers["etag"])
    assert moved.status_code == 200, moved.text


async def warned(api: Api, **facts: Any) -> list[str]:
    """The kinds of the warnings of a visit that is recorded."""
    answer = await api.put(PATH, a_visit(**facts))
    assert answer.status_code == 201, answer.text
    return codes(answer)


async def test_a_warning_names_the_authority_the_text_its_age_and_what_comes_first(api: Api) -> None:
    """RCW 77.15.194 with AGO 2002 No. 3: the harpoon class counts as body-gripping."""
    await place(api, region="US-WA", county="King")
    answer = await api.put(PATH, a_visit(sets=[a_set(mechanism="harpoon")]))
    (warning,) = answer.json()["warnings"]
    assert (answer.status_code, warning["code"], warning["fact_id"]) == (201, "not_permitted_here", an_id(30))
    for part in (
        "Not permitted here by law",
        "Washington Department of Fish and Wildlife",
        "AGO 2002 No. 3",
        "text as of 2019, read on 2026-11-25, not reviewed",
        "Local codes and licensed practice come first.",
    ):
        assert part in warning["detail"]


async def test_a_caution_says_that_it_may_be_so(api: Api) -> None:
    await place(api, region="US-WA", county="King")
    answer = await api.put(PATH, a_visit(sets=[a_set()]))
    assert answer.json()["warnings"][0]["detail"].startswith("May not be permitted here: ")


GOPHER = {"species": "Thomomys mazama", "fate": "escaped"}


@pytest.mark.parametrize(
    ("county", "facts", "expected"),
    [
        (
            "Thurston County",
            {"catches": [{"id": an_id(50), "caught_at": AT, "method": "by hand", **GOPHER}]},
            1,
        ),
        ("Thurston", {"checks": [a_check(finding="catch", catches=[{"id": an_id(50), **GOPHER}])]}, 1),
        ("Pierce", {"sets": [a_set(mechanism="box", target="Thomomys mazama")]}, 1),
        ("Pierce", {"sets": [a_set(mechanism="box", target="unidentified")]}, 0),
        ("Pierce", {"sets": [a_set(mechanism="box")]}, 0),
        ("King", {"sets": [a_set(mechanism="box", target="Thomomys mazama")]}, 0),
    ],
)
async def test_a_protected_animal_is_warned_of_in_its_counties(
    api: Api, county: str, facts: dict[str, Any], expected: int
) -> None:
    """79 FR 19760: Mazama pocket gophers of Thurston and Pierce counties."""
    await place(api, region="US-WA", county=county)
    assert (await warned(api, **facts)).count("protected_here") == expected


async def test_the_job_says_which_animal_a_set_is_for(api: Api) -> None:
    await place(api, region="DE")
    job = {"property_id": PROPERTY, "target": "Talpa europaea", "opened_at": "2026-05-01T00:00:00Z"}
    await api.made(f"jobs/{an_id(4)}", job)
    assert await warned(api, sets=[a_set()]) == ["protected_here"]


async def test_a_pack_of_the_business_warns_from_its_first_day_until_its_last(api: Api) -> None:
    """The set stands since 10:00 on 14 May in Los Angeles, which is the day that counts."""
    path = f"rule-packs/{an_id(60)}"
    assert await warned(api, sets=[SNAP]) == []
    await api.made(path, a_pack(NO_SNAPS, effective_from="2026-05-14", effective_until="2026-05-15"))
    again = await api.put(PATH, a_visit(sets=[SNAP]))
    (warning,) = again.json()["warnings"]
    assert again.json()["outcome"] == "same"
    assert warning["detail"] == (
        "Not permitted here by law: No snap traps. Ask Parks office. Conditions for parks, section 4: a copy "
        "without a date, read on 2026-03-02, not reviewed. Local codes and licensed practice come first."
    )
    for change in (
        {"effective_from": "2026-05-15", "effective_until": "2026-05-16"},
        {"effective_from": "2026-05-13", "effective_until": "2026-05-14"},
    ):
        tag = (await api.get(path)).headers["etag"]
        assert (await api.patch(path, change, If_Match=tag)).status_code == 200
        assert codes(await api.put(PATH, a_visit(sets=[SNAP]))) == []


async def test_the_day_is_the_local_one_of_the_fact(api: Api) -> None:
    """23:30 on 13 May in Los Angeles is 14 May in UTC."""
    await api.made(f"rule-packs/{an_id(60)}", a_pack(NO_SNAPS, effective_from="2026-05-14"))
    late = {"placed_at": "2026-05-14T06:30:00Z"}
    assert await warned(api, arrived_at="2026-05-14T06:00:00Z", sets=[{**SNAP, **late}]) == []


@pytest.mark.parametrize(
    ("pack", "expected"),
    [
        ({"region": "US"}, ["not_permitted_here"]),
        ({"region": "US-I"}, []),
        ({"region": "US-ID", "places": ["Sample Town"]}, ["not_permitted_here"]),
        ({"region": "US-ID", "places": ["Other Town"]}, []),
        ({"region": "US-ID", "sub_areas": ["Sonoma County"]}, ["not_permitted_here"]),
        ({"region": "US-OR"}, []),
    ],
)
async def test_a_pack_of_the_business_holds_where_it_says(
    api: Api, pack: dict[str, Any], expected: list[str]
) -> None:
    await place(api, county="Sonoma", locality="Sample Town")
    await api.made(f"rule-packs/{an_id(60)}", a_pack(NO_SNAPS, **pack))
    assert await warned(api, sets=[SNAP]) == expected


async def test_what_holds_under_a_permit_holds_for_jobs_with_one(api: Api) -> None:
    await api.made(f"rule-packs/{an_id(60)}", a_pack({**NO_SNAPS, "under_permit": True}))
    job = {"property_id": PROPERTY, "target": "Scapanus latimanus", "opened_at": "2026-05-01T00:00:00Z"}
    await api.made(f"jobs/{an_id(4)}", job)
    assert await warned(api, sets=[SNAP]) == []
    permit = {"number": "7", "authority": "State", "region": "US-ID", "from_on": "2026-01-01"}
    await api.made(f"permits/{an_id(5)}", permit)
    assert (await api.patch(f"jobs/{an_id(4)}", {"permit_id": an_id(5)}, If_Match='"1"')).status_code == 200
    assert codes(await api.put(PATH, a_visit(sets=[SNAP]))) == ["not_permitted_here"]


async def test_the_packs_of_another_business_say_nothing(api: Api, other: Api) -> None:
    await other.made(f"rule-packs/{an_id(60)}", a_pack(NO_SNAPS))
    assert await warned(api, sets=[SNAP]) == []
