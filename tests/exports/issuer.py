"""`python -m tests.exports.issuer URL BUSINESS DAY...`: issue the records of these visits, in a process of its own."""

import asyncio
import sys
from uuid import UUID

from service.events.outbox import entry
from service.kernel.db import open_pool
from service.records.actions import issue
from tests.bodies import NOW, an_id
from tests.http import SEALING_KEY


async def main(url: str, business_id: UUID, days: list[int]) -> None:
    """One transaction a record; each is told once it is committed."""
    async with await open_pool(url, "app", 1) as pool:
        for day in days:
            async with entry(pool, business_id, NOW) as book:
                await issue(book, SEALING_KEY, UUID(an_id(100 + day)))
            print(day, flush=True)


asyncio.run(main(sys.argv[1], UUID(sys.argv[2]), [int(day) for day in sys.argv[3:]]))
