"""What a record is made of, read from the book: facts of the content, names of the party, the basis."""

from collections.abc import Collection, Sequence
from datetime import UTC, date, datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from service.claims.models import Applied, Presence
from service.claims.rules import period_of
from service.kernel.base64url import base64url
from service.kernel.db import Db
from service.kernel.errors import Missing
from service.kernel.sql import Queries
from service.records.facts import (
    Around,
    Attended,
    BoundStated,
    Caught,
    Head,
    Holder,
    Month,
    MonthFacts,
    RestedRow,
    Scope,
    SetCheck,
    SetPlacing,
    SetRepaired,
    SoilCleared,
    VisitFacts,
)
from service.records.lines import RepairLine, ToldLine
from service.records.models import Arrival, Awaited, Basis, Party, Rested, ToldTo
from service.records.month_rules import month_from
from service.records.month_rules import scope_of as scope_of_month
from service.records.rules import duration, presence, scope_of
from service.signs.models import SignFacts
from service.signs.rules import starts

sql = Queries(__package__)
# a visit's own facts are all that it states, whatever their instants
FIRST, LAST = datetime(1, 1, 1, tzinfo=UTC), datetime(9999, 12, 31, tzinfo=UTC)


async def read_holder(
    db: Db, business_id: UUID, property_id: UUID, first_on: date, last_on: date
) -> Holder | None:
    """The customer whose property it was on these local days, the last one where there were several."""
    return await db.maybe(
        Holder,
        sql.read_holder,
        business_id=business_id,
        property_id=property_id,
        first_on=first_on,
        last_on=last_on,
    )


async def read_month(db: Db, business_id: UUID, property_id: UUID, first_on: date) -> tuple[Month, ZoneInfo]:
    """The local month at the property and its zone; Missing where it is not in the book."""
    name = await db.value(sql.read_zone, business_id=business_id, property_id=property_id)
    if name is None:
        raise Missing("This property")
    zone = ZoneInfo(name)
    return month_from(first_on, zone), zone


async def read_facts(db: Db, business_id: UUID, head: Head, holder: Holder | None) -> VisitFacts:
    """What a visit's content is worked out from: no more than the property's facts up to its end."""
    here = {"business_id": business_id, "property_id": head.property_id}
    visits = await db.many(
        Presence,
        sql.list_visits_of_period,
        **here,
        visit_id=head.id,
        arrived_at=head.arrived_at,
        ended_at=head.ended_at,
    )
    period = period_of(presence(head), visits)
    return VisitFacts(
        head=head,
        customer_id=holder.id if holder else None,
        tenure_from=holder.from_on if holder else None,
        visits=visits,
        applied=await db.many(
            Applied, sql.list_applied, **here, from_at=period.from_at, until_at=period.until_at
        ),
        **await _read_lists(db, business_id, head.property_id, scope_of(head), [head.id]),
    )


async def read_month_facts(
    db: Db, business_id: UUID, property_id: UUID, month: Month, holder: Holder | None
) -> MonthFacts:
    """What a month's content is worked out from: no more than the property's facts up to its end."""
    here = {"business_id": business_id, "property_id": property_id}
    span = {**here, "from_at": month.from_at, "until_at": month.until_at}
    visit_ids = await db.column(sql.list_visit_ids, **here)
    return MonthFacts(
        around=await db.one(Around, sql.read_around, **span),
        month=month,
        customer_id=holder.id if holder else None,
        tenure_from=holder.from_on if holder else None,
        visits=await db.many(Attended, sql.list_visits_of_month, **span),
        applied=await db.many(Applied, sql.list_applied, **span),
        **await _read_lists(db, business_id, property_id, scope_of_month(month), visit_ids),
    )


async def _read_lists(
    db: Db, business_id: UUID, property_id: UUID, scope: Scope, visit_ids: list[UUID]
) -> dict[str, Any]:
    """The lists of facts of a scope; `visit_ids` are the visits that may bring facts of its own."""
    is_visit = scope.visit_id is not None
    own = {
        "business_id": business_id,
        "visit_ids": visit_ids,
        "own_from": FIRST if is_visit else scope.from_at,
        "own_until": LAST if is_visit else scope.until_at,
    }
    seen = {**own, "property_id": property_id, "until_at": scope.until_at}
    known = {**seen, "visit_id": scope.visit_id}
    placings = await db.many(SetPlacing, sql.list_placings, **known, from_at=scope.from_at)
    set_ids = [one.set_id for one in placings]
    signs = await db.many(SignFacts, sql.list_signs, **known)
    return {
        "placings": placings,
        "checks": await db.many(SetCheck, sql.list_checks, **seen, set_ids=set_ids),
        "set_repairs": await db.many(
            SetRepaired,
            sql.list_set_repairs,
            business_id=business_id,
            property_id=property_id,
            set_ids=set_ids,
        ),
        "caught": await db.many(Caught, sql.list_caught, **own),
        "clearings": await db.many(SoilCleared, sql.list_clearings, **known),
        "signs": signs,
        "bounds": await _read_bounds(db, business_id, property_id, scope, signs),
        "repairs": await db.many(RepairLine, sql.list_repairs, **own),
        "told": await db.many(ToldLine, sql.list_told, **own),
    }


async def _read_bounds(
    db: Db, business_id: UUID, property_id: UUID, scope: Scope, signs: Sequence[SignFacts]
) -> list[BoundStated]:
    started = [at for one in signs for at in starts(one)]
    if not started:
        return []
    return await db.many(
        BoundStated,
        sql.list_bounds,
        business_id=business_id,
        property_id=property_id,
        visit_id=scope.visit_id,
        until_at=scope.until_at,
        first_at=min(started),
        last_at=max(started),
    )


async def read_bringing(db: Db, business_id: UUID, property_id: UUID, month: Month) -> set[UUID]:
    """The visits that brought an animal, a repair or a word of the month, whenever they arrived."""
    visit_ids = await db.column(sql.list_visit_ids, business_id=business_id, property_id=property_id)
    return set(
        await db.column(
            sql.list_bringing,
            business_id=business_id,
            visit_ids=visit_ids,
            from_at=month.from_at,
            until_at=month.until_at,
        )
    )


async def read_party(
    db: Db,
    business_id: UUID,
    around: Around,
    holder: Holder | None,
    worker_ids: Sequence[UUID],
    told: Sequence[ToldLine],
    *,
    note: str | None,
    salt: bytes,
) -> Party:
    """The persons of the record as they are named now, with 32 random bytes of salt."""
    addresses = [around.address] if around.address else []
    told_ids = [one.told_id for one in told]
    told_to = sql.list_told_to
    return Party(
        addresses=addresses + [one for one in (holder.addresses if holder else []) if one != around.address],
        customer_name=holder.name if holder else None,
        customer_note=note,
        salt=base64url(salt),
        worker_names=await db.column(
            sql.list_worker_names, business_id=business_id, worker_ids=list(worker_ids)
        ),
        told=await db.many(ToldTo, told_to, business_id=business_id, told_ids=told_ids) if told_ids else [],
    )


async def read_basis(
    db: Db,
    business_id: UUID,
    property_id: UUID,
    visit_ids: Collection[UUID],
    speaking: Collection[UUID],
    *,
    with_records: bool,
) -> Basis:
    """How complete the book is now for a record that rests on these visits; `speaking` are those it is of."""
    ids = list(visit_ids)
    rested = await db.many(RestedRow, sql.list_rested, business_id=business_id, visit_ids=ids)
    of_visits = sql.list_latest_of_visits
    return Basis(
        complete_as_of=await db.many(Arrival, sql.list_arrivals, business_id=business_id, visit_ids=ids),
        awaited=await db.many(
            Awaited,
            sql.list_awaited,
            business_id=business_id,
            property_id=property_id,
            visit_ids=list(speaking),
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
        records=sorted(await db.column(of_visits, business_id=business_id, visit_ids=list(speaking)))
        if with_records
        else [],
    )
