"""All that is held on a person, handed out: whatever an erasure takes, and what it leaves."""

import json
from datetime import timedelta
from typing import Any

import asyncpg
import pytest

from tests.bodies import a_visit, an_id
from tests.erasure.spoken import CUSTOMER, GROUND, SECOND, TENURE, WORD, sell, tables_with
from tests.http import PROPERTY, VISIT, WORKER, Api, Clock

Owner = asyncpg.Connection


async def held_on(api: Api, path: str) -> list[dict[str, Any]]:
    """Each thing that is handed out."""
    answer = await api.get(f"{path}/personal-data")
    assert answer.status_code == 200, answer.text
    return list(answer.json()["held"])


async def test_what_is_held_on_a_person_is_handed_out_with_where_it_stands(spoken_of: Api) -> None:
    answer = await spoken_of.get(f"customers/{CUSTOMER}/personal-data")
    assert answer.headers["cache-control"] == "no-store"
    held = {one["noun"] for one in answer.json()["held"] if WORD in json.dumps(one["data"])}
    assert {
        *("customer", "customer, version 1", "property", "visit, version 1", "refused visit", "incident"),
        *("service record", "upkeep, version 1", "feature, version 1", "job, version 1"),
    } <= held
    await spoken_of.post(f"customers/{CUSTOMER}/erase", GROUND)
    assert WORD not in (await spoken_of.get(f"customers/{CUSTOMER}/personal-data")).text


@pytest.mark.parametrize("erased", [CUSTOMER, SECOND])
async def test_what_happened_in_the_days_of_one_of_two_is_handed_out_to_that_one_alone(
    spoken_of: Api, owner: "Owner[Any]", erased: str
) -> None:
    """Stated alone, a thing speaks of its day; an erasure also takes what only came in the own days.

    The word is one that no signature or salt spells by chance.
    """
    await sell(spoken_of, "2026-05-14")
    theirs = {
        f"incidents/{an_id(350)}": {
            "kind": "other",
            "happened_at": "2026-05-01T10:00:00Z",
            "description": "Bittern",
        },
        f"treatments/{an_id(351)}": {
            "method": "bait",
            "applied_at": "2026-05-01T10:00:00Z",
            "told_by": "Bittern",
        },
        f"upkeep/{an_id(352)}": {"kind": "mown", "at": "2026-05-01T10:00:00Z", "told_by": "Bittern"},
        f"jobs/{an_id(353)}": {
            "target": "Thomomys bottae",
            "opened_at": "2026-05-01T10:00:00Z",
            "ref": "Bittern",
        },
    }
    for path, body in theirs.items():
        await spoken_of.made(path, {"property_id": PROPERTY, **body})
    held = await held_on(spoken_of, f"customers/{CUSTOMER}")
    assert {one["noun"] for one in held if "Bittern" in str(one)} == {
        "incident",
        *(f"{noun}, version 1" for noun in ("incident", "treatment", "upkeep", "job")),
    }
    assert "Bittern" not in str(await held_on(spoken_of, f"customers/{SECOND}"))
    await spoken_of.post(f"customers/{erased}/erase", GROUND)
    assert await tables_with(owner, "Bittern") == set()


async def test_what_names_one_of_two_is_not_handed_out_to_the_other(spoken_of: Api, clock: Clock) -> None:
    """The word stands in the row, the versions and the bed of a property that was another's until yesterday."""
    clock.now += timedelta(days=1)
    await sell(spoken_of, "2026-05-15")
    await spoken_of.made(f"visits/{an_id(354)}", a_visit(arrived_at="2026-05-13T10:00:00-07:00", notes=WORD))
    moved = a_visit(arrived_at="2026-05-15T09:00:00-07:00", notes="moles", amend_reason=f"not {WORD}'s day")
    answer = await spoken_of.put(f"visits/{an_id(354)}", moved, If_Match='"1"')
    assert answer.status_code == 200, answer.text
    held = await held_on(spoken_of, f"customers/{SECOND}")
    assert WORD not in str(held)
    assert {("property", PROPERTY), ("visit, version 2", an_id(354))} <= {
        (one["noun"], one["id"]) for one in held
    }
    assert "moles" not in str(await held_on(spoken_of, f"customers/{CUSTOMER}"))


async def test_a_record_that_was_issued_for_another_is_that_ones_after_the_tenure_is_mended(
    spoken_of: Api,
) -> None:
    await spoken_of.post("service-records/2026-000001.1/billed", {"invoice_ref": "INV-7"})
    tenure = await spoken_of.get(f"properties/{PROPERTY}/tenures/{TENURE}")
    await spoken_of.made(f"customers/{SECOND}", {"name": "B. Sample"})
    mended = await spoken_of.patch(
        f"properties/{PROPERTY}/tenures/{TENURE}", {"customer_id": SECOND}, If_Match=tenure.headers["etag"]
    )
    assert mended.status_code == 200, mended.text
    held = await held_on(spoken_of, f"customers/{SECOND}")
    assert not [one for one in held if one["noun"] == "service record"]
    assert "visit, version 1" in {one["noun"] for one in held}
    records = {
        one["id"]: one["data"]
        for one in await held_on(spoken_of, f"customers/{CUSTOMER}")
        if one["noun"] == "service record"
    }
    assert records["2026-000001.1"]["party"]["customer_name"] == WORD
    assert records["2026-000001.1"]["invoice_ref"] == "INV-7"


async def test_a_record_that_was_issued_for_nobody_is_whole_where_nobody_else_was(api: Api) -> None:
    """The tenure was stated after the record was issued."""
    await api.made(f"visits/{VISIT}", a_visit(customer_note="Dear neighbour"))
    assert (await api.post("service-records", {"visit_id": VISIT})).status_code == 201
    for number, (customer, on) in enumerate([(CUSTOMER, "2026-01-01"), (SECOND, "2026-05-20")]):
        await api.made(f"customers/{customer}", {"name": "Neighbour"})
        tenure = {"customer_id": customer, "from_on": on} | ({"until_on": "2026-05-20"} if not number else {})
        await api.made(f"properties/{PROPERTY}/tenures/{an_id(306 + number)}", tenure)
        held = {one["noun"]: one["data"] for one in await held_on(api, f"customers/{CUSTOMER}")}
        assert held["service record"]["record"]["number"] == "2026-000001"
        assert ("party" in held["service record"]) is (number == 0)


async def test_who_held_a_property_before_is_not_shown_who_holds_it_now(spoken_of: Api) -> None:
    await sell(spoken_of, "2026-05-13")
    place = await spoken_of.get(f"properties/{PROPERTY}")
    new = {"name": "Merlin's", "address": "2 Merlin Row"}
    await spoken_of.patch(f"properties/{PROPERTY}", new, If_Match=place.headers["etag"])
    assert "Merlin" not in str(await held_on(spoken_of, f"customers/{CUSTOMER}"))
    assert "Merlin" in str(await held_on(spoken_of, f"customers/{SECOND}"))


async def test_records_invoices_and_reasons_are_held_on_a_customer(spoken_of: Api) -> None:
    billed = await spoken_of.post("service-records/2026-000001.1/billed", {"invoice_ref": "INV-7"})
    assert billed.status_code == 201, billed.text
    tag = (await spoken_of.get(f"visits/{VISIT}")).headers["etag"]
    await spoken_of.delete(f"visits/{VISIT}?amend_reason=elsewhere", If_Match=tag)
    held = {
        (one["noun"], one["id"]): one["data"] for one in await held_on(spoken_of, f"customers/{CUSTOMER}")
    }
    record = held["service record", "2026-000001.1"]
    assert (record["record"]["number"], record["invoice_ref"]) == ("2026-000001", "INV-7")
    assert record["party"]["customer_name"] == WORD
    assert held["visit, version 2", VISIT]["amend_reason"] == "elsewhere"
    await spoken_of.post(f"customers/{CUSTOMER}/erase", GROUND)
    held = {
        (one["noun"], one["id"]): one["data"] for one in await held_on(spoken_of, f"customers/{CUSTOMER}")
    }
    record = held["service record", "2026-000001.1"]
    assert "party" not in record
    assert record["erased"]["ground"] == GROUND["ground"]


async def test_what_a_worker_did_and_sent_is_held_on_the_worker(spoken_of: Api) -> None:
    phone = await spoken_of.key_with("record", "office", worker_id=WORKER)
    hurt = {
        "property_id": PROPERTY,
        "visit_id": VISIT,
        "kind": "injury",
        "happened_at": "2026-05-14T10:00:00Z",
    }
    await spoken_of.made(f"incidents/{an_id(360)}", hurt | {"description": "a finger"})
    await phone.made(
        f"upkeep/{an_id(361)}", {"property_id": PROPERTY, "kind": "mown", "at": "2026-05-14T09:00:00Z"}
    )
    await phone.made(f"visits/{an_id(362)}", a_visit(worker_id=WORKER))
    refused = await phone.put(f"visits/{an_id(363)}", a_visit(outcome="perhaps"))
    held = await held_on(spoken_of, f"workers/{WORKER}")
    assert {(one["noun"], one["id"]) for one in held} >= {
        *(("worker", WORKER), ("visit", VISIT), ("visit", an_id(362)), ("incident", an_id(360))),
        *(("sent visit, version 1", an_id(362)), ("sent upkeep, version 1", an_id(361))),
        *(("sent refused visit", refused.json()["refusal_id"]), ("service record", "2026-000001.1")),
    }
    assert ("sent visit, version 1", VISIT) not in {(one["noun"], one["id"]) for one in held}, "by the office"


async def test_a_worker_is_handed_the_own_words_and_nothing_of_colleagues(spoken_of: Api) -> None:
    """What the office wrote of an incident may name who was hurt."""
    phone = await spoken_of.key_with("record", "office", worker_id=WORKER)
    colleague = an_id(364)
    await spoken_of.made(f"workers/{colleague}", {"name": "Merlin"})
    await spoken_of.made(f"visits/{an_id(365)}", a_visit(worker_id=colleague, with_worker_ids=[WORKER]))
    assert (await spoken_of.post("service-records", {"visit_id": an_id(365)})).status_code == 201
    hurt = {
        "property_id": PROPERTY,
        "visit_id": VISIT,
        "kind": "injury",
        "happened_at": "2026-05-14T10:00:00Z",
    }
    told = {"description": "Merlin's finger", "measures": "Merlin's plaster"}
    await spoken_of.made(f"incidents/{an_id(366)}", hurt | told)
    await phone.made(f"incidents/{an_id(367)}", hurt | {"description": "my thumb"})
    held = {(one["noun"], one["id"]): one["data"] for one in await held_on(spoken_of, f"workers/{WORKER}")}
    assert "Merlin" not in str(held)
    assert colleague not in str(held)
    assert held["visit", an_id(365)]["led"] is False
    assert held["incident", an_id(366)]["kind"] == "injury"
    assert held["incident", an_id(367)]["description"] == "my thumb"
    own = (await spoken_of.get(f"workers/{WORKER}")).json()["name"]
    assert held["service record", "2026-000003.1"] == {"worker_names": [own]}
