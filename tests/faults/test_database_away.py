"""The database goes away in the middle of a request: 503, nothing stored, and all is well when it is back."""

import asyncio

import asyncpg

from tests.http import Api, a_property, an_id
from tests.processes import PATIENCE_SECONDS

# Who waits for this session; pg_locks, unlike pg_stat_activity, is read anew within a transaction.
WAITING = "select pid from pg_locks where not granted and pg_backend_pid() = any (pg_blocking_pids(pid))"


async def test_a_request_cut_off_is_answered_503_stores_nothing_and_can_be_sent_again(
    api: Api, owner: "asyncpg.Connection[asyncpg.Record]"
) -> None:
    path = f"properties/{an_id(77)}"
    async with owner.transaction(), asyncio.timeout(PATIENCE_SECONDS):
        await owner.execute("select from business for update")
        sent = asyncio.create_task(api.put(path, a_property()))
        while (waiting := await owner.fetchval(WAITING)) is None:
            pass
        await owner.execute("select pg_terminate_backend($1)", waiting)
        cut_off = await sent
    assert cut_off.status_code == 503
    assert cut_off.json()["type"] == "/problems/unavailable"
    assert cut_off.headers["Retry-After"] == "1"
    assert (await api.get(path)).status_code == 404
    assert (await api.put(path, a_property())).status_code == 201
