"""Sealed months over HTTP: what is in a seal, and when a further one is made."""

import asyncio
import hashlib
import json
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from service.kernel.canonical import canonical
from service.kernel.db import Pool
from service.seals.rules import SEAL_TYPE, leaf_of, root_of
from service.signatures.rules import check
from service.verify.key_set import read_key_set
from tests.bodies import a_visit, an_id
from tests.books import run_to
from tests.http import Api, Clock

JUNE = datetime(2026, 6, 5, 12, tzinfo=UTC)
QUIET = timedelta(minutes=61)
EMPTY = hashlib.sha256().hexdigest()


def visit_on(day: int, month: int = 5, **more: Any) -> dict[str, Any]:
    """Twenty minutes from ten o'clock on a day in Los Angeles."""
    on = f"2026-{month:02}-{day:02}"
    return a_visit(arrived_at=f"{on}T10:00:00-07:00", left_at=f"{on}T10:20:00-07:00", **more)


async def issued(api: Api, number: int, **visit: Any) -> Any:
    """The signed record of a visit that is new."""
    await api.made(f"visits/{an_id(number)}", visit_on(**visit))
    answer = await api.post("service-records", {"visit_id": an_id(number)})
    assert answer.status_code == 201, answer.text
    return answer.json()


@pytest.fixture
async def may(api: Api, clock: Clock) -> Api:
    """Three records of May and one of June, which are looked at in June."""
    clock.now = JUNE
    for number, day in ((101, 5), (102, 3), (103, 31)):
        await issued(api, number, day=day)
    await issued(api, 104, day=1, month=6)
    return api


async def sealed(api: Api, month: str = "2026-05") -> Any:
    answer = await api.post(f"months/{month}/seal")
    assert answer.status_code in (200, 201), answer.text
    return answer.json()["seal"]


async def test_a_seal_is_signed_and_lists_the_latest_versions_in_ascending_number(may: Api):
    answer = await may.post("months/2026-05/seal")
    assert answer.status_code == 201
    assert answer.headers["location"] == "/v1/months/2026-05/seals/1"
    signed = answer.json()
    seal = signed["seal"]
    assert (seal["month"], seal["version"], seal["replaces"], seal["count"]) == ("2026-05", 1, None, 3)
    assert [one["number"] for one in seal["records"]] == [f"2026-00000{n}" for n in (1, 2, 3)]
    written = canonical(seal)
    assert hashlib.sha256(written).hexdigest() == signed["sha256"]
    assert canonical(signed) == answer.content
    keys, _ = read_key_set((await may.get("/.well-known/jwks.json")).content)
    assert check(keys, SEAL_TYPE, written, signed["signature"]) in keys
    leaves = []
    for one in seal["records"]:
        record = (await may.get(f"service-records/{one['number']}.{one['version']}")).json()["record"]
        leaves.append(leaf_of(canonical(record)))
        assert one["leaf"] == leaves[-1].hex()
        assert one["sha256"] == hashlib.sha256(canonical(record)).hexdigest()
    assert seal["root"] == root_of(leaves).hex()
    (told,) = await may.told("month.sealed")
    assert told["data"] == {
        "month_id": told["subject"],
        "seal": "2026-05.1",
        "month": "2026-05",
        "count": 3,
        "root": seal["root"],
        "sha256": signed["sha256"],
    }


async def test_sealing_again_with_nothing_new_is_the_same_seal(may: Api, clock: Clock):
    first = await may.post("months/2026-05/seal")
    clock.now += QUIET
    again = await may.post("months/2026-05/seal")
    assert (again.status_code, again.content) == (200, first.content)
    read = await may.get("months/2026-05/seal")
    assert (read.content, read.headers["etag"]) == (first.content, first.headers["etag"])
    assert (await may.get("months/2026-05/seals/1", If_None_Match=read.headers["etag"])).status_code == 304
    assert len(await may.told("month.sealed")) == 1


async def test_two_at_once_make_one_seal(may: Api):
    answers = await asyncio.gather(*(may.post("months/2026-05/seal") for _ in range(4)))
    assert sorted(one.status_code for one in answers) == [200, 200, 200, 201]
    assert len({one.content for one in answers}) == 1
    assert len(await may.told("month.sealed")) == 1


async def test_a_late_record_seals_its_month_anew_and_names_the_old_seal(
    may: Api, clock: Clock, clock_pool: Pool, pool: Pool
):
    before = await sealed(may)
    await issued(may, 105, day=20)
    await run_to(clock_pool, pool, clock.now)
    after = (await may.get("months/2026-05/seal")).json()["seal"]
    assert (after["version"], after["replaces"], after["count"]) == (2, "2026-05.1", 4)
    assert (await may.get("months/2026-05/seals/1")).json()["seal"] == before
    assert [one["data"].get("replaces") for one in await may.told("month.sealed")] == [None, "2026-05.1"]
    assert (await may.post("months/2026-05/seal")).status_code == 200


async def test_a_record_of_a_month_that_is_not_sealed_seals_nothing(
    may: Api, clock: Clock, clock_pool: Pool, pool: Pool
):
    await sealed(may)
    await issued(may, 105, day=2, month=6)
    await run_to(clock_pool, pool, clock.now)
    assert len(await may.told("month.sealed")) == 1


async def test_a_withdrawn_visit_stays_a_leaf_in_its_latest_version(
    may: Api, clock: Clock, clock_pool: Pool, pool: Pool
):
    before = await sealed(may)
    withdrawn = await may.delete(f"visits/{an_id(102)}?amend_reason=by+mistake", If_Match="*")
    assert withdrawn.status_code in (200, 204), withdrawn.text
    clock.now += QUIET
    await run_to(clock_pool, pool, clock.now)
    after = (await may.get("months/2026-05/seal")).json()["seal"]
    assert [one["number"] for one in after["records"]] == [one["number"] for one in before["records"]]
    assert [one["version"] for one in after["records"]] == [1, 2, 1]


async def test_a_record_that_moves_to_another_month_changes_both_seals(
    may: Api, clock: Clock, clock_pool: Pool, pool: Pool
):
    await sealed(may)
    clock.now = datetime(2026, 7, 2, 12, tzinfo=UTC)
    await sealed(may, "2026-06")
    moved = visit_on(2, month=6, amend_reason="the day was wrong")
    answer = await may.put(f"visits/{an_id(103)}", moved, If_Match='"1"')
    assert answer.status_code == 200, answer.text
    clock.now += QUIET
    await run_to(clock_pool, pool, clock.now)
    of_may, of_june = [
        (await may.get(f"months/{month}/seal")).json()["seal"] for month in ("2026-05", "2026-06")
    ]
    assert [one["number"] for one in of_may["records"]] == ["2026-000001", "2026-000002"]
    assert [one["number"] for one in of_june["records"]] == ["2026-000003", "2026-000004"]
    assert of_june["records"][0]["version"] == 2


async def test_a_month_without_a_record_is_sealed_too(may: Api):
    seal = await sealed(may, "2026-02")
    assert (seal["count"], seal["records"], seal["root"]) == (0, [], EMPTY)


async def test_what_cannot_be_sealed_or_read_says_why(may: Api, clock: Clock):
    refused = await may.post("months/2026-06/seal")
    assert refused.status_code == 409
    assert "2026-06 has not ended in America/Los_Angeles" in refused.json()["detail"]
    assert (await may.post("months/2026-6/seal")).status_code == 400
    for path in ("months/2026-05/seal", "months/2026-05/seals/1", "months/2026-05/seals/x"):
        answer = await may.get(path)
        assert answer.status_code == 404, path
        assert (
            path.removeprefix("months/").removesuffix("/seal").replace("/seals/", ".")
            in answer.json()["detail"]
        )
        assert "seal" in answer.json()["detail"]


async def test_a_seal_is_written_once_and_never_rewritten(may: Api, pool: Pool):
    await sealed(may)
    async with pool.acquire() as connection:
        rights = await connection.fetch(
            "select privilege_type from information_schema.role_table_grants "
            "where table_name = 'month_seal' and grantee = current_user"
        )
    assert {row["privilege_type"] for row in rights} == {"SELECT", "INSERT"}
    assert json.loads((await may.get("months/2026-05/seal")).content)["seal"]["version"] == 1
