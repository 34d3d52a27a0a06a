"""`setbook explain`: reads what is stated, works the deadline out again, and says whether the book agrees."""

from datetime import datetime
from uuid import UUID

from service.deadlines.models import OF_PERMITS, OF_SETS, OF_SIGNS
from service.kernel.db import Db
from service.kernel.errors import Missing
from service.kernel.sql import Queries
from service.permits import door as permits
from service.permits.rules import reports
from service.replay.models import Book, Entered, FeatureStated, JobStated, Replayed, Site, VisitStated
from service.replay.rules import by_id, derived, differing

sql = Queries(__package__)


async def business_of(db: Db, deadline_id: UUID) -> UUID:
    """The business that a deadline belongs to; `db` works as the migrator, who sees those of all."""
    found: UUID | None = await db.value(sql.find_business, id=deadline_id)
    if found is None:
        raise Missing("This deadline")
    return found


async def replay(db: Db, business_id: UUID, deadline_id: UUID, now: datetime) -> Replayed:
    """A deadline worked out again from the bodies of visits and the other stated things; Missing without one.

    A report is due for each period that has begun by `now`.
    """
    entered = await db.one(Entered, sql.read_entered, business_id=business_id, id=deadline_id, now=now)
    if entered.kind in OF_PERMITS:
        (permit,) = await permits.reporting(db, business_id, [entered.subject_id])
        found = by_id(business_id, reports(permit, permits.packs_of(permit), now).deadlines)
    else:
        book = await read_book(db, business_id, entered.subject_id)
        found = derived(book, OF_SETS if entered.kind in OF_SETS else OF_SIGNS, entered.subject_id)
    again = found.get(deadline_id)
    return Replayed(entered=entered, derived=again, differing=differing(entered, again))


async def read_book(db: Db, business_id: UUID, subject_id: UUID) -> Book:
    """All that is stated and may bear on a set or sign."""
    visits = await db.many(VisitStated, sql.list_visits_about, business_id=business_id, subject_id=subject_id)
    sites = await db.many(
        Site,
        sql.list_sites,
        business_id=business_id,
        property_ids=sorted({one.body.property_id for one in visits}),
    )
    return Book(
        business_id=business_id,
        visits=visits,
        jobs=await db.many(JobStated, sql.list_jobs, business_id=business_id),
        features={
            one.id: one.geometry
            for one in await db.many(FeatureStated, sql.list_features, business_id=business_id)
        },
        sites={one.place.property_id: one for one in sites},
    )
