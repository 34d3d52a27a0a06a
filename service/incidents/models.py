"""An incident, and what is told of it."""

from typing import ClassVar, Literal
from uuid import UUID

from msgspec import Struct

from service.events.models import Event
from service.kernel.values import Instant, Notes

IncidentKind = Literal["injury", "pet", "wildlife", "damage", "buried_line", "theft", "complaint", "other"]


class NewIncident(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """What went wrong; it is open until `closed_at` says that it was dealt with."""

    property_id: UUID
    visit_id: UUID | None = None
    kind: IncidentKind
    happened_at: Instant
    closed_at: Instant | None = None
    description: Notes
    measures: Notes | None = None


class Incident(NewIncident, frozen=True, kw_only=True):
    """An incident as kept."""

    id: UUID
    version: int
    received_at: Instant


class IncidentOpened(Event, frozen=True, kw_only=True):
    """Something went wrong."""

    event_type: ClassVar[str] = "incident.opened"
    incident_id: UUID
    property_id: UUID
    kind: IncidentKind
    happened_at: Instant


class IncidentClosed(Event, frozen=True, kw_only=True):
    """An incident was dealt with."""

    event_type: ClassVar[str] = "incident.closed"
    incident_id: UUID
    property_id: UUID
    closed_at: Instant
