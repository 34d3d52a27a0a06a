"""Treatments, upkeep and incidents that became known on their own, beside those that visits state."""

from typing import Any

import pytest

from tests.bodies import AT, a_sign, a_visit, an_id
from tests.http import PROPERTY, VISIT, Api, a_property, pointers

ONE, NESTED = an_id(70), an_id(64)
TREATMENT = {"property_id": PROPERTY, "method": "repellent", "applied_at": AT}
UPKEEP = {"property_id": PROPERTY, "kind": "mown", "at": AT}
INCIDENT = {"property_id": PROPERTY, "kind": "pet", "happened_at": AT, "description": "A dog dug up a set."}


async def test_a_treatment_is_by_others_where_it_is_not_said_and_is_told_once(api: Api) -> None:
    await api.made(f"treatments/{ONE}", TREATMENT)
    amended = await api.patch(f"treatments/{ONE}", {"applied_by": "customer"}, If_Match='"1"')
    assert amended.json()["applied_by"] == "customer"
    told = {
        "treatment_id": ONE,
        "property_id": PROPERTY,
        "method": "repellent",
        "applied_at": "2026-05-14T17:00:00Z",
        "applied_by": "other",
    }
    assert [one["data"] for one in await api.told("treatment.recorded")] == [told]


@pytest.mark.parametrize(("path", "body"), [("treatments", TREATMENT), ("upkeep", UPKEEP)])
async def test_it_is_withdrawn_with_if_match_and_may_come_again(
    api: Api, path: str, body: dict[str, Any]
) -> None:
    one = f"{path}/{ONE}"
    made = await api.made(one, body)
    assert (await api.delete(one)).status_code == 428
    assert (await api.delete(one, If_Match='"2"')).status_code == 412
    withdrawn = await api.delete(one, If_Match='"1"')
    assert (withdrawn.status_code, withdrawn.json()) == (200, made)
    assert (await api.get(one)).status_code == 404
    assert (await api.delete(one, If_Match='"1"')).status_code == 404
    assert await api.items(path) == []
    again = await api.put(one, body)
    assert (again.status_code, again.headers["etag"]) == (201, '"3"')
    versions = (await api.get(f"{one}/versions")).json()
    assert [(each["version"], each["body"] is None) for each in versions] == [
        (1, False),
        (2, True),
        (3, False),
    ]


async def test_the_history_of_what_was_withdrawn_stays(api: Api) -> None:
    await api.made(f"upkeep/{ONE}", UPKEEP)
    await api.delete(f"upkeep/{ONE}", If_Match='"1"')
    versions = (await api.get(f"upkeep/{ONE}/versions")).json()
    assert [each["body"] for each in versions] == [UPKEEP, None]


@pytest.mark.parametrize(
    ("path", "member"),
    [
        ("treatments", {"id": NESTED, "method": "repellent", "applied_at": AT}),
        ("upkeep", {"id": NESTED, "kind": "mown", "at": AT}),
    ],
)
async def test_what_a_visit_states_is_listed_here_and_amended_there(
    api: Api, path: str, member: dict[str, Any]
) -> None:
    await api.made(f"visits/{VISIT}", a_visit(**{path: [member]}))
    one = f"{path}/{NESTED}"
    shown = (await api.get(one)).json()
    assert (shown["visit_id"], shown["property_id"], shown["id"]) == (VISIT, PROPERTY, NESTED)
    assert await api.items(path) == [shown]
    stated = {name: value for name, value in member.items() if name != "id"}
    for answer in (
        await api.put(one, {"property_id": PROPERTY, **stated}),
        await api.patch(one, {"told_by": "the porter"}, If_Match='"1"'),
        await api.delete(one, If_Match="*"),
    ):
        assert answer.status_code == 409
        assert VISIT in answer.json()["detail"]
    assert (await api.get(one)).json() == shown


async def test_a_treatment_inside_a_visit_is_ours_where_it_is_not_said(api: Api) -> None:
    treatment = {"id": NESTED, "method": "repellent", "applied_at": AT}
    await api.made(f"visits/{VISIT}", a_visit(treatments=[treatment]))
    assert (await api.get(f"treatments/{NESTED}")).json()["applied_by"] == "us"
    (told,) = await api.told("treatment.recorded")
    assert (told["data"]["applied_by"], told["data"]["visit_id"]) == ("us", VISIT)
    # said or left out, it is the same visit
    again = await api.put(f"visits/{VISIT}", a_visit(treatments=[{**treatment, "applied_by": "us"}]))
    assert again.json()["outcome"] == "same"


async def test_an_id_has_one_owner_for_ever(api: Api) -> None:
    await api.made(f"visits/{VISIT}", a_visit(signs=[a_sign(id=NESTED)]))
    await api.delete(f"visits/{VISIT}", If_Match='"1"')
    refused = await api.put(f"treatments/{NESTED}", TREATMENT)
    assert (refused.status_code, pointers(refused)) == (422, [("#/id", "id_taken")])
    assert (await api.get(f"treatments/{NESTED}")).status_code == 404
    await api.made(f"upkeep/{ONE}", UPKEEP)
    await api.delete(f"upkeep/{ONE}", If_Match='"1"')
    refused = await api.put(f"visits/{an_id(4)}", a_visit(signs=[a_sign(id=ONE)]))
    assert (refused.status_code, pointers(refused)) == (422, [("#/signs/0/id", "id_taken")])


async def test_a_mowing_moves_the_lawn_clock_of_mounds_seen_after_it(api: Api) -> None:
    # our own arithmetic: 72 hours after the mowing, 13 May 22:00 UTC
    await api.made(f"visits/{VISIT}", a_visit(signs=[a_sign()]))
    (patch,) = await api.items("lawn-patches")
    assert (patch["earliest_from"], patch["due_at"]) == ("unknown", "2026-05-15T07:00:00Z")
    mown = await api.put(f"upkeep/{ONE}", {**UPKEEP, "at": "2026-05-13T15:00:00-07:00"})
    assert mown.status_code == 201
    (patch,) = await api.items("lawn-patches")
    assert (patch["earliest_at"], patch["due_at"]) == ("2026-05-13T22:00:00Z", "2026-05-16T22:00:00Z")
    await api.patch(f"upkeep/{ONE}", {"kind": "rolled"}, If_Match='"1"')
    (patch,) = await api.items("lawn-patches")
    assert patch["earliest_from"] == "unknown"
    await api.patch(f"upkeep/{ONE}", {"kind": "mown"}, If_Match='"2"')
    await api.delete(f"upkeep/{ONE}", If_Match='"3"')
    (patch,) = await api.items("lawn-patches")
    assert (patch["earliest_from"], patch["due_at"]) == ("unknown", "2026-05-15T07:00:00Z")


async def test_a_mowing_that_is_said_of_another_property_frees_the_first(api: Api) -> None:
    await api.made(f"properties/{an_id(9)}", a_property(name="Second field"))
    await api.made(f"visits/{VISIT}", a_visit(signs=[a_sign()]))
    await api.made(f"upkeep/{ONE}", {**UPKEEP, "at": "2026-05-13T15:00:00-07:00"})
    await api.patch(f"upkeep/{ONE}", {"property_id": an_id(9)}, If_Match='"1"')
    (patch,) = await api.items("lawn-patches")
    assert patch["earliest_from"] == "unknown"


async def test_an_incident_opens_closes_and_may_point_to_a_visit(api: Api) -> None:
    path = f"incidents/{ONE}"
    await api.made(path, INCIDENT)
    pointed = await api.patch(path, {"visit_id": an_id(77)}, If_Match='"1"')
    assert (pointed.status_code, pointed.json()["visit_id"]) == (200, an_id(77))
    closing = {"closed_at": "2026-05-14T17:30:00Z", "measures": "The set was lifted."}
    assert (await api.patch(path, closing, If_Match='"2"')).status_code == 200
    assert (await api.patch(path, {"measures": "Lifted and flagged."}, If_Match='"3"')).status_code == 200
    place = {"incident_id": ONE, "property_id": PROPERTY}
    told = [(one["type"], one["data"]) for one in await api.told()]
    assert told == [
        ("incident.opened", {**place, "kind": "pet", "happened_at": "2026-05-14T17:00:00Z"}),
        ("incident.closed", {**place, "closed_at": "2026-05-14T17:30:00Z"}),
    ]
    # what went wrong is for the house: no words of it in the log
    assert "dog dug" not in (await api.get("events")).text
