"""The business, its workers and its keys over HTTP."""

import base64
from datetime import timedelta
from typing import Any

import asyncpg
import msgspec
import pytest
from litestar import Litestar

from service.kernel.ids import new_id
from service.keys.rules import hash_of, make_key
from tests.bodies import an_id
from tests.http import VISIT, WORKER, Api, Clock, pointers

CHALLENGE = 'Bearer realm="setbook"'


@pytest.mark.parametrize("kind", ["none", "another scheme", "mistyped", "never made", "revoked", "run out"])
async def test_a_call_without_a_key_that_holds_is_401_with_its_challenge(
    api: Api, clock: Clock, kind: str
) -> None:
    soon = (clock.now + timedelta(minutes=1)).isoformat()
    given = await api.key_with("read", expires_at=soon if kind == "run out" else None)
    authorization = f"Bearer {given.key}"
    if kind == "mistyped":
        authorization = authorization[:-1] + ("0" if given.key[-1] != "0" else "1")
    elif kind == "another scheme":
        authorization = f"Basic {given.key}"
    elif kind == "never made":
        authorization = f"Bearer {make_key(new_id(), bytes(32))}"
    elif kind == "revoked":
        mine = (await given.get("me")).json()["key_id"]
        assert (await api.delete(f"api-keys/{mine}")).status_code == 200
    elif kind == "run out":
        clock.now += timedelta(minutes=1)
    without = api.holding("")
    headers = {} if kind == "none" else {"Authorization": authorization}
    refused = await without.get("me", **headers)
    assert refused.status_code == 401
    assert refused.headers["www-authenticate"] == CHALLENGE
    assert refused.headers["content-type"] == "application/problem+json"
    problem = refused.json()
    assert (problem["type"], problem["status"]) == ("/problems/no_key", 401)
    assert problem["detail"].endswith(".")


async def test_a_key_says_who_holds_it_and_what_it_may_do(api: Api) -> None:
    phone = await api.key_with("record", "read", worker_id=WORKER)
    answer = (await phone.get("me")).json()
    assert answer == {
        "business_id": str(api.business_id),
        "business_name": "Greenway Trapping",
        "key_id": answer["key_id"],
        "scopes": ["read", "record"],
        "worker_id": WORKER,
    }


async def test_a_key_without_the_scope_is_403_and_nothing_is_done(api: Api) -> None:
    reader = await api.key_with("read")
    refused = await reader.put(f"workers/{an_id(20)}", {"name": "T. Sample"})
    assert refused.status_code == 403
    assert refused.json()["detail"] == "This key lacks the scope `office`; use one that has it."
    assert (await api.get(f"workers/{an_id(20)}")).status_code == 404


async def test_a_key_is_shown_once_and_kept_as_a_hash(
    api: Api, clock: Clock, owner: "asyncpg.Connection[asyncpg.Record]"
) -> None:
    made = await api.post("api-keys", {"name": "phone of R. Example", "scopes": ["record", "record", "read"]})
    assert made.status_code == 201
    shown = made.json()
    key = shown.pop("key")
    assert shown == {
        "id": shown["id"],
        "name": "phone of R. Example",
        "scopes": ["read", "record"],
        "last_four": key.split("_")[2][-4:],
        "created_at": clock.now.isoformat().replace("+00:00", "Z"),
    }
    listed = await api.get("api-keys")
    assert shown in listed.json()["items"]
    assert key not in listed.text
    assert await owner.fetchval("select hash from api_key where id = $1", shown["id"]) == hash_of(key)
    everything = await owner.fetchval("select string_agg(k::text, '') from api_key k")
    assert key.split("_")[2] not in everything


async def test_revoking_is_told_once_and_keeps_its_instant(api: Api, clock: Clock) -> None:
    key = await api.key_with("read")
    key_id = (await key.get("me")).json()["key_id"]
    first = await api.delete(f"api-keys/{key_id}")
    clock.now += timedelta(hours=1)
    again = await api.delete(f"api-keys/{key_id}")
    assert (first.status_code, again.status_code) == (200, 200)
    assert again.json() == first.json()
    told = await api.told("key.revoked")
    assert [one["data"] for one in told] == [{"key_id": key_id, "revoked_at": first.json()["revoked_at"]}]
    assert (await api.delete(f"api-keys/{an_id(99)}")).status_code == 404


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ({"name": "x", "scopes": ["root"]}, ("#/scopes/0", "not_in_list")),
        ({"name": "x", "scopes": []}, ("#/scopes", "too_short")),
        ({"name": "", "scopes": ["read"]}, ("#/name", "too_short")),
        ({"name": "x", "scopes": ["read"], "worker_id": an_id(99)}, ("#/worker_id", "unknown_worker")),
        ({"name": "x", "scopes": ["read"], "expires_at": "tomorrow"}, ("#/expires_at", "not_an_instant")),
    ],
)
async def test_a_key_that_cannot_be_made_says_what_to_mend(
    api: Api, body: dict[str, Any], expected: tuple[str, str]
) -> None:
    refused = await api.post("api-keys", body)
    assert (refused.status_code, pointers(refused)) == (422, [expected])


async def test_a_worker_is_made_read_amended_and_keeps_its_history(api: Api) -> None:
    path, stated = f"workers/{an_id(20)}", {"name": "T. Sample"}
    made = await api.put(path, stated)
    assert (made.status_code, made.headers["etag"], made.headers["location"]) == (201, '"1"', f"/v1/{path}")
    licence = {"number": "PCO-17", "authority": "State board", "region": "US-CA"}
    amended = await api.patch(path, {"licences": [licence]}, If_Match='"1"')
    assert (amended.status_code, amended.headers["etag"]) == (200, '"2"')
    assert amended.json() | {"received_at": ""} == {
        "id": an_id(20),
        "version": 2,
        "name": "T. Sample",
        "licences": [licence],
        "received_at": "",
    }
    again = await api.put(path, {"name": "T. Sample", "licences": [licence]})
    assert (again.status_code, again.headers["etag"]) == (200, '"2"')
    versions = (await api.get(f"{path}/versions")).json()
    assert [(one["version"], one["body"]) for one in versions] == [
        (1, stated),
        (2, {"name": "T. Sample", "licences": [licence]}),
    ]


async def test_a_worker_that_exists_is_amended_with_if_match_alone(api: Api) -> None:
    path = f"workers/{WORKER}"
    without = await api.put(path, {"name": "Another"})
    assert without.status_code == 428
    stale = await api.put(path, {"name": "Another"}, If_Match='"7"')
    assert (stale.status_code, stale.headers["etag"]) == (412, '"1"')
    assert (await api.patch(path, {"name": "Another"})).status_code == 428
    assert (await api.patch(path, {"name": "Another"}, If_Match='W/"1"')).status_code == 412
    assert (await api.put(f"workers/{an_id(20)}", {"name": "New"}, If_Match='"1"')).status_code == 412
    assert (await api.get(path)).json()["name"] == "R. Example"


async def test_a_reader_who_has_it_gets_304(api: Api) -> None:
    first = await api.get(f"workers/{WORKER}")
    same = await api.get(f"workers/{WORKER}", If_None_Match=f'"9", {first.headers["etag"]}')
    assert (same.status_code, same.content, same.headers["etag"]) == (304, b"", first.headers["etag"])
    other = await api.get(f"workers/{WORKER}", If_None_Match='"9"')
    assert other.json() == first.json()


async def test_the_business_is_amended_by_merge_patch(api: Api) -> None:
    before = await api.get("business")
    assert before.json()["house_policies"] == [{"calendar_days": 1}]
    change = {"issue": "on_receipt", "house_policies": [{"calendar_days": 1, "latest_hour": 17}]}
    assert (await api.patch("business", change)).status_code == 428
    after = await api.patch("business", change, If_Match=before.headers["etag"])
    assert (after.status_code, after.headers["etag"]) == (200, '"2"')
    assert after.json() == before.json() | change | {"version": 2}
    assert (await api.get("business")).json() == after.json()
    refused = await api.patch("business", {"zone": "Mars/Olympus", "name": None}, If_Match='"2"')
    assert refused.status_code == 422
    assert pointers(refused) == [("#/zone", "unknown_zone"), ("#/name", "missing")]


async def test_lists_turn_pages_without_losing_a_row(api: Api) -> None:
    for number in range(20, 25):
        await api.made(f"workers/{an_id(number)}", {"name": f"Worker {number}"})
    path, seen = "workers?limit=2", []
    while path:
        answer = await api.get(path)
        seen += [row["id"] for row in answer.json()["items"]]
        link = answer.headers.get("link")
        assert (link is None) == ("next" not in answer.json())
        path = link[1 : link.index(">")] if link else ""
    assert seen == [WORKER, *(an_id(number) for number in range(20, 25))]


@pytest.mark.parametrize("query", ["limit=0", "limit=501", "limit=x", "after=x", "after=%F0%9F%90%80"])
async def test_a_query_that_cannot_be_read_is_400_with_what_to_mend(api: Api, query: str) -> None:
    refused = await api.get(f"workers?{query}")
    assert refused.status_code == 400
    assert refused.json()["type"] == "/problems/unreadable"
    assert query.partition("=")[0] in refused.json()["detail"]


@pytest.mark.parametrize(
    "place",
    [
        [],
        [None, None],
        ["2026-05-14T17:00:00", VISIT],
        ["9999-12-31T23:59:59-23:59", VISIT],
        ["0001-01-01T00:00:00+23:59", VISIT],
        ["2026-05-14T17:00:00Z", "7"],
        [10**30],
    ],
)
async def test_a_cursor_that_somebody_made_up_is_no_cursor(api: Api, app: Litestar, place: list[Any]) -> None:
    forged = base64.urlsafe_b64encode(msgspec.json.encode([app.state.epoch, place])).decode().rstrip("=")
    refused = await api.get(f"visits?after={forged}")
    assert (refused.status_code, "`after` is no cursor" in refused.json()["detail"]) == (400, True)


async def test_a_cursor_of_another_epoch_is_410_with_the_way_on(api: Api, app: Litestar) -> None:
    await api.made(f"workers/{an_id(20)}", {"name": "T. Sample"})
    cursor = (await api.get("workers?limit=1")).json()["next"]
    app.state.epoch = new_id()
    gone = await api.get(f"workers?after={cursor}")
    assert gone.status_code == 410
    assert "leave `after` out" in gone.json()["detail"]
