"""What entries at endpoints share: load one, add one, and let its deliveries wait or go on."""

from datetime import datetime
from uuid import UUID

from service.events import rules
from service.events.keyring import add_keys
from service.events.models import Endpoint, EndpointPaused, EndpointResumed, NewEndpoint
from service.events.outbox import Entry, entry
from service.kernel.db import Db, Pool
from service.kernel.errors import Missing, Refused
from service.kernel.ids import new_id
from service.kernel.sql import Queries

sql = Queries(__package__)


async def load_endpoint(db: Db, business_id: UUID, endpoint_id: UUID) -> Endpoint:
    """One endpoint of the business, or Missing."""
    kept = await db.maybe(Endpoint, sql.read_endpoint, business_id=business_id, id=endpoint_id)
    if kept is None:
        raise Missing("This endpoint")
    return kept


# Each costs every courier a look; nobody bills through more.
MOST_ENDPOINTS = 100
# deliveries that are replayed or hastened in one transaction
MOST_AT_ONCE = 10_000


async def add(book: Entry, new: NewEndpoint, secret: bytes, sealing_key: bytes) -> Endpoint:
    """Keep a new endpoint with its keys; it gets what is told from now on."""
    if await book.db.value(sql.count_endpoints, business_id=book.business_id) >= MOST_ENDPOINTS:
        raise Refused("conflict", f"A business has at most {MOST_ENDPOINTS} endpoints; take one out first.")
    endpoint_id = new_id()
    await book.db.run(
        sql.insert_endpoint,
        business_id=book.business_id,
        id=endpoint_id,
        paused_reason=rules.reason_stated(new),
        now=book.now,
        **columns(new),
    )
    await add_keys(book.db, sealing_key, book.business_id, endpoint_id, secret, book.now)
    return await load_endpoint(book.db, book.business_id, endpoint_id)


def columns(new: NewEndpoint) -> dict[str, object]:
    """What is stated of an endpoint, as its table holds it."""
    return {"url": new.url, "types": new.types, "description": new.description, "state": new.state}


def change_state(book: Entry, before: Endpoint, now: Endpoint) -> None:
    """Pausing and resuming are told; the rest of an endpoint is the office's own affair."""
    if before.state == now.state:
        return
    if now.state == "paused":
        book.tell(EndpointPaused(endpoint_id=now.id, reason="by_office"), now.id)
    else:
        book.tell(EndpointResumed(endpoint_id=now.id), now.id)


async def hasten(pool: Pool, business_id: UUID, endpoint_id: UUID, now: datetime) -> None:
    """What waits for a resumed endpoint goes out at once, in portions: no other writer waits for them for long."""
    count = MOST_AT_ONCE
    while count == MOST_AT_ONCE:
        async with entry(pool, business_id, now) as book:
            count = await book.db.value(
                sql.hasten_deliveries,
                business_id=business_id,
                endpoint_id=endpoint_id,
                now=now,
                most=MOST_AT_ONCE,
            )
