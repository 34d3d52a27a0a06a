"""Keys over their lives: made, published without their secret half, retired, not opened under another secret key."""

import asyncio
import json
from datetime import timedelta
from typing import Any

import pytest

from service.kernel.canonical import canonical
from service.kernel.db import Db, Pool, open_pool
from service.kernel.errors import CannotStart
from service.signatures.keyring import check_key, list_keys, rotate
from service.signatures.rules import RECORD_TYPE, check
from service.verify.key_set import read_key_set
from tests.bodies import NOW, a_visit, an_id
from tests.http import SEALING_KEY, Api

LATER = NOW + timedelta(hours=1)


async def record_of(api: Api, number: int) -> Any:
    """The signed record of a fresh visit, as the office asks for it."""
    await api.made(f"visits/{an_id(number)}", a_visit())
    answer = await api.post("service-records", {"visit_id": an_id(number)})
    assert answer.status_code == 201, answer.text
    return answer.json()


async def rotated(database: str) -> str:
    async with await open_pool(database, "migrator", 1) as migrator:
        return await rotate(migrator, SEALING_KEY, LATER)


async def test_a_new_key_signs_from_then_on_and_the_old_one_verifies_for_ever(api: Api, database: str):
    before = await record_of(api, 101)
    kid = await rotated(database)
    after = await record_of(api, 102)
    published = await api.holding("").get("/.well-known/jwks.json")
    keys, faults = read_key_set(published.content)
    assert (faults, len(keys), next(iter(keys))) == ([], 2, kid)
    signed_by = [
        check(keys, RECORD_TYPE, canonical(one["record"]), one["signature"]) for one in (before, after)
    ]
    assert signed_by == [signed_by[0], kid]
    assert signed_by[0] != kid


async def test_keys_are_listed_with_when_they_were_retired(api: Api, pool: Pool, database: str):
    await record_of(api, 101)
    kid = await rotated(database)
    newest, oldest = await list_keys(Db(pool))
    assert (newest.kid, newest.made_at, newest.retired_at) == (kid, LATER, None)
    assert (oldest.made_at, oldest.retired_at) == (NOW, LATER)


async def test_the_key_set_shows_no_secret_half_and_may_be_kept_for_a_while(api: Api, database: str):
    await record_of(api, 101)
    await rotated(database)
    nobody = api.holding("")
    answer = await nobody.get("/.well-known/jwks.json")
    assert answer.headers["content-type"].startswith("application/jwk-set+json")
    assert answer.headers["cache-control"] == "public, max-age=300"
    for one in json.loads(answer.content)["keys"]:
        assert one.keys() == {"alg", "crv", "kid", "kty", "use", "x"}
    again = await nobody.get("/.well-known/jwks.json", If_None_Match=answer.headers["etag"])
    assert (again.status_code, again.content) == (304, b"")
    assert (await nobody.get("/.well-known/jwks.json", If_None_Match='W/"other"')).status_code == 200


async def test_rotating_twice_at_once_leaves_a_key_in_force(api: Api, pool: Pool, database: str):
    await record_of(api, 101)
    await asyncio.gather(rotated(database), rotated(database))
    in_force = [one for one in await list_keys(Db(pool)) if one.retired_at is None]
    assert in_force
    await record_of(api, 102)


async def test_another_secret_key_is_told_at_the_start_and_by_the_office(api: Api, pool: Pool, app: Any):
    await check_key(pool, bytes(32))
    await record_of(api, 101)
    await check_key(pool, SEALING_KEY)
    with pytest.raises(CannotStart, match=r"SETBOOK_SECRET_KEY .* setbook signing-key rotate"):
        await check_key(pool, bytes(32))
    await api.made(f"visits/{an_id(102)}", a_visit())
    app.state.sealing_key = bytes(32)
    try:
        answer = await api.post("service-records", {"visit_id": an_id(102)})
    finally:
        app.state.sealing_key = SEALING_KEY
    assert (answer.status_code, answer.json()["type"]) == (503, "/problems/unavailable")
    assert "SETBOOK_SECRET_KEY" in answer.json()["detail"]
    assert (await api.post("service-records", {"visit_id": an_id(102)})).status_code == 201
