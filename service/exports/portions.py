"""Reading much of the book for whoever takes it slowly: in portions, each by itself, the next while one is sent."""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from typing import Any
from uuid import UUID

import msgspec

from service.exports.models import Portion, Selected
from service.exports.selection import Selection
from service.kernel.db import Db
from service.kernel.sql import Queries

sql = Queries(__package__)
# so many places are selected by one statement
SELECTED = 5_000
# the first portion is small, so that something comes soon; how long a record is shows then
FIRST, MOST = 64, 2_000

# the next ones of a selection, at most so many
Read = Callable[[Selection, int], Awaitable[Portion]]


async def select(db: Db, business_id: UUID, chosen: Selection, most: int) -> Selected:
    """The next `most` versions in the order of the log, those too that the claim leaves out."""
    wanted: dict[str, Any] = msgspec.structs.asdict(chosen)
    return await db.one(Selected, sql.select_versions, business_id=business_id, most=most, **wanted)


async def selections(db: Db, business_id: UUID, chosen: Selection) -> AsyncIterator[Selected]:
    """All of them, thousands at a time; no snapshot is held in between, since what was issued never changes."""
    while True:
        selected = await select(db, business_id, chosen, SELECTED)
        yield selected
        places = selected.places
        if len(places) < SELECTED:
            return
        chosen = msgspec.structs.replace(chosen, after=places[-1])


async def find_last(db: Db, business_id: UUID, chosen: Selection, most: int) -> int | None:
    """The place of the `most`th of them; None where there are fewer."""
    async for selected in selections(db, business_id, chosen):
        places = selected.places
        if len(places) >= most:
            return places[most - 1]
        most -= len(places)
    return None


async def portions(chosen: Selection, read: Read, size: int) -> AsyncIterator[Portion]:
    """All of those whose claim holds, in lines, of about `size` bytes a time."""
    most = FIRST
    while (found := await read(chosen, most)).count:
        yield found
        if found.count < most:
            return
        chosen = msgspec.structs.replace(chosen, after=found.last)
        most = min(MOST, max(1, size * found.count // len(found.text)))


async def ahead(pieces: AsyncIterator[bytes]) -> AsyncIterator[bytes]:
    """The same pieces, none of them empty, each read while the one before it is sent."""
    reading = asyncio.ensure_future(anext(pieces, b""))
    try:
        while piece := await reading:
            reading = asyncio.ensure_future(anext(pieces, b""))
            yield piece
    finally:
        reading.cancel()
        await asyncio.gather(reading, return_exceptions=True)
