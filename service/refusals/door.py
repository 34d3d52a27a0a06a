"""The door to refusals: keep a body before the refusal of it leaves."""

from datetime import timedelta
from uuid import UUID

from service.events.outbox import Entry
from service.kernel.canonical import sha256
from service.kernel.errors import TITLES, Refused
from service.kernel.ids import new_id
from service.kernel.sql import Queries
from service.refusals.models import Kept, KeptBody
from service.refusals.rules import arrival_in, ids_in
from service.work import door as work
from service.work.models import REFUSALS_AGAIN, REFUSALS_OLD

sql = Queries(__package__)
KEPT_FOR = timedelta(days=90)
KEPT_KINDS = ("invalid", "stale", "precondition_required")
NOT_KEPT = (
    "This body is not kept here, as the customer of that day was erased; send it again once it is mended."
)


async def keep(
    book: Entry, raw: bytes, body: object, claimed_id: UUID | None, refused: Refused
) -> UUID | None:
    """Keep the bytes for 90 days and give the refusal its id; not where the customer of that day was erased.

    Without an id the sender keeps them. Returns the visit's id where a mended body was accepted for these bytes
    already.
    """
    of_body = {"business_id": book.business_id, "claimed_id": claimed_id, "sha256": sha256(raw)}
    ids = ids_in(raw) | ({claimed_id} if claimed_id else set())
    if await book.db.value(
        sql.is_of_erased, business_id=book.business_id, ids=list(ids), arrived_at=arrival_in(body)
    ):
        refused.detail += f" {NOT_KEPT}"
        earlier: UUID | None = await book.db.value(sql.read_accepted, **of_body)
        return earlier
    waits = isinstance(body, dict) and [fault.code for fault in refused.errors] == ["unknown_property"]
    await work.put(book, REFUSALS_OLD, book.business_id, None, book.now + KEPT_FOR)
    property_id = UUID(body["property_id"]) if waits and isinstance(body, dict) else None
    kept = await book.db.one(
        Kept,
        sql.keep_refusal,
        **of_body,
        id=new_id(),
        body=raw,
        status=TITLES[refused.kind][0],
        problem=refused.problem(),
        property_id=property_id,
        key_id=book.key_id,
        now=book.now,
    )
    refused.refusal_id = kept.id
    if property_id is not None and await book.db.value(
        sql.is_property_known, business_id=book.business_id, property_id=property_id
    ):
        # it came between the refusal and here
        await work.put(book, REFUSALS_AGAIN, property_id, None, book.now)
    return kept.accepted_visit_id


async def waiting(book: Entry, property_id: UUID) -> list[KeptBody]:
    """Bodies that were refused only because this property was not there."""
    return await book.db.many(
        KeptBody, sql.list_bodies_waiting_for_property, business_id=book.business_id, property_id=property_id
    )


async def accepted(book: Entry, refusal_id: UUID, visit_id: UUID) -> None:
    """The body, as it was or mended, became this visit: the original bytes sent again answer `same`."""
    await book.db.run(
        sql.accept_refusal, business_id=book.business_id, id=refusal_id, visit_id=visit_id, now=book.now
    )
