"""All that is held on a person, handed out: whatever an erasure takes, and what it leaves."""

import json
from typing import Any

import asyncpg

from tests.bodies import a_visit, an_id
from tests.erasure.spoken import CUSTOMER, GROUND, SECOND, WORD, sell, tables_with
from tests.http import PROPERTY, VISIT, WORKER, Api

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


async def test_what_happened_or_came_in_the_own_days_is_held_on_each_of_two(
    spoken_of: Api, owner: "Owner[Any]"
) -> None:
    """Stated alone, a thing speaks of its day, and comes from somebody on the day on which it comes."""
    await sell(spoken_of, "2026-05-14")
    theirs = {
        f"incidents/{an_id(350)}": {
            "kind": "other",
            "happened_at": "2026-05-01T10:00:00Z",
            "description": "dog",
        },
        f"treatments/{an_id(351)}": {
            "method": "bait",
            "applied_at": "2026-05-01T10:00:00Z",
            "told_by": "dog",
        },
        f"upkeep/{an_id(352)}": {"kind": "mown", "at": "2026-05-01T10:00:00Z", "told_by": "dog"},
        f"jobs/{an_id(353)}": {
            "target": "Thomomys bottae",
            "opened_at": "2026-05-01T10:00:00Z",
            "ref": "dog",
        },
    }
    for path, body in theirs.items():
        await spoken_of.made(path, {"property_id": PROPERTY, **body})
    for customer in (CUSTOMER, SECOND):
        told = {one["noun"] for one in await held_on(spoken_of, f"customers/{customer}") if "dog" in str(one)}
        assert told == {
            "incident",
            *(f"{noun}, version 1" for noun in ("incident", "treatment", "upkeep", "job")),
        }
    await spoken_of.post(f"customers/{CUSTOMER}/erase", GROUND)
    assert await tables_with(owner, "dog") == set()
    assert "dog" not in str(await held_on(spoken_of, f"customers/{SECOND}"))


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
