"""The door to treatments that stand alone: how one is kept, and what follows."""

from typing import Any

from service.events.outbox import Entry
from service.kernel.sql import Queries
from service.owners.door import claim_own
from service.stated.door import Noun, Outcome
from service.treatments.models import KnownTreatment, NewTreatment, TreatmentRecorded
from service.work import door as work

sql = Queries(__package__)
TREATMENT = Noun(
    "treatment",
    "treatments",
    NewTreatment,
    KnownTreatment,
    sql.read_treatment,
    sql.put_treatment,
    sql.list_treatments,
    delete=sql.delete_treatment,
    day="applied_at",
)


async def treatment_changed(entry: Entry, outcome: Outcome[Any]) -> None:
    """It bears on the records of every visit since it was applied."""
    now: KnownTreatment = outcome.now
    await claim_own(entry, now.id)
    if outcome.before is None:
        entry.tell(
            TreatmentRecorded(
                treatment_id=now.id,
                property_id=now.property_id,
                method=now.method,
                applied_at=now.applied_at,
                applied_by=now.applied_by,
            ),
            now.id,
        )
    before: KnownTreatment = outcome.before or now
    for property_id, since in {(before.property_id, before.applied_at), (now.property_id, now.applied_at)}:
        await work.property_changed(entry, property_id, since)
