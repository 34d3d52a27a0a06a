"""What the clock does for refused bodies: those that were kept long enough go."""

from datetime import datetime
from uuid import UUID

from service.events.outbox import Entry
from service.refusals.door import KEPT_FOR, sql
from service.work import door as work
from service.work.models import REFUSALS_OLD


async def forget_old(entry: Entry, business_id: UUID, _: datetime | None) -> None:
    """Take out those of 90 days, and come back on the day of the next."""
    await entry.db.run(sql.delete_refusals_until, business_id=business_id, until=entry.now - KEPT_FOR)
    oldest: datetime | None = await entry.db.value(sql.read_oldest, business_id=business_id)
    if oldest is not None:
        await work.put(entry, REFUSALS_OLD, business_id, None, oldest + KEPT_FOR)


HANDLERS = {REFUSALS_OLD: forget_old}
