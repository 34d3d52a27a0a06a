"""The door to incidents: how one is kept, and what is told."""

from typing import Any

from service.events.outbox import Entry
from service.incidents.models import Incident, IncidentClosed, IncidentOpened, NewIncident
from service.kernel.sql import Queries
from service.stated.door import Noun, Outcome

sql = Queries(__package__)
INCIDENT = Noun(
    "incident",
    "incidents",
    NewIncident,
    Incident,
    sql.read_incident,
    sql.put_incident,
    sql.list_incidents,
    day="happened_at",
    no_words="The words would be lost, as the customer of that day or visit was erased: end the tenure and add that of"
    " who holds the property now, leave out that `visit_id`, or send `description` as 'erased' without `measures`.",
)


async def incident_changed(entry: Entry, outcome: Outcome[Any]) -> None:
    """Tell of its opening, and of its closing."""
    now: Incident = outcome.now
    before: Incident | None = outcome.before
    if before is None:
        entry.tell(
            IncidentOpened(
                incident_id=now.id, property_id=now.property_id, kind=now.kind, happened_at=now.happened_at
            ),
            now.id,
        )
    if now.closed_at is not None and (before is None or before.closed_at is None):
        entry.tell(
            IncidentClosed(incident_id=now.id, property_id=now.property_id, closed_at=now.closed_at), now.id
        )
