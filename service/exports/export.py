"""Records going out in bulk, as text that the database hands over, and what a puller checks it by."""

import hashlib
from collections.abc import AsyncIterator
from functools import partial
from itertools import chain
from uuid import UUID

import msgspec

from service.exports.columns import HEADER
from service.exports.models import Excluded, Portion, RecordDigest
from service.exports.portions import portions, selections
from service.exports.selection import ClaimName, Selection
from service.kernel.db import Db
from service.kernel.sql import Queries

sql = Queries(__package__)
LINES_BYTES = 1_000_000
ROWS_BYTES = 500_000


async def read_signed(
    db: Db, business_id: UUID, chosen: Selection, most: int
) -> list[tuple[int, bytes, bytes, bytes]]:
    """The next `most` of those whose claim holds: the place in the log, and the pieces that they are in."""
    wanted = msgspec.structs.asdict(chosen)
    return await db.rows(sql.read_signed, business_id=business_id, most=most, **wanted)


async def read_lines(db: Db, business_id: UUID, chosen: Selection, most: int) -> Portion:
    """The same ones as lines; no line feed stands in canonical JSON."""
    found = await read_signed(db, business_id, chosen, most)
    text = b"".join(chain.from_iterable((*pieces, b"\n") for _, *pieces in found))
    return Portion(count=len(found), last=found[-1][0] if found else 0, text=text)


async def read_rows(db: Db, business_id: UUID, chosen: Selection, most: int, *, raw: bool) -> Portion:
    """The same ones as lines of CSV; `raw` leaves texts as they are, for machines."""
    wanted = msgspec.structs.asdict(chosen)
    return await db.one(Portion, sql.read_rows, business_id=business_id, most=most, raw=raw, **wanted)


async def read_excluded(
    db: Db, business_id: UUID, sequences: list[int], claim: ClaimName | None
) -> list[Excluded]:
    """The records at these places, which the claim leaves out, each with why."""
    if not sequences:
        return []
    return await db.many(
        Excluded, sql.list_excluded, business_id=business_id, sequences=sequences, claim=claim
    )


async def left_out(db: Db, business_id: UUID, chosen: Selection) -> AsyncIterator[list[Excluded]]:
    """What the claim leaves out, a list at a time, none of them empty; nothing without a claim."""
    if chosen.claim is None:
        return
    async for selected in selections(db, business_id, chosen):
        if excluded := await read_excluded(db, business_id, selected.left_out, chosen.claim):
            yield excluded


async def lines(db: Db, business_id: UUID, chosen: Selection, cursor: str) -> AsyncIterator[bytes]:
    """Newline-delimited JSON: each record's bytes, then one closing line that says the answer is whole.

    That line holds the count, the SHA-256 of all lines before it, the cursor to go on from, what the claim left
    out with the reason, and last the SHA-256 of what stands in it before that; without it the answer was cut off.
    """
    count, digest = 0, hashlib.sha256()
    async for portion in portions(chosen, partial(read_lines, db, business_id), LINES_BYTES):
        digest.update(portion.text)
        count += portion.count
        yield portion.text
    closing = {"closing": True, "count": count, "sha256": digest.hexdigest(), "next": cursor}
    last_line = msgspec.json.encode(closing)[:-1] + b',"excluded":['
    of_last_line = hashlib.sha256(last_line)
    yield last_line
    parted = b""
    # once more over the same places, so that what was left out need not be kept in memory
    async for excluded in left_out(db, business_id, chosen):
        told = parted + msgspec.json.encode(excluded)[1:-1]
        of_last_line.update(told)
        yield told
        parted = b","
    of_last_line.update(b"]")
    yield b'],"closing_sha256":"%b"}\n' % of_last_line.hexdigest().encode()


async def rows(db: Db, business_id: UUID, chosen: Selection, *, raw: bool) -> AsyncIterator[bytes]:
    """CSV (RFC 4180) with a header."""
    yield f"{HEADER}\r\n".encode()
    async for portion in portions(chosen, partial(read_rows, db, business_id, raw=raw), ROWS_BYTES):
        yield portion.text


async def digest(db: Db, business_id: UUID, chosen: Selection, cursor: str, *, raw: bool) -> RecordDigest:
    """What the CSV of the same query comes to, so that its puller sees whether it has all of it."""
    header = f"{HEADER}\r\n".encode()
    found, length, count, excluded = hashlib.sha256(header), len(header), 0, 0
    async for portion in portions(chosen, partial(read_rows, db, business_id, raw=raw), ROWS_BYTES):
        found.update(portion.text)
        length += len(portion.text)
        count += portion.count
    if chosen.claim is not None:
        async for selected in selections(db, business_id, chosen):
            excluded += len(selected.left_out)
    return RecordDigest(count=count, excluded=excluded, bytes=length, sha256=found.hexdigest(), next=cursor)
