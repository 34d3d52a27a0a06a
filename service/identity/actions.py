"""Making a key and a business: from HTTP and from the command line."""

from datetime import datetime
from typing import get_args
from uuid import UUID

import asyncpg
import msgspec

from service.identity.models import ApiKeyMade, NewApiKey
from service.kernel.db import Db
from service.kernel.ids import new_id
from service.kernel.now import random_bytes
from service.kernel.sql import Queries
from service.kernel.values import Scope
from service.keys.rules import hash_of, make_key

sql = Queries(__package__)


async def add_key(db: Db, business_id: UUID, new: NewApiKey, now: datetime) -> ApiKeyMade:
    """A new key; the answer is the only place that ever shows it."""
    key_id = new_id()
    key = make_key(key_id, random_bytes(32))
    row = await db.one(
        dict,
        sql.insert_api_key,
        business_id=business_id,
        id=key_id,
        name=new.name,
        worker_id=new.worker_id,
        scopes=sorted(set(new.scopes)),
        hash=hash_of(key),
        last_four=key[-13:-9],
        created_at=now,
        expires_at=new.expires_at,
    )
    return msgspec.convert({**row, "key": key}, ApiKeyMade)


async def add_business(
    pool: "asyncpg.Pool[asyncpg.Record]", name: str, zone: str, now: datetime
) -> tuple[UUID, ApiKeyMade]:
    """A new business with a key that may do everything. `pool` works as the migrator."""
    business_id = new_id()
    async with pool.acquire() as connection, connection.transaction():
        db = Db(connection)  # type: ignore[arg-type]
        await db.run(sql.insert_business, id=business_id, name=name, zone=zone, now=now)
        await db.run(sql.insert_counter, id=business_id)
        every_scope = NewApiKey(name="first key", scopes=list(get_args(Scope)))
        return business_id, await add_key(db, business_id, every_scope, now)
