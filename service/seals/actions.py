"""Sealing a month: the office asks for it over HTTP, and the clock seals anew what a late fact changed."""

from datetime import date

from service.events.outbox import Entry
from service.kernel.canonical import sha256
from service.kernel.ids import id_of_cause
from service.kernel.sql import Queries
from service.seals import rules
from service.seals.models import LatestSeal, MonthSeal, MonthSealed, SealedRecord
from service.signatures.keyring import signer_in_force
from service.signatures.rules import sign

sql = Queries(__package__)


async def seal(entry: Entry, sealing_key: bytes, first_on: date, until_on: date) -> bool:
    """Seal the month (half-open dates); False where the latest seal says the same already.

    The entry holds the business's row, so that of two at once the second finds the first one's seal.
    """
    db, business_id = entry.db, entry.business_id
    records = await db.many(
        SealedRecord, sql.list_leaves, business_id=business_id, first_on=first_on, until_on=until_on
    )
    root = rules.root_of([bytes.fromhex(one.leaf) for one in records])
    latest = await db.maybe(LatestSeal, sql.read_latest, business_id=business_id, first_on=first_on)
    if latest is not None and latest.root == root:
        return False
    version, month = (latest.version if latest else 0) + 1, f"{first_on:%Y-%m}"
    made = MonthSeal(
        business_id=business_id,
        month=month,
        version=version,
        replaces=f"{month}.{latest.version}" if latest else None,
        sealed_at=entry.now,
        count=len(records),
        root=root.hex(),
        records=records,
    )
    await _store(entry, sealing_key, first_on, made)
    return True


async def _store(entry: Entry, sealing_key: bytes, first_on: date, made: MonthSeal) -> None:
    """Sign it, keep it and tell of it."""
    written = rules.bytes_of(made)
    signer = await signer_in_force(entry.db, sealing_key, entry.now)
    # what stands for the month where an id is asked for
    month_id = id_of_cause(entry.business_id, f"month/{made.month}")
    digest = sha256(written)
    await entry.db.run(
        sql.insert_seal,
        business_id=entry.business_id,
        first_on=first_on,
        version=made.version,
        month_id=month_id,
        now=entry.now,
        root=bytes.fromhex(made.root),
        bytes=written.decode(),
        sha256=digest,
        signature=sign(signer, rules.SEAL_TYPE, written),
    )
    told = MonthSealed(
        month_id=month_id,
        seal=f"{made.month}.{made.version}",
        month=made.month,
        replaces=made.replaces,
        count=made.count,
        root=made.root,
        sha256=digest.hex(),
    )
    entry.tell(told, month_id)
