"""Issuing a service record: the office asks for it over HTTP, and the clock does it when work is due."""

from datetime import date
from uuid import UUID
from zoneinfo import ZoneInfo

import msgspec

from service.events.outbox import Entry, flush
from service.kernel.canonical import sha256
from service.kernel.days import local_date
from service.kernel.sql import Queries
from service.records import rules
from service.records.drafting import (
    Draft,
    basis_of,
    issuer_of,
    month_draft,
    party_of,
    read_head,
    refs_of,
    visit_draft,
)
from service.records.facts import Issued, Latest
from service.records.models import (
    MonthContent,
    Party,
    RecordAmended,
    RecordIssued,
    ServiceRecord,
    WithdrawnContent,
)
from service.records.reading import read_month
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
    head = await read_head(db, business_id, visit_id)
    latest = await db.maybe(Latest, sql.latest_version, business_id=business_id, visit_id=visit_id)
    if head.withdrawn_at is not None and latest is None:
        return None
    draft = await visit_draft(db, business_id, head)
    return await _issue(entry, sealing_key, draft, latest)


async def issue_month(entry: Entry, sealing_key: bytes, property_id: UUID, first_on: date) -> Issued | None:
    """Issue the record of a property's month, or its next version; None where nothing is new.

    Missing where the book has no such property, `conflict` while the month has not ended there.
    """
    db, business_id = entry.db, entry.business_id
    month, zone = await read_month(db, business_id, property_id, first_on)
    latest = await db.maybe(
        Latest,
        sql.latest_version_of_month,
        business_id=business_id,
        property_id=property_id,
        month_on=first_on,
    )
    if latest is None:
        # before, it would be out of date with the next visit; one that was issued keeps up with the facts, also
        # where the property's zone was amended since
        rules.check_ended(first_on, zone, entry.now, "ask for its record")
    draft = await month_draft(db, business_id, property_id, month)
    return await _issue(entry, sealing_key, draft, latest)


async def _issue(entry: Entry, sealing_key: bytes, draft: Draft, latest: Latest | None) -> Issued | None:
    """Number, sign and keep the version that a draft makes, unless it says what the latest says."""
    if latest is not None and latest.content_sha256 == rules.content_digest(draft.content):
        return None
    db, business_id = entry.db, entry.business_id
    party = await party_of(db, business_id, draft)
    basis = await basis_of(db, business_id, draft)
    number, version = await _number(entry, draft.around.business_zone, latest)
    record = ServiceRecord(
        number=number,
        version=version,
        replaces=None if latest is None else f"{latest.number}.{latest.version}",
        issued_at=entry.now,
        issuer=issuer_of(business_id, draft),
        refs=refs_of(draft),
        party_hash=rules.party_hash(party),
        content=draft.content,
        basis=basis,
    )
    signer = await signer_in_force(db, sealing_key, entry.now)
    is_billed = latest is not None and latest.is_billed
    return await _store(entry, record, party, signer, billed_before=is_billed)


async def _number(entry: Entry, zone: str, latest: Latest | None) -> tuple[str, int]:
    """The next version of the number it has, or a new number of the year of issue in the business's zone."""
    if latest is not None:
        return latest.number, latest.version + 1
    year = local_date(entry.now, ZoneInfo(zone)).year
    value = await entry.db.value(sql.next_number, business_id=entry.business_id, name=f"record/{year:04}")
    return rules.number_of(year, value), 1


async def _store(
    entry: Entry, record: ServiceRecord, party: Party, signer: Signer, *, billed_before: bool
) -> Issued:
    """Tell of the version, and keep it under the place in the log that this gives it."""
    content = record.content
    written = rules.bytes_of(record)
    digest = sha256(written)
    told = _told(record, digest, billed_before=billed_before)
    event_id = entry.tell(told, told.visit_id or told.property_id)
    sequence = next(one.sequence for one in await flush(entry) if one.id == event_id)
    await entry.db.run(
        sql.insert_record,
        business_id=entry.business_id,
        number=record.number,
        version=record.version,
        visit_id=told.visit_id,
        month_on=content.first_on if isinstance(content, MonthContent) else None,
        property_id=content.property_id,
        customer_id=content.customer_id,
        service_on=content.service_on,
        issued_at=record.issued_at,
        sequence=sequence,
        pesticide_free_by_us=told.pesticide_free_by_us,
        pesticide_known_at_property=told.pesticide_known_at_property,
        withdrawn=isinstance(content, WithdrawnContent),
        bytes=written.decode(),
        sha256=digest,
        signature=sign(signer, RECORD_TYPE, written),
        content_sha256=rules.content_digest(content),
        party=party,
    )
    await record_issued(entry, record.number)
    return Issued(number=record.number, version=record.version, sha256=digest)


def _told(record: ServiceRecord, digest: bytes, *, billed_before: bool) -> RecordIssued:
    content = record.content
    withdrawn = isinstance(content, WithdrawnContent)
    issued = RecordIssued(
        record=f"{record.number}.{record.version}",
        visit_id=None if isinstance(content, MonthContent) else content.visit_id,
        month=content.month if isinstance(content, MonthContent) else None,
        property_id=content.property_id,
        customer_id=content.customer_id,
        service_on=content.service_on,
        pesticide_free_by_us=not isinstance(content, WithdrawnContent) and content.pesticide_free_by_us.free,
        pesticide_known_at_property=not isinstance(content, WithdrawnContent)
        and content.pesticide_known_at_property.free,
        sha256=digest.hex(),
    )
    if record.replaces is None:
        return issued
    return RecordAmended(
        **msgspec.structs.asdict(issued),
        replaces=record.replaces,
        billed_before=billed_before,
        withdrawn=withdrawn,
    )
