"""Issuing a service record: the office asks for it over HTTP, and the clock does it when work is due."""

from uuid import UUID
from zoneinfo import ZoneInfo

import msgspec

from service.events.outbox import Entry, flush
from service.kernel.canonical import sha256
from service.kernel.days import local_date
from service.kernel.errors import Missing
from service.kernel.now import random_bytes
from service.kernel.sql import Queries
from service.records import rules
from service.records.facts import Head, Holder, Issued, Latest
from service.records.models import (
    Content,
    Issuer,
    Party,
    RecordAmended,
    RecordIssued,
    Refs,
    ServiceRecord,
    VisitContent,
)
from service.records.reading import read_basis, read_facts, read_holder, read_party
from service.signatures.keyring import signer_in_force
from service.signatures.models import Signer
from service.signatures.rules import RECORD_TYPE, sign
from service.work.door import record_issued

sql = Queries(__package__)


async def issue(entry: Entry, sealing_key: bytes, visit_id: UUID) -> Issued | None:
    """Issue the visit's record, or its next version where the content has changed; None where nothing is new.

    The content is compared and nothing else: a changed name, a later arrival of the same facts, or a set that
    is still awaited issues no version. A withdrawn visit that never had a record gets none.
    """
    db, business_id = entry.db, entry.business_id
    head = await db.maybe(Head, sql.read_head, business_id=business_id, visit_id=visit_id)
    if head is None:
        raise Missing("This visit")
    latest = await db.maybe(Latest, sql.latest_version, business_id=business_id, visit_id=visit_id)
    if head.withdrawn_at is not None and latest is None:
        return None
    holder = await read_holder(db, business_id, head)
    content, visit_ids = await _content(entry, head, holder)
    if latest is not None and latest.content_sha256 == rules.content_digest(content):
        return None
    party = await read_party(db, business_id, head, holder, random_bytes(32))
    number, version = await _number(entry, head, latest)
    record = ServiceRecord(
        number=number,
        version=version,
        replaces=None if latest is None else f"{latest.number}.{latest.version}",
        issued_at=entry.now,
        issuer=Issuer(
            business_id=business_id,
            licences=rules.in_force(head.licences, content.service_on),
            permit=head.permit,
        ),
        refs=Refs(customer=holder.ref if holder else None, property=head.property_ref),
        party_hash=rules.party_hash(party),
        content=content,
        basis=await read_basis(db, business_id, head, visit_ids),
    )
    signer = await signer_in_force(db, sealing_key, entry.now)
    return await _store(entry, record, party, signer)


async def _content(entry: Entry, head: Head, holder: Holder | None) -> tuple[Content, set[UUID]]:
    """The content as at the visit's end, and the visits that it rests on."""
    if head.withdrawn_at is not None:
        return rules.withdrawn(head, holder.id if holder else None), {head.id}
    facts = await read_facts(entry.db, entry.business_id, head, holder)
    content = rules.content(facts)
    return content, rules.rested_on(facts, content)


async def _number(entry: Entry, head: Head, latest: Latest | None) -> tuple[str, int]:
    """The next version of the number it has, or a new number of the year of issue in the business's zone."""
    if latest is not None:
        return latest.number, latest.version + 1
    year = local_date(entry.now, ZoneInfo(head.business_zone)).year
    value = await entry.db.value(sql.next_number, business_id=entry.business_id, name=f"record/{year:04}")
    return f"{year:04}-{value:06}", 1


async def _store(entry: Entry, record: ServiceRecord, party: Party, signer: Signer) -> Issued:
    """Tell of the version, and keep it under the place in the log that this gives it."""
    content = record.content
    written = rules.bytes_of(record)
    digest = sha256(written)
    told = _told(record, digest)
    event_id = entry.tell(told, content.visit_id)
    sequence = next(one.sequence for one in await flush(entry) if one.id == event_id)
    await entry.db.run(
        sql.insert_record,
        business_id=entry.business_id,
        number=record.number,
        version=record.version,
        visit_id=content.visit_id,
        property_id=content.property_id,
        customer_id=content.customer_id,
        service_on=content.service_on,
        issued_at=record.issued_at,
        sequence=sequence,
        pesticide_free_by_us=told.pesticide_free_by_us,
        pesticide_known_at_property=told.pesticide_known_at_property,
        withdrawn=not isinstance(content, VisitContent),
        bytes=written.decode(),
        sha256=digest,
        signature=sign(signer, RECORD_TYPE, written),
        content_sha256=rules.content_digest(content),
        party=party,
    )
    await record_issued(entry, record.number)
    return Issued(number=record.number, version=record.version, visit_id=content.visit_id, sha256=digest)


def _told(record: ServiceRecord, digest: bytes) -> RecordIssued:
    content = record.content
    issued = RecordIssued(
        record=f"{record.number}.{record.version}",
        visit_id=content.visit_id,
        property_id=content.property_id,
        customer_id=content.customer_id,
        service_on=content.service_on,
        pesticide_free_by_us=isinstance(content, VisitContent) and content.pesticide_free_by_us.free,
        pesticide_known_at_property=isinstance(content, VisitContent)
        and content.pesticide_known_at_property.free,
        sha256=digest.hex(),
    )
    if record.replaces is None:
        return issued
    withdrawn = not isinstance(content, VisitContent)
    return RecordAmended(**msgspec.structs.asdict(issued), replaces=record.replaces, withdrawn=withdrawn)
