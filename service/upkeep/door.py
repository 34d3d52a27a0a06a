"""The door to upkeep that stands alone: how it is kept, and what follows."""

from typing import Any

from service.deadlines.models import KnownBy
from service.events.outbox import Entry
from service.kernel.sql import Queries
from service.owners.door import claim_own
from service.signs import door as signs
from service.stated.door import Noun, Outcome
from service.upkeep.models import KnownUpkeep, NewUpkeep
from service.work import door as work

sql = Queries(__package__)
UPKEEP = Noun(
    "upkeep",
    "upkeep",
    NewUpkeep,
    KnownUpkeep,
    sql.read_upkeep,
    sql.put_upkeep,
    sql.list_all_upkeep,
    delete=sql.delete_upkeep,
    day="at",
)


async def upkeep_changed(entry: Entry, outcome: Outcome[Any]) -> None:
    """A mowing says that no mound lay there: the lawn clock of later mounds starts from it."""
    now: KnownUpkeep = outcome.now
    await claim_own(entry, now.id)
    before: KnownUpkeep = outcome.before or now
    for property_id, since in {(before.property_id, before.at), (now.property_id, now.at)}:
        signs_touched = await signs.touched_by_bounds(entry, property_id, since)
        if signs_touched:
            await signs.work_out(entry, signs_touched, KnownBy(worker_id=None, key_id=entry.key_id))
        await work.property_changed(entry, property_id, since)
