"""What a start does about rules: whether zone database, shipped packs or methods are others than last time."""

import logging
from datetime import datetime
from hashlib import sha256

import tzdata  # type: ignore[import-untyped]

from service.kernel.db import Pool, transaction
from service.packs.door import sql
from service.packs.rules import shipped_files
from service.work import door as work

log = logging.getLogger(__name__)


def rules_digest(register: bytes) -> str:
    """SHA-256 over the zone database's version, the shipped packs and the shipped method register, in hexadecimal."""
    files = b"".join(name.encode() + b"\0" + text for name, text in shipped_files().items())
    return sha256(tzdata.IANA_VERSION.encode() + b"\0" + files + b"\0" + register).hexdigest()


async def note_rules(pool: Pool, now: datetime, digest: str) -> int:
    """Have every property of every business worked out anew where the rules are others than last time.

    The pool works as the migrator. Returns how many properties were queued; of processes that start at once,
    one queues them.
    """
    async with transaction(pool) as db:
        if await db.value(sql.note_rules, digest=digest) is None:
            return 0
        queued = await work.every_property_of_all_anew(db, now)
    if queued:
        log.info(
            "zones, shipped packs or shipped methods changed: %d properties are worked out anew",
            queued,
        )
    return queued
