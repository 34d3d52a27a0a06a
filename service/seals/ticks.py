"""What the clock has done for sealed months: seal anew what was issued into one since."""

from datetime import date, datetime
from functools import partial
from uuid import UUID

from service.events.outbox import Entry
from service.kernel.sql import Queries
from service.records.rules import month_in
from service.seals.actions import seal
from service.work.door import Handler
from service.work.models import MONTH_SEALED_ANEW

sql = Queries(__package__)


async def seal_anew(sealing_key: bytes, entry: Entry, month_id: UUID, since_at: datetime | None) -> None:  # noqa: ARG001
    """A further seal of a month that has one, where its records are others now."""
    first_on: date = await entry.db.value(sql.read_month, business_id=entry.business_id, month_id=month_id)
    await seal(entry, sealing_key, *month_in(f"{first_on:%Y-%m}"))


def handlers(sealing_key: bytes) -> dict[str, Handler]:
    """What the clock does for seals, whose signing key is sealed under `sealing_key`."""
    return {MONTH_SEALED_ANEW: partial(seal_anew, sealing_key)}
