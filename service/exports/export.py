"""Records going out in bulk, as text that the database hands over, and what a puller checks it by."""

import hashlib
from collections.abc import AsyncIterator
from uuid import UUID

import msgspec

from service.exports.columns import HEADER
from service.exports.models import Excluded, RecordDigest, TextForm
from service.exports.portions import portions, selections
from service.exports.selection import ClaimName, Selection
from service.kernel.db import Db
from service.kernel.sql import Queries

sql = Queries(__package__)
LINES_BYTES = 1_000_000
ROWS_BYTES = 500_000


async def read_excluded(
    db: Db, business_id: UUID, sequences: list[int], claim: ClaimName | None
) -> list[Excluded]:
    """The records at these places, which the claim leaves out, each with why."""
    if not sequences:
        return []
    return await db.many(
        Excluded, sql.list_excluded, business_id=business_id, sequences=sequences, claim=claim
    )


async def lines(db: Db, business_id: UUID, chosen: Selection, cursor: str) -> AsyncIterator[bytes]:
    """Newline-delimited JSON: each record's bytes, then one closing line that says the answer is whole.

    That line holds the count, the SHA-256 of all lines before it, the cursor to go on from, what the claim left
    out with the reason, and last the SHA-256 of what stands in it before that; without it the answer was cut off.
    """
    count, digest = 0, hashlib.sha256()
    async for number, text in portions(db, business_id, chosen, "signed", LINES_BYTES):
        digest.update(text)
        count += number
        yield text
    closing = {"closing": True, "count": count, "sha256": digest.hexdigest(), "next": cursor}
    last_line = msgspec.json.encode(closing)[:-1] + b',"excluded":['
    of_last_line = hashlib.sha256(last_line)
    yield last_line
    parted = b""
    if chosen.claim is not None:
        # once more over the same places, so that what was left out need not be kept in memory
        async for selected in selections(db, business_id, chosen):
            if left_out := await read_excluded(db, business_id, selected.left_out, chosen.claim):
                told = parted + msgspec.json.encode(left_out)[1:-1]
                of_last_line.update(told)
                yield told
                parted = b","
    of_last_line.update(b"]")
    yield b'],"closing_sha256":"%b"}\n' % of_last_line.hexdigest().encode()


async def rows(db: Db, business_id: UUID, chosen: Selection, form: TextForm) -> AsyncIterator[bytes]:
    """CSV (RFC 4180) with a header."""
    yield f"{HEADER}\r\n".encode()
    async for _, text in portions(db, business_id, chosen, form, ROWS_BYTES):
        yield text


async def digest(db: Db, business_id: UUID, chosen: Selection, cursor: str, form: TextForm) -> RecordDigest:
    """What the CSV of the same query comes to, so that its puller sees whether it has all of it."""
    header = f"{HEADER}\r\n".encode()
    found, length, count, excluded = hashlib.sha256(header), len(header), 0, 0
    async for number, text in portions(db, business_id, chosen, form, ROWS_BYTES):
        found.update(text)
        length += len(text)
        count += number
    if chosen.claim is not None:
        async for selected in selections(db, business_id, chosen):
            excluded += len(selected.left_out)
    return RecordDigest(count=count, excluded=excluded, bytes=length, sha256=found.hexdigest(), next=cursor)
