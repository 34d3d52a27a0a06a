"""The door to work: whoever changes a fact says here what has to be done for it later."""

from collections.abc import Awaitable, Callable, Iterable
from datetime import datetime, timedelta
from uuid import UUID

from service.events.outbox import Entry
from service.kernel.db import Db
from service.kernel.sql import Queries
from service.work.models import MONTH_SEALED_ANEW, PERMIT_ANEW, PROPERTY_ANEW, RECORD, RECORDS_ANEW
from service.work.rules import SETTLING, SETTLING_AT_MOST

sql = Queries(__package__)

# (entry, subject, since): does one piece of work inside the entry; what it raises puts the work back.
Handler = Callable[[Entry, UUID, datetime | None], Awaitable[None]]


async def put(
    entry: Entry,
    kind: str,
    subject_id: UUID,
    since_at: datetime | None,
    run_at: datetime,
    settle: timedelta | None = None,
) -> None:
    """Have `kind` done for the subject at `run_at`, over all from `since_at` on (None: from the beginning).

    There is one row a subject: put again before it is done, it goes back to the earlier `since_at`. With
    `settle`, each put moves it to its own `run_at`, but not beyond `settle` after the first; without, the
    earliest `run_at` stays.
    """
    await entry.db.run(
        sql.put_work,
        business_id=entry.business_id,
        kind=kind,
        subject_id=subject_id,
        since_at=since_at,
        now=entry.now,
        run_at=run_at,
        settle=settle,
    )


async def every_property_anew(entry: Entry) -> None:
    """The house policy or another setting of the business changed: each property is worked out anew."""
    await entry.db.run(
        sql.put_every_property, business_id=entry.business_id, kind=PROPERTY_ANEW, now=entry.now
    )


async def properties_anew_in(entry: Entry, regions: Iterable[str]) -> int:
    """A rule pack changed: each property in these regions is worked out anew; how many there are.

    So are the reports of every permit: few, and a permit may be of a wider region.
    """
    await every_permit_anew(entry)
    queued: int = await entry.db.value(
        sql.put_properties_in,
        business_id=entry.business_id,
        kind=PROPERTY_ANEW,
        regions=sorted(set(regions)),
        now=entry.now,
    )
    return queued


async def every_property_of_all_anew(db: Db, now: datetime) -> int:
    """What holds for every business changed: all properties and permits anew; how many properties there are."""
    queued: int = await db.value(
        sql.put_everything_of_all, of_property=PROPERTY_ANEW, of_permit=PERMIT_ANEW, now=now
    )
    return queued


async def every_permit_anew(entry: Entry) -> None:
    """The zone of the business or one of its rule packs changed: the reports of each permit are worked out anew."""
    await entry.db.run(sql.put_every_permit, business_id=entry.business_id, kind=PERMIT_ANEW, now=entry.now)


async def visit_changed(entry: Entry, visit_id: UUID, property_id: UUID, since_at: datetime) -> None:
    """A visit was stored, amended or withdrawn: its first record, and the property's records anew.

    `since_at` is the earliest instant that the visit states or stated, in the body before as in the new one.
    A visit that moved to another property changes both: `property_changed` for the one it left.
    """
    await entry.db.run(
        sql.put_first_record,
        business_id=entry.business_id,
        kind=RECORD,
        visit_id=visit_id,
        now=entry.now,
    )
    await property_changed(entry, property_id, since_at)


async def property_changed(entry: Entry, property_id: UUID, since_at: datetime | None) -> None:
    """What records rest on changed at a property: those of visits that ended since are compared anew."""
    await put(entry, RECORDS_ANEW, property_id, since_at, entry.now + SETTLING, SETTLING_AT_MOST)


async def record_issued(entry: Entry, number: str) -> None:
    """A version of a record was stored: the months that it is in, or was in before, are sealed anew where they were."""
    await entry.db.run(
        sql.put_sealed_months,
        business_id=entry.business_id,
        kind=MONTH_SEALED_ANEW,
        number=number,
        now=entry.now,
    )
