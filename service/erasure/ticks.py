"""What the clock does for keeping times: who is past them is erased, a few at a time, once a day."""

import logging
from datetime import datetime, timedelta
from uuid import UUID

from service.erasure.actions import erase_customer, erase_worker, sql
from service.erasure.models import Past
from service.events.outbox import Entry, attempt
from service.identity.door import BUSINESS
from service.identity.models import KeepYears
from service.kernel.errors import Refused
from service.kernel.paging import FIRST_ID
from service.stated import door as stated
from service.wording.words import counted
from service.work import door as work
from service.work.models import KEEPING

log = logging.getLogger(__name__)
# So many persons are looked at in one transaction, so that nobody waits long for the business's turn.
MOST_AT_ONCE = 20
AGAIN_AFTER = timedelta(days=1)
ERASE = {"customer": erase_customer, "worker": erase_worker}


async def keep(entry: Entry, after_id: UUID, since_at: datetime | None) -> None:  # noqa: ARG001
    """Erase whose keeping time is over, those after an id (the business's own: from the first).

    Whom a text bids to keep, and a worker with a key in force, stays for another day, and so does one whose erasure
    fails: nobody else waits for that. The rest, and the next day, are put back on the queue.
    """
    business = await stated.read(entry.db, BUSINESS, entry.business_id, entry.business_id)
    if business.keep_years == KeepYears():
        return
    found = await entry.db.many(
        Past,
        sql.list_past_keeping,
        business_id=entry.business_id,
        after_id=FIRST_ID if after_id == entry.business_id else after_id,
        now=entry.now,
        most=MOST_AT_ONCE,
    )
    for one in found:
        ground = f"The keeping time of {counted(one.years, 'year')} is over."
        try:
            async with attempt(entry):
                await ERASE[one.noun](entry, one.id, ground)
        except Exception as error:  # one person's trouble must not stop the others
            if not (isinstance(error, Refused) and error.kind == "conflict"):
                log.exception("erasing %s %s failed; it is tried again in a day", one.noun, one.id)
    if len(found) == MOST_AT_ONCE:
        await work.put(entry, KEEPING, found[-1].id, None, entry.now)
    else:
        await work.put(entry, KEEPING, entry.business_id, None, entry.now + AGAIN_AFTER)


HANDLERS = {KEEPING: keep}
