"""The door to methods: how one of the business is kept, and what is compared anew where it changes."""

from typing import Any
from uuid import UUID

from service.events.outbox import Entry
from service.kernel.db import Db
from service.kernel.errors import invalid
from service.kernel.sql import Queries
from service.methods.models import Method, NewMethod
from service.methods.rules import faults_of_method, key_of
from service.stated.door import Noun, Outcome
from service.work import door as work

sql = Queries(__package__)
METHOD = Noun(
    "method",
    "methods",
    NewMethod,
    Method,
    sql.read_method,
    sql.put_method,
    sql.list_methods,
    delete=sql.delete_method,
)


async def own_methods(db: Db, business_id: UUID) -> list[Method]:
    """All that the business classed itself, in order of id."""
    return await db.many(Method, sql.list_all_methods, business_id=business_id)


async def method_changed(entry: Entry, outcome: Outcome[Any]) -> None:
    """Refuse what does not fit the register; have the records of each property with that method compared anew."""
    own = await own_methods(entry.db, entry.business_id)
    # what was withdrawn is not among them, and fits whatever the register says by now
    if any(one.id == outcome.now.id for one in own):
        faults = faults_of_method(outcome.now, [one for one in own if one.id != outcome.now.id])
        if faults:
            raise invalid(faults)
    keys = {key_of(one.name) for one in (outcome.before, outcome.now) if one is not None}
    written = await entry.db.column(sql.list_methods_written, business_id=entry.business_id)
    meant = [one for one in written if key_of(one) in keys]
    for property_id in await entry.db.column(
        sql.list_properties_with, business_id=entry.business_id, written=meant
    ):
        await work.property_changed(entry, property_id, None)
