"""An entry: writers of one business stand in line, and hold nothing that others need while they wait."""

import asyncio

import asyncpg

from service.events.outbox import entry
from tests.bodies import NOW
from tests.http import Api
from tests.processes import PATIENCE_SECONDS


async def test_writers_who_wait_for_their_business_leave_the_connections_to_others(
    two: tuple[Api, Api], pool: "asyncpg.Pool[asyncpg.Record]"
) -> None:
    busy, other = two
    written = []

    async def write(number: int) -> None:
        async with entry(pool, busy.business_id, NOW):
            written.append(number)

    async with entry(pool, busy.business_id, NOW), asyncio.timeout(PATIENCE_SECONDS):
        waiting = [asyncio.create_task(write(number)) for number in range(2 * pool.get_max_size())]
        answer = await other.get("workers")
        assert answer.status_code == 200
        assert written == []
    await asyncio.gather(*waiting)
    assert written == list(range(2 * pool.get_max_size()))
