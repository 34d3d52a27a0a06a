"""The promises of /v1/service-records/{number}.{version}/billed, over HTTP."""

from typing import Any

import pytest

from tests.bodies import a_visit, an_id
from tests.http import Api

VISIT = an_id(101)
INVOICE = {"invoice_ref": "INV-2026-0412", "billed_on": "2026-06-01"}


@pytest.fixture
async def first(api: Api) -> str:
    """The first version of a visit's record."""
    await api.made(f"visits/{VISIT}", a_visit())
    return await issued(api)


async def issued(api: Api) -> str:
    record = (await api.post("service-records", {"visit_id": VISIT})).json()["record"]
    return f"{record['number']}.{record['version']}"


async def amend(api: Api) -> None:
    put = await api.put(f"visits/{VISIT}", a_visit(outcome="no_access"), If_Match='"1"')
    assert put.status_code == 200, put.text


async def events(api: Api, kind: str) -> list[dict[str, Any]]:
    told = (await api.get("events?limit=100")).json()["events"]
    return [one["data"] for one in told if one["type"].endswith(kind)]


async def test_a_version_is_billed_once_and_the_same_again_changes_nothing(api: Api, first: str):
    bytes_before = (await api.get(f"service-records/{first}")).content
    billed = await api.post(f"service-records/{first}/billed", INVOICE)
    assert billed.status_code == 201, billed.text
    assert (billed.json()["record"], billed.json()["latest"]) == (first, first)
    again = await api.post(f"service-records/{first}/billed", INVOICE)
    assert (again.status_code, again.json()) == (200, billed.json())
    other = await api.post(f"service-records/{first}/billed", {"invoice_ref": "INV-9"})
    assert other.status_code == 409
    assert "INV-2026-0412 on 2026-06-01" in other.json()["detail"]
    assert (await api.get(f"service-records/{first}")).content == bytes_before
    [told] = await events(api, "record.billed")
    assert told["record"] == first
    assert "invoice_ref" not in told


async def test_a_later_version_shows_that_the_one_before_was_billed(api: Api, first: str):
    await api.post(f"service-records/{first}/billed", INVOICE)
    await amend(api)
    second = await issued(api)
    assert second != first
    versions = (await api.get(f"service-records/{first.partition('.')[0]}")).json()["versions"]
    assert [one["billed"] and one["billed"]["invoice_ref"] for one in versions] == ["INV-2026-0412", None]
    [told] = await events(api, "record.amended")
    assert told["billed_before"] is True
    again = await api.post(f"service-records/{first}/billed", INVOICE)
    assert again.json()["latest"] == second
    credited = await api.post(f"service-records/{second}/billed", {"invoice_ref": "INV-2026-0500"})
    assert credited.status_code == 201, credited.text


async def test_a_version_that_was_not_billed_says_so_when_it_is_amended(api: Api, first: str):
    await amend(api)
    assert await issued(api) != first
    [told] = await events(api, "record.amended")
    assert told["billed_before"] is False


async def test_a_version_that_takes_the_record_back_is_not_billed(api: Api, first: str):
    await api.delete(f"visits/{VISIT}", If_Match='"1"')
    back = await issued(api)
    assert back != first
    refused = await api.post(f"service-records/{back}/billed", INVOICE)
    assert refused.status_code == 409
    assert "nothing in it to bill" in refused.json()["detail"]


@pytest.mark.parametrize("record", ["2026-000001", "2026-000009.1", "2026-000001.7", "x"])
async def test_a_version_that_is_not_there_is_not_billed(api: Api, first: str, record: str):
    assert first == "2026-000001.1"
    assert (await api.post(f"service-records/{record}/billed", INVOICE)).status_code == 404


async def test_the_key_of_a_billing_system_bills_and_no_phone_does(api: Api, first: str):
    phone, system = await api.key_with("record"), await api.key_with("read", "events")
    assert (await phone.post(f"service-records/{first}/billed", INVOICE)).status_code == 403
    assert (await system.post(f"service-records/{first}/billed", INVOICE)).status_code == 201
