"""The door to deadlines: what follows from the facts goes in, reconciled with what the clock said before."""

from collections.abc import Collection
from datetime import datetime
from uuid import UUID

from msgspec.structs import replace

from service.deadlines.models import Derived, Kind, KnownBy, Place, Reconciled, Stored
from service.deadlines.rules import deadline_id
from service.deadlines.said import as_said, reconcile, wake_of, withdrawn
from service.events.outbox import Entry
from service.kernel.sql import Queries
from service.work.rules import SETTLING, SETTLING_AT_MOST

sql = Queries(__package__)


async def places(entry: Entry, property_ids: Collection[UUID], since: datetime) -> dict[UUID, Place]:
    """What the arithmetic needs of these properties, with the attempts at a locked gate since an instant."""
    rows = await entry.db.many(
        Place, sql.list_places, business_id=entry.business_id, property_ids=list(property_ids), since=since
    )
    return {row.property_id: row for row in rows}


async def store(
    entry: Entry, kinds: Collection[Kind], subject_ids: Collection[UUID], derived: list[Derived], by: KnownBy
) -> None:
    """From now on the deadlines of these kinds and subjects are `derived` and no others; the rest is withdrawn.

    The kinds are those of sets or those of signs: an id that is both, by somebody's mistake, keeps them apart.

    `by` is who made the facts known. Tells what is to be told at once; the clock tells the rest in its time.
    """
    before = {
        row.id: as_said(entry.business_id, row)
        for row in await entry.db.many(
            Stored,
            sql.read_deadlines_of_subjects,
            business_id=entry.business_id,
            kinds=list(kinds),
            subject_ids=list(subject_ids),
        )
    }
    after = {row_id: withdrawn(row) for row_id, row in before.items()} | {
        deadline_id(entry.business_id, one.kind, one.subject_id, one.starting_fact_id): one for one in derived
    }
    changed = [reconcile(row_id, before.get(row_id), one, entry.now, by) for row_id, one in after.items()]
    rows = [_tell(entry, one) for one in changed if one is not None]
    if rows:
        await entry.db.run(
            sql.upsert_deadlines,
            business_id=entry.business_id,
            rows=rows,
            wakes=[wake for row in rows if (wake := wake_of(entry.business_id, row)) is not None],
            silent_ids=[row.id for row in rows if row.wake_at is None],
        )


def _tell(entry: Entry, changed: Reconciled) -> Stored:
    """The row with the ids of the events that it gave rise to."""
    row = changed.row
    if (overdue := changed.overdue) is not None:
        row = replace(row, announced_event_id=entry.tell(overdue.event, row.subject_id, cause=overdue.cause))
    if (settled := changed.settled) is not None:
        event_id = entry.tell(settled.event, row.subject_id, cause=settled.cause)
        # a word that only takes back an earlier one leaves nothing to be replaced
        row = replace(row, settled_event_id=None if row.settled_outcome is None else event_id)
    return row


async def postpone(entry: Entry, by: KnownBy) -> None:
    """A visit came from this worker and key: what they made known too late waits for them to go quiet."""
    await entry.db.run(
        sql.postpone_settling,
        business_id=entry.business_id,
        worker_id=by.worker_id,
        key_id=by.key_id,
        now=entry.now,
        settling=SETTLING,
        longest=SETTLING_AT_MOST,
    )
