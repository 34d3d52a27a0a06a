"""`python -m tests.erasure.eraser URL BUSINESS`: erase each customer whose id is a line of the input, and say so."""

import asyncio
import sys
from uuid import UUID

from service.erasure.actions import erase_customer
from service.events.outbox import entry
from service.kernel.db import open_pool
from tests.bodies import NOW


async def main(url: str, business_id: UUID) -> None:
    """One transaction a customer; each is told once it is committed."""
    async with await open_pool(url, "app", 1) as pool:
        print("ready", flush=True)
        while line := await asyncio.to_thread(sys.stdin.readline):
            async with entry(pool, business_id, NOW) as book:
                await erase_customer(book, UUID(line.strip()), "The person asked for it.")
            print(line.strip(), flush=True)


asyncio.run(main(sys.argv[1], UUID(sys.argv[2])))
