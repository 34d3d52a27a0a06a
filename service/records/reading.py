"""What a record is made of, read from the book: facts of the content, names of the party, the basis."""

import base64
from collections.abc import Collection
from uuid import UUID
from zoneinfo import ZoneInfo

from service.claims.models import Applied, Presence
from service.claims.rules import period_of
from service.kernel.days import local_date
from service.kernel.db import Db
from service.kernel.sql import Queries
from service.records.facts import (
    Caught,
    Head,
    Holder,
    RestedRow,
    SetCheck,
    SetPlacing,
    SoilCleared,
    VisitFacts,
)
from service.records.models import Arrival, Awaited, Basis, Party, RepairLine, Rested, ToldLine
from service.records.rules import duration, presence

sql = Queries(__package__)


async def read_holder(db: Db, business_id: UUID, head: Head) -> Holder | None:
    """The customer whose property it was on the local day of the visit."""
    day = local_date(head.arrived_at, ZoneInfo(head.zone))
    return await db.maybe(
        Holder, sql.read_holder, business_id=business_id, property_id=head.property_id, day=day
    )


async def read_facts(db: Db, business_id: UUID, head: Head, holder: Holder | None) -> VisitFacts:
    """What the content is worked out from: no more than the property's facts up to the visit's end."""
    here = {"business_id": business_id, "property_id": head.property_id}
    own = {"business_id": business_id, "visit_id": head.id}
    both = {**here, "visit_id": head.id, "ended_at": head.ended_at}
    visits = await db.many(Presence, sql.list_visits_of_period, **both, arrived_at=head.arrived_at)
    period = period_of(presence(head), visits)
    placings = await db.many(SetPlacing, sql.list_placings, **both, arrived_at=head.arrived_at)
    set_ids = [one.set_id for one in placings]
    return VisitFacts(
        head=head,
        customer_id=holder.id if holder else None,
        visits=visits,
        applied=await db.many(
            Applied, sql.list_applied, **here, from_at=period.from_at, until_at=period.until_at
        ),
        placings=placings,
        checks=await db.many(SetCheck, sql.list_checks, **both, set_ids=set_ids),
        caught=await db.many(Caught, sql.list_caught, **own),
        clearings=await db.many(SoilCleared, sql.list_clearings, **both),
        repairs=await db.many(RepairLine, sql.list_repairs, **own),
        told=await db.many(ToldLine, sql.list_told, **own),
    )


async def read_party(db: Db, business_id: UUID, head: Head, holder: Holder | None, salt: bytes) -> Party:
    """The persons of the record as they are named now, with 32 random bytes of salt."""
    workers = [head.worker_id, *sorted(head.with_worker_ids)]
    addresses = [head.address] if head.address else []
    return Party(
        addresses=addresses + [one for one in (holder.addresses if holder else []) if one != head.address],
        customer_name=holder.name if holder else None,
        customer_note=head.customer_note,
        salt=base64.urlsafe_b64encode(salt).rstrip(b"=").decode(),
        worker_names=await db.column(sql.list_worker_names, business_id=business_id, worker_ids=workers),
    )


async def read_basis(db: Db, business_id: UUID, head: Head, visit_ids: Collection[UUID]) -> Basis:
    """How complete the book is now for a record that rests on these visits."""
    ids = list(visit_ids)
    rested = await db.many(RestedRow, sql.list_rested, business_id=business_id, visit_ids=ids)
    return Basis(
        complete_as_of=await db.many(Arrival, sql.list_arrivals, business_id=business_id, visit_ids=ids),
        awaited=await db.many(
            Awaited,
            sql.list_awaited,
            business_id=business_id,
            property_id=head.property_id,
            visit_id=head.id,
        ),
        rests_on=[
            Rested(
                visit_id=one.visit_id,
                version=one.version,
                received_at=one.received_at,
                late_by=duration(int((one.received_at - one.ended_at).total_seconds())),
            )
            for one in rested
        ],
    )
