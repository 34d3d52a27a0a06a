"""How a visit is read and written: its row, its versions, its facts, and what comes back of it."""

from uuid import UUID

import msgspec
from msgspec.structs import replace

from service.events.outbox import Entry
from service.facts import rules as facts
from service.facts.models import VisitBody
from service.kernel.errors import Fault, Missing, invalid
from service.kernel.http import tag_of
from service.kernel.sql import Queries
from service.kernel.values import Caution
from service.owners import door as owners
from service.permits import door as permits
from service.visits import decisions
from service.visits.decisions import StoredVisit, Surroundings, VersionRow
from service.visits.models import Outcome, Receipt, Visit, VisitAmended

sql = Queries(__package__)


async def read_stored(book: Entry, visit_id: UUID) -> StoredVisit | None:
    """The visit as it stands, or None."""
    return await book.db.maybe(StoredVisit, sql.read_visit, business_id=book.business_id, id=visit_id)


async def read_visit(book: Entry, visit_id: UUID) -> StoredVisit:
    """The visit as it stands, or Missing."""
    stored = await read_stored(book, visit_id)
    if stored is None:
        raise Missing("This visit")
    return stored


def body_of(stored: StoredVisit | VersionRow) -> VisitBody:
    """What the visit states."""
    return msgspec.json.decode(stored.body or "", type=VisitBody)


def visit_of(stored: StoredVisit) -> Visit:
    """The visit as it is answered."""
    body = body_of(stored)
    members = {name: getattr(body, name) for name in VisitBody.__struct_fields__}
    return Visit(
        **members,
        id=stored.id,
        version=stored.version,
        first_received_at=stored.first_received_at,
        received_at=stored.received_at,
        withdrawn_at=stored.withdrawn_at,
    )


def receipt(stored: StoredVisit, outcome: Outcome, warnings: list[Caution]) -> Receipt:
    """What the phone gets back."""
    return Receipt(
        id=stored.id,
        outcome=outcome,
        version=stored.version,
        etag=tag_of(stored.version),
        warnings=warnings,
        visit=visit_of(stored),
    )


async def read_surroundings(book: Entry, visit_id: UUID, new: VisitBody) -> Surroundings:
    around = await book.db.one(
        Surroundings,
        sql.read_surroundings,
        business_id=book.business_id,
        property_id=new.property_id,
        job_id=new.job_id,
        arrived_at=new.arrived_at,
        worker_ids=[new.worker_id, *new.with_worker_ids],
        set_ids=[check.set_id for check in new.checks],
    )
    if around.permit is None or around.permit.quota is None:
        return around
    taken = await permits.taken(book.db, book.business_id, around.permit.id, visit_id)
    return replace(around, permit=replace(around.permit, taken=taken))


async def claim_ids(book: Entry, visit_id: UUID, new: VisitBody) -> None:
    places = facts.places_of(new)
    if not places:
        return
    taken = await owners.claim(book, visit_id, places)
    if taken:
        raise invalid(
            [
                Fault(
                    "This id belongs to another visit already; make a new one.",
                    f"{places[one]}/id",
                    "id_taken",
                )
                for one in sorted(taken)
            ]
        )


async def write_visit(
    book: Entry, visit_id: UUID, new: VisitBody, stored: StoredVisit | None, version: int, digest: bytes
) -> None:
    row = {
        **facts.visit_row(new),
        "business_id": book.business_id,
        "id": visit_id,
        "version": version,
        "digest": "\\x" + digest.hex(),
        "first_received_at": stored.first_received_at if stored else book.now,
        "received_at": book.now,
        "key_id": book.key_id,
    }
    await book.db.run(
        sql.insert_visit if stored is None else sql.update_visit, business_id=book.business_id, row=row
    )
    if stored is not None:
        await book.db.run(sql.delete_facts, business_id=book.business_id, visit_id=visit_id)
    rows = facts.fact_rows(
        new,
        business_id=book.business_id,
        visit_id=visit_id,
        property_id=new.property_id,
        received_at=book.now,
    )
    await book.db.run(sql.insert_facts, business_id=book.business_id, rows=rows)


async def write_version(
    book: Entry, visit_id: UUID, version: int, body: bytes | None, digest: bytes | None, reason: str | None
) -> None:
    await book.db.run(
        sql.insert_version,
        business_id=book.business_id,
        visit_id=visit_id,
        version=version,
        body=None if body is None else body.decode(),
        digest=digest,
        amend_reason=reason,
        now=book.now,
        key_id=book.key_id,
    )


async def reason_for(book: Entry, visit_id: UUID, given: str | None, cautions: list[Caution]) -> str | None:
    """Once a record rests on the visit an amendment says why; missing, that is warned of and kept as such."""
    if given or not await book.db.value(sql.is_on_record, business_id=book.business_id, visit_id=visit_id):
        return given
    cautions.append(
        Caution(
            code="reason_missing",
            detail="A service record was issued on this visit; say `amend_reason` when you change it.",
        )
    )
    return "not_given"


async def read_conflicts(book: Entry, visit_id: UUID) -> list[Caution]:
    return await book.db.many(
        Caution, sql.list_conflicts_of_visit, business_id=book.business_id, visit_id=visit_id
    )


def tell_stored(
    book: Entry,
    visit_id: UUID,
    version: int,
    stored: StoredVisit | None,
    before: VisitBody | None,
    new: VisitBody,
) -> None:
    added, changed, withdrawn = facts.difference(before, new)
    if stored is None:
        book.tell(decisions.recorded(visit_id, new, version, added), visit_id)
    else:
        book.tell(
            VisitAmended(
                visit_id=visit_id,
                property_id=new.property_id,
                version=version,
                added=added,
                changed=changed,
                withdrawn=withdrawn,
            ),
            visit_id,
        )
    for event, subject in decisions.facts_told(visit_id, new, set(added)):
        book.tell(event, subject)
