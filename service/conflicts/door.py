"""The door to conflicts: whoever works out a subject hands in all of that subject's conflicts."""

from collections.abc import Collection
from uuid import UUID, uuid5

import msgspec

from service.conflicts.models import Conflict
from service.events.outbox import Entry
from service.kernel.sql import Queries

sql = Queries(__package__)


async def store(entry: Entry, noun: str, subject_ids: Collection[UUID], conflicts: list[Conflict]) -> None:
    """All conflicts of these subjects are exactly `conflicts`, one of a kind per subject and fact."""
    rows = [
        {"id": conflict_id(entry.business_id, noun, one), **msgspec.structs.asdict(one)} for one in conflicts
    ]
    await entry.db.run(
        sql.replace_conflicts,
        business_id=entry.business_id,
        noun=noun,
        subject_ids=list(subject_ids),
        conflicts=rows,
    )


def conflict_id(business_id: UUID, noun: str, conflict: Conflict) -> UUID:
    """UUIDv5 of what it is about: the same conflict has the same id, however often it is worked out."""
    about = f"conflict/{noun}/{conflict.kind}/{conflict.subject_id}/{conflict.fact_id}"
    return uuid5(business_id, about)
