"""Rule packs over HTTP: shipped ones read, a business's own stated, what is wrong named with its line."""

import json
from typing import Any
from uuid import NAMESPACE_URL, uuid5

import pytest

from service.packs.rules import shipped
from tests.bodies import a_pack, an_id
from tests.http import PROPERTY, Api, a_property, pointers

OWN, SECOND = an_id(30), an_id(31)
PATH = f"rule-packs/{OWN}"
SHIPPED = uuid5(NAMESPACE_URL, "urn:setbook:rule-pack:us-va-look-daily")
COMES_FIRST = "Local codes and licensed practice come first."
Owner = "asyncpg.Connection[asyncpg.Record]"


async def queued(owner: Owner, api: Api) -> set[str]:
    """The properties of a business that wait to be worked out anew."""
    rows = await owner.fetch(
        "select subject_id::text from work where kind = 'property_anew' and business_id = $1", api.business_id
    )
    return {row["subject_id"] for row in rows}


async def names(api: Api, query: str = "") -> list[str]:
    """All pages, by the packs' names."""
    found, path = [], f"rule-packs?limit=10{query}"
    while path:
        answer = (await api.get(path)).json()
        found += [one["name"] for one in answer["items"]]
        path = f"rule-packs?limit=10{query}&after={answer['next']}" if "next" in answer else ""
    return found


async def test_shipped_packs_stand_beside_the_own_ones_each_says_which(
    api: Api, two: tuple[Api, Api]
) -> None:
    await api.made(PATH, a_pack())
    listed = await names(api)
    assert sorted(listed) == sorted(["our-reading", *(one.name for one in shipped())])
    items = await api.items("rule-packs?limit=500")
    assert [one["id"] for one in items] == sorted(one["id"] for one in items)
    assert {one["name"] for one in items if one["origin"] == "own"} == {"our-reading"}
    assert {one["notice"] for one in items} == {COMES_FIRST}
    assert all("read on" in one["reading"] and one["reading"].endswith("not reviewed.") for one in items)
    assert "our-reading" not in await names(two[1])


async def test_a_shipped_pack_is_read_and_not_changed(api: Api) -> None:
    path = f"rule-packs/{SHIPPED}"
    read = await api.get(path)
    pack = read.json()
    assert (pack["name"], pack["origin"], "version" in pack) == ("us-va-look-daily", "shipped", False)
    assert pack["reading"] == "4VAC15-40-195: text as of 2023, read on 2026-11-25, not reviewed."
    assert (await api.get(path, If_None_Match=read.headers["etag"])).status_code == 304
    for answer in (
        await api.put(path, a_pack()),
        await api.patch(path, {"state": "caution"}, If_Match="*"),
        await api.delete(path, If_Match="*"),
    ):
        assert answer.status_code == 409
        assert "comes with the package" in answer.json()["detail"]
    assert (await api.get(f"{path}/versions")).status_code == 404
    assert (await api.get(path)).json() == pack


@pytest.mark.parametrize(
    ("region", "expected"),
    [
        ("US-NH", {"us-nh-look-daily", "us-organic-records"}),
        ("NZ-AUK", {"nz-live-traps"}),
        ("NZ", {"nz-live-traps"}),
        ("CA", {"ca-bc-townsends-mole"}),
        ("ZZ", set()),
    ],
)
async def test_packs_of_a_region_its_parts_and_what_it_is_a_part_of(
    api: Api, region: str, expected: set[str]
) -> None:
    assert set(await names(api, f"&region={region}")) == expected
    state = a_pack(region=region, sub_areas=["Sample County"])
    await api.made(PATH, state)
    assert set(await names(api, f"&region={region}")) == {*expected, "our-reading"}
    assert set(await names(api, f"&region={region[:2]}")) >= {*expected, "our-reading"}
    assert "our-reading" not in await names(api, "&region=US-ID")


async def test_a_region_that_is_none_is_refused(api: Api) -> None:
    answer = await api.get("rule-packs?region=California")
    assert answer.status_code == 400
    assert "region" in answer.json()["detail"]


async def test_a_pack_is_added_amended_and_withdrawn_and_its_properties_are_queued(
    api: Api, two: tuple[Api, Api], owner: Owner
) -> None:
    north, elsewhere = an_id(40), an_id(41)
    await api.made(f"properties/{north}", a_property(region="US-OR"))
    await api.made(f"properties/{elsewhere}", a_property(region="US-I"))
    await two[1].made(f"properties/{PROPERTY}", a_property())
    await owner.execute("delete from work")

    made = await api.put(PATH, a_pack())
    assert (made.status_code, made.headers["etag"], made.headers["location"]) == (201, '"1"', f"/v1/{PATH}")
    assert made.json()["properties_queued"] == 1
    assert await queued(owner, api) == {PROPERTY}
    read = (await api.get(PATH)).json()
    assert {**read, "properties_queued": 1} == made.json()
    assert (read["origin"], read["version"]) == ("own", 1)
    await owner.execute("delete from work")

    again = await api.put(PATH, a_pack())
    assert (again.status_code, again.json()["properties_queued"]) == (200, 0)
    assert await queued(owner, api) == set()

    moved = await api.patch(PATH, {"region": "US-OR"}, If_Match='"1"')
    assert (moved.status_code, moved.headers["etag"]) == (200, '"2"')
    assert moved.json()["properties_queued"] == 2
    assert await queued(owner, api) == {PROPERTY, north}
    await owner.execute("delete from work")

    gone = await api.delete(PATH, If_Match='"2"')
    assert (gone.status_code, gone.json()["properties_queued"]) == (200, 1)
    assert await queued(owner, api) == {north}
    assert (await api.get(PATH)).status_code == 404
    bodies = [one["body"] for one in (await api.get(f"{PATH}/versions")).json()]
    assert [body and body["region"] for body in bodies] == ["US-ID", "US-OR", None]
    assert await queued(owner, two[1]) == set()


async def test_a_pack_of_a_whole_country_queues_what_lies_in_its_parts(api: Api, owner: Owner) -> None:
    await owner.execute("delete from work")
    made = await api.post("rule-packs", a_pack(region="US"))
    assert (made.status_code, made.json()["properties_queued"]) == (201, 1)
    assert made.headers["location"] == f"/v1/rule-packs/{made.json()['id']}"
    assert await queued(owner, api) == {PROPERTY}


async def test_amending_wants_the_tag_that_was_read(api: Api) -> None:
    await api.made(PATH, a_pack())
    assert (await api.put(PATH, a_pack(state="caution"))).status_code == 428
    assert (await api.patch(PATH, {"state": "caution"})).status_code == 428
    assert (await api.patch(PATH, {"state": "caution"}, If_Match='"2"')).status_code == 412
    assert (await api.delete(PATH)).status_code == 428
    amended = await api.put(PATH, a_pack(state="caution"), If_Match='"1"')
    assert (amended.status_code, amended.json()["state"]) == (200, "caution")
    reader = await api.key_with("read", "record", "events", "admin")
    assert (await reader.put(PATH, a_pack())).status_code == 403


async def test_every_fault_of_the_form_is_named_with_its_line(api: Api) -> None:
    text = json.dumps(
        a_pack(
            {"kind": "elapsed", "id": "a", "sentence": "In words.", "hours": 0},
            {"kind": "who", "id": "b", "sentence": "In words."},
            region="California",
            colour="red",
        ),
        indent=1,
    )
    refused = await api.put(PATH, text.encode(), Content_Type="application/json")
    assert refused.status_code == 422
    said = {one["pointer"]: one["detail"] for one in refused.json()["errors"]}
    lines = text.split("\n")
    at = {
        word: next(n for n, line in enumerate(lines, 1) if word in line)
        for word in ("hours", "who", "region")
    }
    assert said["#/rules/0/hours"] == f"Line {at['hours']}: hours must be a whole number from 1 to 336."
    assert said["#/rules/1/kind"].startswith(f"Line {at['who']}: kind must be one of calendar_day, elapsed")
    assert said["#/region"].startswith(f"Line {at['region']}: region must be written as ISO 3166-2 code")
    assert "colour" in said["#/colour"]
    assert len(said) == 4
    assert (await api.get(PATH)).status_code == 404


async def test_a_name_that_stands_twice_is_a_fault(api: Api) -> None:
    text = json.dumps(a_pack()).replace('"region"', '\n"state": "practice",\n"region"')
    refused = await api.post("rule-packs", text.encode(), Content_Type="application/json")
    assert pointers(refused) == [("#/state", "doubled_name")]
    assert refused.json()["errors"][0]["detail"] == "Line 3: 'state' stands on line 2 already; give it once."


LOOKS = [
    {"kind": "elapsed", "id": "a", "sentence": "In words.", "hours": 24},
    {"kind": "elapsed", "id": "b", "sentence": "In words.", "hours": 48},
]


@pytest.mark.parametrize(
    ("members", "rules", "sentence"),
    [
        ({}, LOOKS, "Line 1: 'a' and 'b' cover the same sets and give different figures"),
        ({}, [LOOKS[0], LOOKS[0]], "Line 1: Two rules have the id 'a'; give each its own."),
        (
            {"effective_from": "2026-05-01", "effective_until": "2026-05-01"},
            [],
            "Line 1: `effective_until` 2026-05-01 must come after `effective_from` 2026-05-01",
        ),
        (
            {"name": "us-va-look-daily"},
            [],
            "Line 1: Two packs of the name 'us-va-look-daily' would hold at once",
        ),
    ],
)
async def test_a_pack_that_contradicts_itself_is_refused_whole(
    api: Api, owner: Owner, members: dict[str, Any], rules: list[Any], sentence: str
) -> None:
    await owner.execute("delete from work")
    refused = await api.post("rule-packs", a_pack(*rules, **members))
    assert refused.status_code == 422
    assert refused.json()["detail"].startswith(sentence)
    assert [one for one in await api.items("rule-packs?limit=500") if one["origin"] == "own"] == []
    assert await queued(owner, api) == set()


async def test_a_patch_that_makes_a_contradiction_changes_nothing(api: Api) -> None:
    await api.made(PATH, a_pack(effective_from="2026-05-01"))
    refused = await api.patch(
        PATH, b'{\n"effective_until": "2026-04-01"}', If_Match='"1"', Content_Type="application/json"
    )
    assert pointers(refused) == [("#/effective_until", "until_before_from")]
    assert refused.json()["detail"].startswith("Line 2: `effective_until` 2026-04-01 must come after")
    nothing = await api.patch(PATH, {"region": None}, If_Match='"1"')
    assert pointers(nothing) == [("#/region", "missing")]
    assert (await api.patch(PATH, [], If_Match='"1"')).status_code == 400
    assert (await api.get(PATH)).headers["etag"] == '"1"'


async def test_two_packs_of_one_name_follow_one_another(api: Api) -> None:
    await api.made(PATH, a_pack(effective_until="2026-07-01"))
    clash = await api.put(f"rule-packs/{SECOND}", a_pack(effective_from="2026-06-30"))
    assert clash.status_code == 422
    assert clash.json()["detail"] == (
        "Line 1: Two packs of the name 'our-reading' would hold at once, from 2026-06-30 without an end and "
        "from the beginning until 2026-07-01; end the one before the other begins, or name it otherwise."
    )
    await api.made(f"rule-packs/{SECOND}", a_pack(effective_from="2026-07-01"))
    longer = await api.patch(PATH, {"effective_until": None}, If_Match='"1"')
    assert pointers(longer) == [("#/name", "overlaps")]
    assert (await api.delete(f"rule-packs/{SECOND}", If_Match='"1"')).status_code == 200
    assert (await api.patch(PATH, {"effective_until": None}, If_Match='"1"')).status_code == 200


async def test_a_body_that_is_too_large_for_a_text_is_413(api: Api) -> None:
    body = json.dumps(a_pack(authority="x" * 1_000_000)).encode()
    refused = await api.put(PATH, body, Content_Type="application/json")
    assert (refused.status_code, "1,000,000 bytes" in refused.json()["detail"]) == (413, True)


async def test_every_kind_of_rule_comes_back_as_it_was_stated(api: Api) -> None:
    """The shipped packs hold all kinds."""
    for place, pack in enumerate(await api.items("rule-packs?limit=500")):
        body = {
            name: value for name, value in pack.items() if name not in {"id", "origin", "reading", "notice"}
        }
        body |= {"name": f"copy-{place}"}
        made = await api.made(f"rule-packs/{an_id(200 + place)}", body)
        assert {name: made.get(name) for name in body} == body


@pytest.mark.parametrize(
    ("members", "sentence"),
    [
        (
            {"zone": "America/Los_Angelos"},
            "Name a known IANA time zone, not 'America/Los_Angelos'; did you mean 'America/Los_Angeles'?",
        ),
        (
            {"region": "Idaho"},
            "region must be written as ISO 3166-2 code, or ISO 3166-1 alpha-2, not 'Idaho'.",
        ),
    ],
)
async def test_a_place_that_no_pack_could_know_is_refused_with_what_to_mend(
    api: Api, members: dict[str, Any], sentence: str
) -> None:
    refused = await api.post("properties", a_property(**members))
    assert (refused.status_code, refused.json()["detail"]) == (422, sentence)
