"""Records going out in bulk: page by page in the order of the log, as text that the database hands over."""

import hashlib
from collections.abc import AsyncIterator
from typing import Any
from uuid import UUID

import msgspec

from service.exports.models import Excluded, Selected
from service.exports.selection import COLUMNS, Selection
from service.kernel.db import Db
from service.kernel.sql import Queries

sql = Queries(__package__)
# About half a megabyte a statement: memory stays flat, and no snapshot is held between them.
PAGE = 200


async def select(db: Db, business_id: UUID, chosen: Selection, most: int) -> list[Selected]:
    """The next `most` versions in the order of the log, those too that the claim leaves out."""
    wanted: dict[str, Any] = msgspec.structs.asdict(chosen)
    return await db.many(Selected, sql.select_versions, business_id=business_id, most=most, **wanted)


async def read_lines(db: Db, business_id: UUID, selected: list[Selected]) -> bytes:
    """The bytes of those whose claim holds, each ended by a line feed."""
    held = [one.sequence for one in selected if one.holds]
    return await db.value(sql.read_lines, business_id=business_id, sequences=held) or b""


async def read_excluded(db: Db, business_id: UUID, selected: list[Selected]) -> list[Excluded]:
    """Those that the claim leaves out, each with why."""
    left_out = [one.sequence for one in selected if not one.holds]
    if not left_out:
        return []
    return await db.many(Excluded, sql.list_excluded, business_id=business_id, sequences=left_out)


async def lines(db: Db, business_id: UUID, chosen: Selection, cursor: str) -> AsyncIterator[bytes]:
    """Newline-delimited JSON: each record's bytes, then one closing line that says the answer is whole.

    That line holds the count, the SHA-256 of all lines before it, the cursor to go on from, what the claim left
    out with the reason, and last the SHA-256 of what stands in it before that; without it the answer was cut off.
    """
    count, digest = 0, hashlib.sha256()
    async for selected in _pages(db, business_id, chosen):
        text = await read_lines(db, business_id, selected)
        digest.update(text)
        count += sum(one.holds for one in selected)
        yield text
    closing = {"closing": True, "count": count, "sha256": digest.hexdigest(), "next": cursor}
    last_line = msgspec.json.encode(closing)[:-1] + b',"excluded":['
    of_last_line = hashlib.sha256(last_line)
    yield last_line
    parted = b""
    if chosen.claim is not None:
        # once more over the same places, so that what was left out need not be kept in memory
        async for selected in _pages(db, business_id, chosen):
            for one in await read_excluded(db, business_id, selected):
                told = parted + msgspec.json.encode(one)
                of_last_line.update(told)
                yield told
                parted = b","
    of_last_line.update(b"]")
    yield b'],"closing_sha256":"%b"}\n' % of_last_line.hexdigest().encode()


async def rows(db: Db, business_id: UUID, chosen: Selection, *, raw: bool) -> AsyncIterator[bytes]:
    """CSV (RFC 4180) with a header; `raw` leaves texts as they are, for machines."""
    yield f"{COLUMNS}\r\n".encode()
    async for selected in _pages(db, business_id, chosen):
        held = [one.sequence for one in selected if one.holds]
        yield await db.value(sql.read_rows, business_id=business_id, sequences=held, raw=raw) or b""


async def _pages(db: Db, business_id: UUID, chosen: Selection) -> AsyncIterator[list[Selected]]:
    while selected := await select(db, business_id, chosen, PAGE):
        yield selected
        chosen = msgspec.structs.replace(chosen, after=selected[-1].sequence)
