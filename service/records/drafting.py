"""A record as it would be issued now, all but number and signature: of a visit, or of a property's month."""

from collections.abc import Collection, Sequence
from uuid import UUID
from zoneinfo import ZoneInfo

from msgspec import Struct

from service.kernel.db import Db
from service.kernel.errors import Missing
from service.kernel.now import random_bytes
from service.kernel.sql import Queries
from service.records import month_rules, rules
from service.records.accounts import rested_on
from service.records.facts import Around, Head, Holder, Month
from service.records.models import (
    Basis,
    Content,
    Issuer,
    LicenceLine,
    MonthContent,
    Party,
    Refs,
    WithdrawnContent,
)
from service.records.reading import (
    read_basis,
    read_bringing,
    read_facts,
    read_holder,
    read_month_facts,
    read_party,
)

sql = Queries(__package__)


class Draft(Struct, frozen=True, kw_only=True):
    """The content as the facts now give it, and what stands around it is read from.

    It rests on `visit_ids` and is of `speaking`; `note` is what was written to the customer.
    """

    around: Around
    holder: Holder | None
    content: Content
    visit_ids: Collection[UUID]
    speaking: Collection[UUID]
    worker_ids: Sequence[UUID]
    permits: Sequence[LicenceLine]
    note: str | None


async def read_head(db: Db, business_id: UUID, visit_id: UUID) -> Head:
    """The visit with its property, job and business; Missing where it is not in the book."""
    head = await db.maybe(Head, sql.read_head, business_id=business_id, visit_id=visit_id)
    if head is None:
        raise Missing("This visit")
    return head


async def visit_draft(db: Db, business_id: UUID, head: Head) -> Draft:
    """The record of a visit, as at its end; of one that was withdrawn, what takes the record back."""
    day = rules.service_day(head)
    holder = await read_holder(db, business_id, head.property_id, day, day)
    visit_ids = {head.id}
    if head.withdrawn_at is not None:
        content: Content = rules.withdrawn(head, holder.id if holder else None)
    else:
        facts = await read_facts(db, business_id, head, holder)
        content = stated = rules.content(facts)
        visit_ids |= rested_on(rules.scope_of(head), facts, stated)
    return Draft(
        around=head,
        holder=holder,
        content=content,
        visit_ids=visit_ids,
        speaking=[head.id],
        worker_ids=[head.worker_id, *sorted(head.with_worker_ids)],
        permits=[head.permit] if head.permit else [],
        note=head.customer_note,
    )


async def month_draft(db: Db, business_id: UUID, property_id: UUID, month: Month) -> Draft:
    """The record of a property's month, as at its end."""
    last_on = month_rules.last_day(month)
    holder = await read_holder(db, business_id, property_id, month.first_on, last_on)
    facts = await read_month_facts(db, business_id, property_id, month, holder)
    content = month_rules.month_content(facts)
    scope = month_rules.scope_of(month)
    visit_ids = rested_on(scope, facts, content) | await read_bringing(db, business_id, property_id, month)
    return Draft(
        around=facts.around,
        holder=holder,
        content=content,
        visit_ids=visit_ids,
        speaking=[one.id for one in facts.visits],
        worker_ids=month_rules.workers_of(facts.visits),
        permits=month_rules.permits_of(facts.visits),
        note=month_rules.note_of(facts.visits, ZoneInfo(facts.around.zone)),
    )


def issuer_of(business_id: UUID, draft: Draft) -> Issuer:
    """Who issues it, by the licences in force there on the day of service."""
    return Issuer(
        business_id=business_id,
        licences=rules.in_force(draft.around.licences, draft.content.service_on, draft.around.region),
        permit=draft.permits[0] if draft.permits else None,
        other_permits=[*draft.permits[1:]],
    )


def refs_of(draft: Draft) -> Refs:
    """The numbers of the business's other books."""
    return Refs(customer=draft.holder.ref if draft.holder else None, property=draft.around.property_ref)


async def party_of(db: Db, business_id: UUID, draft: Draft) -> Party:
    """The persons as they are named now, with a new salt."""
    told = [] if isinstance(draft.content, WithdrawnContent) else draft.content.told
    return await read_party(
        db,
        business_id,
        draft.around,
        draft.holder,
        draft.worker_ids,
        told,
        note=draft.note,
        salt=random_bytes(32),
    )


async def basis_of(db: Db, business_id: UUID, draft: Draft) -> Basis:
    """How complete the book is now."""
    return await read_basis(
        db,
        business_id,
        draft.around.property_id,
        draft.visit_ids,
        draft.speaking,
        with_records=isinstance(draft.content, MonthContent),
    )
