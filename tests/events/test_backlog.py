"""A backlog that came before any statistics of it: what the courier reads then."""

import asyncpg

from service.events import sender
from service.kernel.db import Pool
from service.kernel.now import utc_now
from tests.events.conftest import Book, deliver, receiving

# What this transaction has read row by row through whole tables.
READ_WHOLE = """select relname::text, seq_tup_read from pg_stat_xact_user_tables
    where relname in ('delivery', 'delivery_body', 'event') and seq_tup_read > 0"""
# As many as fill some pages of the table; claims of so many then need statistics to be planned well.
BACKLOG = 300
VACUUM = "vacuum analyze delivery, delivery_body, event, endpoint, counter"


async def test_a_backlog_is_not_read_whole_though_the_tables_were_empty_when_last_looked_at(
    book: Book, courier: Pool, sessions: sender.Sessions, owner: "asyncpg.Connection[asyncpg.Record]"
) -> None:
    await owner.execute(VACUUM)
    async with receiving() as receiver, courier.acquire() as connection, connection.transaction():
        for number in range(5):
            await book.add_endpoint(f"{receiver.url}?{number}")
        now = utc_now()
        await book.tell(now, BACKLOG // 5)
        tried = [len(await deliver(connection, sessions, now)) for _ in range(8)]  # type: ignore[arg-type]
        assert min(tried) > 0
        assert await connection.fetch(READ_WHOLE) == []
