"""What every stated noun has in common: created, found the same, amended, its history kept."""

from typing import Any

import pytest

from tests.bodies import AT, SQUARE, an_id
from tests.http import PROPERTY, WORKER, Api, a_property, pointers

CUSTOMER, PERMIT, ONE = an_id(20), an_id(21), an_id(22)
AREA = {"type": "Polygon", "coordinates": SQUARE}

# of each noun: its address, a body, and a change of it
NOUNS: list[tuple[str, dict[str, Any], dict[str, Any]]] = [
    ("workers", {"name": "T. Sample"}, {"active": False}),
    ("customers", {"name": "Alder Court School", "addresses": ["12 Sample Row"]}, {"ref": "C-104"}),
    ("properties", a_property(hazards=["children"], boundary=AREA), {"access_notes": "Key at the lodge."}),
    (f"properties/{PROPERTY}/features", {"name": "Lower green", "kind": "green"}, {"geometry": AREA}),
    (
        f"properties/{PROPERTY}/tenures",
        {"customer_id": CUSTOMER, "from_on": "2026-01-01"},
        {"until_on": "2026-05-01"},
    ),
    (
        "permits",
        {"number": "7", "authority": "State", "region": "US-CA", "from_on": "2026-01-01"},
        {"quota": 12},
    ),
    (
        "jobs",
        {"property_id": PROPERTY, "target": "Scapanus latimanus", "opened_at": AT, "permit_id": PERMIT},
        {"ref": "J-9"},
    ),
    (
        "treatments",
        {"property_id": PROPERTY, "method": "repellent", "applied_at": AT, "amount": "1.50", "unit": "l"},
        {"told_by": "the groundskeeper"},
    ),
    ("upkeep", {"property_id": PROPERTY, "kind": "mown", "at": AT}, {"kind": "rolled"}),
    (
        "incidents",
        {"property_id": PROPERTY, "kind": "pet", "happened_at": AT, "description": "A dog dug up a set."},
        {"measures": "The set was lifted."},
    ),
]
each_noun = pytest.mark.parametrize(
    ("path", "body", "change"), NOUNS, ids=[path.rsplit("/", maxsplit=1)[-1] for path, _, _ in NOUNS]
)


@pytest.fixture
async def book(api: Api) -> Api:
    """With the customer and the permit that some of the bodies name."""
    await api.made(f"customers/{CUSTOMER}", {"name": "Alder Court School"})
    await api.made(
        f"permits/{PERMIT}",
        {"number": "1", "authority": "State", "region": "US-CA", "from_on": "2026-01-01"},
    )
    return api


@each_noun
async def test_it_is_created_found_the_same_and_amended(
    book: Api, path: str, body: dict[str, Any], change: dict[str, Any]
) -> None:
    one = f"{path}/{ONE}"
    made = await book.put(one, body)
    assert (made.status_code, made.headers["etag"], made.headers["location"]) == (201, '"1"', f"/v1/{one}")
    kept = made.json()
    assert {name: kept[name] for name in ("id", "version")} == {"id": ONE, "version": 1}
    assert (await book.get(one)).json() == kept
    assert kept in await book.items(path)
    for again in (await book.put(one, body), await book.put(one, body, If_Match='"7"')):
        assert (again.status_code, again.json()) == (200, kept)
    assert (await book.put(one, {**body, **change})).status_code == 428
    stale = await book.put(one, {**body, **change}, If_Match='"7"')
    assert (stale.status_code, stale.headers["etag"]) == (412, '"1"')
    assert (await book.get(one)).json() == kept
    amended = await book.put(one, {**body, **change}, If_Match='"1"')
    assert (amended.status_code, amended.headers["etag"]) == (200, '"2"')
    assert amended.json() == (await book.get(one)).json()
    versions = (await book.get(f"{one}/versions")).json()
    assert [one["version"] for one in versions] == [1, 2]
    first, second = (version["body"] for version in versions)
    assert {**first, **change}.keys() == second.keys()


@each_noun
async def test_a_merge_patch_changes_what_it_names_and_null_takes_out(
    book: Api, path: str, body: dict[str, Any], change: dict[str, Any]
) -> None:
    one = f"{path}/{ONE}"
    await book.made(one, body)
    before = (await book.get(one)).json()
    assert (await book.patch(one, change)).status_code == 428
    assert (await book.patch(one, change, If_Match='"2"')).status_code == 412
    changed = await book.patch(one, change, If_Match='"1"')
    assert changed.status_code == 200
    arrival = {"version": 2, "received_at": changed.json()["received_at"]}
    assert changed.json() == {**before, **change, **arrival}
    nothing = await book.patch(one, {}, If_Match='"2"')
    assert (nothing.status_code, nothing.headers["etag"]) == (200, '"2"')
    back = {name: before.get(name) for name in change}
    restored = await book.patch(one, back, If_Match='"2"')
    assert restored.json() == {**before, **arrival, "version": 3}
    required = next(iter(body))
    refused = await book.patch(one, {required: None, "colour": "red"}, If_Match='"3"')
    assert refused.status_code == 422
    assert sorted(pointers(refused)) == sorted([(f"#/{required}", "missing"), ("#/colour", "unknown_field")])
    assert (await book.patch(one, ["a", "list"], If_Match='"3"')).status_code == 400
    assert (await book.get(one)).json() == restored.json()


@each_noun
async def test_an_id_of_ours_is_minted_by_post(
    book: Api, path: str, body: dict[str, Any], change: dict[str, Any]
) -> None:
    made = await book.post(path, body)
    assert made.status_code == 201
    assert made.headers["location"] == f"/v1/{path}/{made.json()['id']}"
    assert (await book.get(made.headers["location"])).json() == made.json()


@each_noun
async def test_what_is_not_there_is_404_and_not_made_by_an_amendment(
    book: Api, path: str, body: dict[str, Any], change: dict[str, Any]
) -> None:
    one = f"{path}/{ONE}"
    for answer in (
        await book.get(one),
        await book.get(f"{one}/versions"),
        await book.patch(one, change, If_Match='"1"'),
    ):
        assert answer.status_code == 404
    assert (await book.put(one, body, If_Match='"1"')).status_code == 412
    assert (await book.get(one)).status_code == 404


@pytest.mark.parametrize(
    ("path", "body", "fault"),
    [
        ("jobs", {"property_id": ONE, "target": "unidentified", "opened_at": AT}, "property"),
        (
            "jobs",
            {"property_id": PROPERTY, "target": "unidentified", "opened_at": AT, "permit_id": ONE},
            "permit",
        ),
        (f"properties/{PROPERTY}/tenures", {"customer_id": ONE, "from_on": "2026-01-01"}, "customer"),
        ("treatments", {"property_id": ONE, "method": "repellent", "applied_at": AT}, "property"),
        ("upkeep", {"property_id": ONE, "kind": "mown", "at": AT}, "property"),
        (
            "incidents",
            {"property_id": ONE, "kind": "pet", "happened_at": AT, "description": "x"},
            "property",
        ),
    ],
)
async def test_an_id_that_is_not_in_the_book_is_named_whoever_else_has_it(
    api: Api, two: tuple[Api, Api], path: str, body: dict[str, Any], fault: str
) -> None:
    unknown = await api.put(f"{path}/{an_id(30)}", body)
    assert (unknown.status_code, pointers(unknown)) == (422, [(f"#/{fault}_id", f"unknown_{fault}")])
    second = two[1]
    await second.made(f"properties/{ONE}", a_property())
    await second.made(f"customers/{ONE}", {"name": "Another's"})
    await second.made(
        f"permits/{ONE}", {"number": "1", "authority": "State", "region": "US-CA", "from_on": "2026-01-01"}
    )
    foreign = await api.put(f"{path}/{an_id(30)}", body)
    assert (foreign.status_code, foreign.json()) == (unknown.status_code, unknown.json())
    assert (await api.get(f"{path}/{an_id(30)}")).status_code == 404


@pytest.mark.parametrize(
    ("path", "body", "sentence"),
    [
        (
            f"properties/{PROPERTY}/tenures",
            {"customer_id": CUSTOMER, "from_on": "2026-05-01", "until_on": "2026-05-01"},
            "`until_on` comes after `from_on`",
        ),
        (
            "permits",
            {
                "number": "7",
                "authority": "State",
                "region": "US-CA",
                "from_on": "2026-05-01",
                "until_on": "2026-04-30",
            },
            "`until_on` comes after `from_on`",
        ),
        (
            "jobs",
            {
                "property_id": PROPERTY,
                "target": "unidentified",
                "opened_at": AT,
                "closed_at": "2026-05-14T16:59:59Z",
                "end_reason": "clear",
            },
            "`closed_at` comes after `opened_at`",
        ),
        (
            "jobs",
            {"property_id": PROPERTY, "target": "unidentified", "opened_at": AT, "closed_at": AT},
            "a closed job says `closed_at` and `end_reason`",
        ),
        (
            "jobs",
            {"property_id": PROPERTY, "target": "unidentified", "opened_at": AT, "end_reason": "clear"},
            "a closed job says `closed_at` and `end_reason`",
        ),
    ],
)
async def test_members_that_do_not_fit_together_are_refused_in_the_words_of_the_noun(
    book: Api, path: str, body: dict[str, Any], sentence: str
) -> None:
    refused = await book.post(path, body)
    assert refused.status_code == 422
    assert sentence in refused.json()["detail"]
    assert pointers(refused) == [("#", "do_not_fit")]


async def test_a_feature_stands_under_its_own_property_alone(api: Api) -> None:
    await api.made(f"properties/{ONE}", a_property(name="Second field"))
    path, body = f"features/{an_id(30)}", {"name": "Lower green", "kind": "green"}
    await api.made(f"properties/{PROPERTY}/{path}", body)
    elsewhere = f"properties/{ONE}/{path}"
    for answer in (
        await api.get(elsewhere),
        await api.get(f"{elsewhere}/versions"),
        await api.put(elsewhere, body),
        await api.patch(elsewhere, {"name": "Moved"}, If_Match='"1"'),
    ):
        assert answer.status_code == 404
    assert await api.items(f"properties/{ONE}/features") == []
    assert [one["id"] for one in await api.items(f"properties/{PROPERTY}/features")] == [an_id(30)]


async def test_nothing_stands_under_a_property_that_is_not_in_the_book(api: Api) -> None:
    body = {"name": "Lower green", "kind": "green"}
    for answer in (
        await api.get(f"properties/{ONE}/features"),
        await api.post(f"properties/{ONE}/features", body),
        await api.put(f"properties/{ONE}/features/{an_id(30)}", body),
    ):
        assert answer.status_code == 404


async def test_lists_are_narrowed_to_a_property(api: Api) -> None:
    await api.made(f"properties/{ONE}", a_property(name="Second field"))
    body = {"kind": "mown", "at": AT}
    await api.made(f"upkeep/{an_id(30)}", {**body, "property_id": PROPERTY})
    await api.made(f"upkeep/{an_id(31)}", {**body, "property_id": ONE})
    assert [one["id"] for one in await api.items(f"upkeep?property_id={ONE}")] == [an_id(31)]
    assert len(await api.items("upkeep")) == 2


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ({"zone": "America/Los_Angelos"}, [("#/zone", "unknown_zone")]),
        ({"region": "California"}, [("#/region", "wrong_form")]),
        (
            {"position": {"type": "Point", "coordinates": [-122, 95]}},
            [("#/position/coordinates/1", "off_the_globe")],
        ),
        ({"hazards": ["dragons"], "name": "a\0b"}, [("#/hazards/0", "not_in_list"), ("#/name", "nul")]),
        ({"name": 7, "colour": "red"}, [("#/name", "wrong_type"), ("#/colour", "unknown_field")]),
    ],
)
async def test_every_fault_of_a_body_is_named_at_once(
    api: Api, body: dict[str, Any], expected: list[tuple[str, str]]
) -> None:
    refused = await api.post("properties", a_property(**body))
    assert (refused.status_code, sorted(pointers(refused))) == (422, sorted(expected))
    assert refused.headers["content-type"] == "application/problem+json"
    assert len(await api.items("properties")) == 1


async def test_a_body_that_is_no_json_is_400_with_the_place(api: Api) -> None:
    refused = await api.put(f"workers/{WORKER}", b'{"name": "x",}', Content_Type="application/json")
    assert refused.status_code == 400
    assert "line 1, column 14" in refused.json()["detail"]


@pytest.mark.parametrize("media", ["text/plain", "application/xml", "application/merge-patch+json", ""])
async def test_a_media_type_that_is_not_taken_is_415(api: Api, media: str) -> None:
    refused = await api.put(f"workers/{ONE}", b'{"name": "x"}', Content_Type=media)
    assert refused.status_code == 415
    assert "application/json" in refused.json()["detail"]
    assert (await api.get(f"workers/{ONE}")).status_code == 404
