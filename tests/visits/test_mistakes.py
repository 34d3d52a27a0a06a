"""Ids given twice, bodies sent again, keys that may not: what people and phones get wrong, and what comes of it."""

import json

from tests.bodies import AT, a_check, a_set, a_sign, a_visit, an_id
from tests.http import PROPERTY, VISIT, Api, a_property, codes, pointers

PATH = f"visits/{VISIT}"
MERGE = {"Content_Type": "application/merge-patch+json"}


async def test_a_check_that_names_a_sign_as_its_set_leaves_the_lawn_clock_alone(api: Api) -> None:
    sign = a_sign(on_turf=True)
    await api.made(PATH, a_visit(signs=[sign]))
    before = await api.items(f"deadlines?subject_id={sign['id']}&kind=lawn")
    await api.made(f"visits/{an_id(4)}", a_visit(checks=[a_check(set_id=sign["id"])]))
    assert await api.items(f"deadlines?subject_id={sign['id']}&kind=lawn") == before
    assert len(await api.items(f"deadlines?subject_id={sign['id']}&state=open")) == 2


async def test_a_stand_alone_fact_keeps_its_id_from_a_visit_of_the_very_same_id(api: Api) -> None:
    treatment = {"method": "castor oil", "applied_at": AT}
    await api.made(f"treatments/{VISIT}", {**treatment, "property_id": str(PROPERTY)})
    refused = await api.put(PATH, a_visit(treatments=[{**treatment, "id": str(VISIT)}]))
    assert refused.status_code == 422
    assert pointers(refused) == [("#/treatments/0/id", "id_taken")]


async def test_the_nil_uuid_is_no_id(api: Api) -> None:
    nil = "00000000-0000-0000-0000-000000000000"
    assert (await api.put(f"customers/{nil}", {"name": "A"})).status_code == 404
    assert (await api.put(f"visits/{nil}", a_visit())).status_code == 404


async def test_a_visit_sent_again_is_warned_of_again(api: Api) -> None:
    body = a_visit(sets=[a_set(foot_traffic="path")])
    first, second = await api.put(PATH, body), await api.put(PATH, body)
    assert codes(first) == codes(second) == ["not_flagged"]


async def test_a_phone_may_bring_a_property_but_not_amend_the_offices(api: Api) -> None:
    phone = await api.key_with("record")
    amended = {**a_property(zone="Europe/London"), "id": str(PROPERTY), "amends": '"1"'}
    answer = await phone.post("visits/batch", line(amended), Content_Type="application/x-ndjson")
    assert '"status":403' in answer.text
    made = {**a_property(), "id": str(an_id(70))}
    answer = await phone.post("visits/batch", line(made), Content_Type="application/x-ndjson")
    assert '"status":201' in answer.text


def line(members: dict[str, object]) -> bytes:
    """A batch of one property."""
    return json.dumps({"property": members}).encode() + b"\n"


async def test_a_fact_amended_in_place_may_say_why(api: Api) -> None:
    await api.made(PATH, a_visit(sets=[a_set()]))
    path = f"sets/{a_set()['id']}"
    answer = await api.patch(
        path, {"flagged": True, "amend_reason": "seen from the road"}, If_Match='"1"', **MERGE
    )
    assert answer.status_code == 200, answer.text
    versions = (await api.get(f"{PATH}/versions")).json()
    assert versions[-1]["amend_reason"] == "seen from the road"


async def test_a_ticket_that_has_run_out_does_not_cover_a_deep_set(api: Api) -> None:
    ticket = {
        "number": "T-1",
        "called_at": "2026-01-02T08:00:00-08:00",
        "expires_at": "2026-01-30T08:00:00-08:00",
    }
    job = {
        "property_id": str(PROPERTY),
        "target": "Scapanus latimanus",
        "opened_at": "2026-01-01T08:00:00-08:00",
        "locate_ticket": ticket,
    }
    await api.made(f"jobs/{an_id(60)}", job)
    deep = await api.put(PATH, a_visit(sets=[a_set(depth_mm=400)]))
    assert codes(deep) == ["no_locate_ticket"]
