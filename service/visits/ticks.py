"""What visits do later: take in refused bodies whose property came, work a property out anew."""

from dataclasses import replace
from datetime import datetime
from uuid import UUID

from service.deadlines.models import KnownBy
from service.events.outbox import Entry, attempt
from service.facts.models import NewVisit
from service.kernel.bodies import built, read_json
from service.kernel.errors import Refused
from service.keys.rules import Caller
from service.refusals import door as refusals
from service.sets import door as sets
from service.signs import door as signs
from service.visits.actions import store
from service.visits.decisions import Subject
from service.visits.rules import visit_faults
from service.visits.storing import sql
from service.work import door as work

NOBODY = KnownBy(worker_id=None, key_id=None)


async def refusals_again(book: Entry, property_id: UUID, _: datetime | None) -> None:
    """Visits that came before their property are taken in, in the order they came."""
    for kept in await refusals.waiting(book, property_id):
        if kept.claimed_id is None:
            continue
        caller = Caller(book.business_id, kept.key_id, None, [])
        # the key that sent it stays the one that stated it
        as_sent = replace(book, key_id=kept.key_id)
        try:
            async with attempt(book):
                body = read_json(kept.body)
                new = built(body, NewVisit, visit_faults(body, book.now))
                await store(as_sent, caller, kept.claimed_id, new, new.amends)
        except Refused:
            # it stays under /refusals with what it says, for a person to mend
            continue
        await refusals.accepted(book, kept.id, kept.claimed_id)


async def property_anew(book: Entry, property_id: UUID, _: datetime | None) -> None:
    """Zone, features or house policy changed: every state and deadline there is worked out again."""
    subjects = await book.db.many(
        Subject, sql.list_subjects_of_property, business_id=book.business_id, property_id=property_id
    )
    set_ids = sorted(one.id for one in subjects if one.noun == "set")
    sign_ids = sorted(one.id for one in subjects if one.noun == "sign")
    if set_ids:
        await sets.work_out(book, set_ids, NOBODY)
    if sign_ids:
        await signs.work_out(book, sign_ids, NOBODY)
    await work.property_changed(book, property_id, None)
