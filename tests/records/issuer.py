"""A process that issues records as the office does, one after the other, and says each when it is committed."""

import asyncio
import sys
from uuid import UUID

from service.events.outbox import entry
from service.kernel.db import open_pool
from service.records.actions import issue
from tests.http import SEALING_KEY
from tests.records.conftest import BUSINESS, NOW


async def main(url: str, visits: list[str]) -> None:
    """Issue the records of these visits."""
    async with await open_pool(url, "app", 1) as pool:
        for visit in visits:
            async with entry(pool, BUSINESS, NOW) as opened:
                await issue(opened, SEALING_KEY, UUID(visit))
            sys.stdout.write(f"{visit}\n")
            sys.stdout.flush()


if __name__ == "__main__":
    asyncio.run(main(sys.argv[1], sys.argv[2:]))
