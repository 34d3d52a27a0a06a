"""The door to ownership of ids: claim them before the facts go in."""

from collections.abc import Collection
from uuid import UUID, uuid5

from service.events.outbox import Entry
from service.kernel.errors import Fault, invalid
from service.kernel.sql import Queries

sql = Queries(__package__)


async def claim(entry: Entry, owner_id: UUID, ids: Collection[UUID]) -> list[UUID]:
    """Claim ids for an owner; returns those that belong to another already."""
    return await entry.db.column(
        sql.claim_ids, business_id=entry.business_id, owner_id=owner_id, ids=list(ids)
    )


async def claim_own(entry: Entry, id_: UUID) -> None:
    """A stand-alone fact owns its id under a name that no visit has; 422 where a visit states it, or did."""
    alone = uuid5(id_, "alone")
    if await claim(entry, alone, [id_]):
        raise invalid([Fault("This id belongs to a visit already; make a new one.", "#/id", "id_taken")])
