"""The door to the log: one entry in a business's book is one transaction, with its events written at the end."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID
from weakref import WeakValueDictionary

import asyncpg
import msgspec

from service.events.models import Event
from service.kernel.db import Db, transaction
from service.kernel.ids import id_of_cause, new_id
from service.kernel.sql import Queries

sql = Queries(__package__)

# A business's writers in this process stand in line here first: while they wait they hold no connection, and a busy
# business leaves some to the others.
_lines: WeakValueDictionary[UUID, asyncio.Lock] = WeakValueDictionary()


@dataclass
class Told:
    """One event waiting for the end of its transaction."""

    id: UUID
    event: Event
    subject: UUID
    time: datetime
    cause: str | None


@dataclass
class Entry:
    """A write transaction of one business: its statements, who writes, when, and what is told at its end."""

    db: Db
    business_id: UUID
    now: datetime
    key_id: UUID | None = None
    told: list[Told] = field(default_factory=list)

    def tell(self, event: Event, subject: UUID, *, cause: str | None = None) -> UUID:
        """Put an event into the log when the transaction ends; with a cause it is told once for ever.

        The id of an event with a cause follows from it, so that a second writer names the same event.
        """
        event_id = new_id() if cause is None else id_of_cause(self.business_id, cause)
        self.told.append(Told(event_id, event, subject, self.now, cause))
        return event_id


class Numbered(msgspec.Struct, frozen=True):
    """An event's place in the log."""

    id: UUID
    sequence: int
    told: bool


@asynccontextmanager
async def entry(
    pool: "asyncpg.Pool[asyncpg.Record]", business_id: UUID, now: datetime, key_id: UUID | None = None
) -> AsyncIterator[Entry]:
    """Open an entry: writers of one business stand in line; events and counter come last, then the commit."""
    async with _lines.setdefault(business_id, asyncio.Lock()), transaction(pool) as db:
        await db.run(sql.lock_business_for_update, business_id=business_id)
        opened = Entry(db, business_id, now, key_id)
        yield opened
        await flush(opened)


@asynccontextmanager
async def attempt(opened: Entry) -> AsyncIterator[None]:
    """A part that may fail by itself: what it wrote and told is undone, and the entry goes on."""
    told = len(opened.told)
    try:
        async with opened.db.savepoint():
            yield
    except BaseException:
        del opened.told[told:]
        raise


async def flush(opened: Entry) -> list[Numbered]:
    """Write what was told so far and give it its numbers."""
    told, opened.told = opened.told, []
    if not told:
        return []
    return await opened.db.many(
        Numbered,
        sql.insert_events,
        business_id=opened.business_id,
        ids=[one.id for one in told],
        types=[one.event.event_type for one in told],
        subjects=[one.subject for one in told],
        times=[one.time for one in told],
        data=[msgspec.json.encode(one.event).decode() for one in told],
        causes=[one.cause for one in told],
    )


async def latest_sequence(db: Db, business_id: UUID) -> int:
    """Where the log stands: all up to there is committed, since the counter's row is locked till then."""
    latest: int = await db.value(sql.read_latest_sequence, business_id=business_id)
    return latest
