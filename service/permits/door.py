"""The door to permits: how one is kept, and the reports that follow from it."""

from collections.abc import Collection
from datetime import datetime
from typing import Any
from uuid import UUID

from service.deadlines import door as deadlines
from service.deadlines.models import OF_PERMITS, KnownBy
from service.events.outbox import Entry
from service.kernel.db import Db
from service.kernel.errors import invalid
from service.kernel.sql import Queries
from service.packs.models import NewPack
from service.packs.rules import shipped
from service.permits import rules
from service.permits.models import NewPermit, Permit, Reporting
from service.stated.door import Noun, Outcome
from service.work import door as work
from service.work.models import PERMIT_ANEW

sql = Queries(__package__)
PERMIT = Noun(
    "permit",
    "permits",
    NewPermit,
    Permit,
    sql.read_permit,
    sql.put_permit,
    sql.list_permits,
    {"permit_check": "`until_on` comes after `from_on`"},
)
NOBODY = KnownBy(worker_id=None, key_id=None)


async def permit_changed(entry: Entry, outcome: Outcome[Any]) -> None:
    """Refuse a report that cannot have been sent, and work out what is due."""
    (permit,) = await reporting(entry.db, entry.business_id, [outcome.now.id])
    before = [] if outcome.before is None else outcome.before.reports_sent
    faults = rules.report_faults(before, permit, packs_of(permit), entry.now)
    if faults:
        raise invalid(faults)
    await work_out(entry, [permit.id], KnownBy(worker_id=None, key_id=entry.key_id))


async def work_out(entry: Entry, permit_ids: Collection[UUID], by: KnownBy) -> None:
    """Work out the reports of these permits; each is taken up again when its next reporting period begins.

    `by` is who made it known.
    """
    derived = []
    for permit in await reporting(entry.db, entry.business_id, permit_ids):
        found = rules.reports(permit, packs_of(permit), entry.now)
        derived += found.deadlines
        if found.next_at is not None:
            await work.put(entry, PERMIT_ANEW, permit.id, None, found.next_at)
    await deadlines.store(entry, OF_PERMITS, permit_ids, derived, by)


async def permit_anew(entry: Entry, permit_id: UUID, _: datetime | None) -> None:
    """A rule pack or the business's zone changed, or a reporting period began."""
    await work_out(entry, [permit_id], NOBODY)


async def reporting(db: Db, business_id: UUID, permit_ids: Collection[UUID]) -> list[Reporting]:
    """These permits with what their reports follow from; those that are not in the book are left out."""
    return await db.many(Reporting, sql.list_reporting, business_id=business_id, permit_ids=list(permit_ids))


def packs_of(permit: Reporting) -> list[NewPack]:
    """Every pack that may speak of the permit's reports: those of the package and the business's own."""
    return [*shipped(), *permit.packs]


async def taken(db: Db, business_id: UUID, permit_id: UUID, but_visit_id: UUID | None = None) -> int:
    """How many animals count against the permit's quota, all visits together or all but one."""
    found: int = await db.value(
        sql.count_taken, business_id=business_id, permit_id=permit_id, but_visit_id=but_visit_id
    )
    return found
