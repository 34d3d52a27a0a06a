"""The promises of /v1/methods and /v1/method-register, over HTTP; instants are our own arithmetic."""

from datetime import timedelta
from typing import Any

import asyncpg
import pytest

from service.records.ticks import handlers
from service.work import ticks as work
from tests.bodies import NOW, a_visit, an_id
from tests.http import SEALING_KEY, Api

BOX, VISIT = an_id(301), an_id(101)
A_BOX = {
    "name": "Owl box",
    "method_class": "exclusion",
    "ground": "7 CFR 205.206(a), (b): habitat, no substance",
}


@pytest.fixture
async def used(api: Api) -> Api:
    """A visit at which we put up what is on no register, with its record."""
    treatment = {"id": an_id(201), "method": "owl-box", "applied_at": "2026-05-14T10:00:00-07:00"}
    await api.made(f"visits/{VISIT}", a_visit(treatments=[treatment]))
    await api.post("service-records", {"visit_id": VISIT})
    return api


async def latest(api: Api) -> dict[str, Any]:
    return dict((await api.post("service-records", {"visit_id": VISIT})).json()["record"])


async def test_what_nobody_classed_breaks_the_claim_until_it_is_classed_with_a_ground(
    used: Api, pool: Any, clock_pool: Any
):
    """The record is compared anew by itself, once it is quiet, and names the class and the ground."""
    before = await latest(used)
    assert before["content"]["pesticide_free_by_us"]["free"] is False
    assert "not on the method register" in before["content"]["pesticide_free_by_us"]["why"]
    put = await used.put(f"methods/{BOX}", A_BOX)
    assert put.status_code == 201, put.text
    await work.run(clock_pool, pool, NOW + timedelta(hours=2), handlers(SEALING_KEY))
    versions = (await used.get(f"service-records/{before['number']}")).json()["versions"]
    assert [one["pesticide_free_by_us"] for one in versions] == [False, True]
    [line] = (await latest(used))["content"]["treatments"]
    assert (line["method_class"], line["ground"]) == ("exclusion", A_BOX["ground"])


async def test_amended_or_withdrawn_it_is_compared_anew_too(used: Api):
    await used.put(f"methods/{BOX}", A_BOX)
    assert (await latest(used))["content"]["pesticide_free_by_us"]["free"]
    amended = await used.put(
        f"methods/{BOX}", {**A_BOX, "method_class": "registered_pesticide"}, If_Match='"1"'
    )
    assert amended.status_code == 200, amended.text
    assert not (await latest(used))["content"]["pesticide_free_by_us"]["free"]
    gone = await used.delete(f"methods/{BOX}", If_Match='"2"')
    assert gone.status_code == 200, gone.text
    assert (await latest(used))["content"]["treatments"][0]["method_class"] == "unclassified"


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ({"name": "castor oil"}, "laxer"),
        ({"name": "snap"}, "mechanism"),
        ({"name": "..."}, "no_name"),
    ],
)
async def test_what_does_not_fit_the_register_is_refused_with_a_sentence(
    api: Api, more: dict[str, str], code: str
):
    refused = await api.put(f"methods/{BOX}", {**A_BOX, **more})
    assert refused.status_code == 422
    [fault] = refused.json()["errors"]
    assert fault["code"] == code
    assert (await api.get(f"methods/{BOX}")).status_code == 404


async def test_one_that_the_register_has_outgrown_can_be_withdrawn(
    used: Api, owner: "asyncpg.Connection[asyncpg.Record]"
):
    """A later release may class more strictly what the business had classed first."""
    await used.put(f"methods/{BOX}", A_BOX)
    await owner.execute("update method set name = 'castor oil' where business_id = $1", used.business_id)
    gone = await used.delete(f"methods/{BOX}", If_Match='"1"')
    assert gone.status_code == 200, gone.text


async def test_it_is_amended_only_with_the_tag_that_it_has(api: Api):
    await api.put(f"methods/{BOX}", A_BOX)
    assert (await api.put(f"methods/{BOX}", A_BOX)).status_code == 200
    other = {**A_BOX, "ground": "Sample Town code, section 4"}
    assert (await api.put(f"methods/{BOX}", other)).status_code == 428
    assert (await api.put(f"methods/{BOX}", other, If_Match='"7"')).status_code == 412


async def test_the_register_lists_what_is_shipped_and_what_is_the_businesss_own(two: tuple[Api, Api]):
    mine, theirs = two
    await mine.put(f"methods/{BOX}", A_BOX)
    shown = (await mine.get("method-register")).json()
    own = [one for one in shown["methods"] if one["origin"] == "own"]
    assert own == [
        {
            "name": "Owl box",
            "origin": "own",
            "id": BOX,
            "method_class": "exclusion",
            "breaks_claim": False,
            "ground": A_BOX["ground"],
        }
    ]
    assert {"castor_oil", "carbon_monoxide", "harpoon"} <= {one["name"] for one in shown["methods"]}
    assert "not licence-free" in shown["notice"]
    others = (await theirs.get("method-register")).json()
    assert not [one for one in others["methods"] if one["origin"] == "own"]
