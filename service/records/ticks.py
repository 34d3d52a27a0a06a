"""What the clock has done for records: the first one of a visit, and a property's records compared anew."""

from datetime import datetime, timedelta
from functools import partial
from uuid import UUID

from service.events.outbox import Entry
from service.kernel.sql import Queries
from service.records.actions import issue, issue_month
from service.records.facts import Recorded
from service.work import door
from service.work.door import Handler
from service.work.models import RECORD, RECORDS_ANEW

sql = Queries(__package__)

# So many visits and months are compared in one transaction, so that nobody waits long for the business's turn.
MOST_AT_ONCE = 50
JUST_AFTER = timedelta(microseconds=1)


async def issue_first(sealing_key: bytes, entry: Entry, visit_id: UUID, since_at: datetime | None) -> None:  # noqa: ARG001
    """The record of a visit that has none yet; further versions are for `compare_anew`, once it is quiet.

    A business that now leaves it to the office has none go out by itself, also of what was on hold before.
    """
    if await entry.db.value(sql.is_still_due, business_id=entry.business_id, visit_id=visit_id):
        await issue(entry, sealing_key, visit_id)


async def compare_anew(
    sealing_key: bytes, entry: Entry, property_id: UUID, since_at: datetime | None
) -> None:
    """A new version of each record at the property whose visit or month ended since and whose content has changed.

    Where there are many, the rest is put back on the queue as work of its own.
    """
    recorded = await entry.db.many(
        Recorded,
        sql.list_recorded,
        business_id=entry.business_id,
        property_id=property_id,
        since_at=since_at,
        most=MOST_AT_ONCE,
    )
    for one in recorded:
        if one.visit_id is not None:
            await issue(entry, sealing_key, one.visit_id)
        elif one.month_on is not None:
            await issue_month(entry, sealing_key, property_id, one.month_on)
    if len(recorded) >= MOST_AT_ONCE:
        rest = recorded[-1].over_at + JUST_AFTER
        await door.put(entry, RECORDS_ANEW, property_id, rest, entry.now)


def handlers(sealing_key: bytes) -> dict[str, Handler]:
    """What the clock does for records, whose signing key is sealed under `sealing_key`."""
    return {RECORD: partial(issue_first, sealing_key), RECORDS_ANEW: partial(compare_anew, sealing_key)}
