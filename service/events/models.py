"""Events: what is told, in one gap-free order per business; ids and facts, no names, addresses or notes."""

from typing import Annotated, ClassVar, Literal
from uuid import UUID

from msgspec import UNSET, Meta, Raw, Struct, UnsetType, field

from service.kernel.values import DurationMs, Instant, Line

# What may be subscribed to: every type that some slice tells.
EVENT_TYPES = (
    "catch.recorded",
    "check.due_soon",
    "check.overdue",
    "check.settled",
    "endpoint.paused",
    "endpoint.resumed",
    "incident.closed",
    "incident.opened",
    "job.closed",
    "job.opened",
    "key.revoked",
    "lawn.due_soon",
    "lawn.followup_due",
    "lawn.overdue",
    "lawn.settled",
    "record.amended",
    "record.issued",
    "report.due",
    "run.look_due",
    "set.ended",
    "set.left_out",
    "set.placed",
    "set.restored",
    "set.search_due",
    "test.ping",
    "treatment.recorded",
    "visit.amended",
    "visit.recorded",
    "visit.withdrawn",
)


class Event(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The `data` of one event; each kind names its type, `noun.past_tense`."""

    event_type: ClassVar[str]


class EndpointPaused(Event, frozen=True, kw_only=True):
    """Deliveries to an endpoint wait from now on: its receiver said it is gone, or the office paused it."""

    event_type: ClassVar[str] = "endpoint.paused"
    endpoint_id: UUID
    reason: Literal["gone", "by_office"]


class EndpointResumed(Event, frozen=True, kw_only=True):
    """Deliveries to an endpoint go out again, those that waited too."""

    event_type: ClassVar[str] = "endpoint.resumed"
    endpoint_id: UUID


class Ping(Event, frozen=True, kw_only=True):
    """A trial that goes to one endpoint alone, whatever it is subscribed to."""

    event_type: ClassVar[str] = "test.ping"
    endpoint_id: UUID


class LoggedEvent(Struct, frozen=True, kw_only=True):
    """An event as the log holds it; `data` is its JSON text."""

    business_id: UUID
    sequence: int
    id: UUID
    type: str
    subject: UUID | None
    time: Instant
    data: str


class Envelope(Struct, frozen=True, kw_only=True):
    """CloudEvents 1.0 in structured JSON; `sequence`, `deliverynumber` and `businessid` are extensions.

    `sequence` counts the business's log without gaps, 20 digits; `deliverynumber` counts an endpoint's
    deliveries without gaps and stands in webhooks only.
    """

    specversion: Literal["1.0"]
    id: UUID
    source: str
    type: str
    time: Instant
    subject: UUID | UnsetType = UNSET
    datacontenttype: Literal["application/json"]
    dataschema: str
    businessid: UUID
    sequence: Annotated[str, Meta(pattern="^[0-9]{20}$")]
    deliverynumber: Annotated[str, Meta(pattern="^[1-9][0-9]*$")] | UnsetType = UNSET
    data: Raw


class EventPage(Struct, frozen=True, kw_only=True):
    """Events in the order of the log; `next` is always there: the cursor to go on from, now or later."""

    events: list[Envelope]
    next: str


Url = Annotated[
    str, Meta(min_length=1, max_length=2_000, pattern=r"^[\u0021-\u007e]*$", description="https URL")
]
TypeFilter = Annotated[
    str, Meta(max_length=100, description="an event type, or all of a noun, e.g. check.overdue, check.*")
]


class NewEndpoint(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """Where events are delivered to; with no `types` it gets every event. While it is paused they wait."""

    url: Url
    types: Annotated[list[TypeFilter], Meta(max_length=100)] = field(default_factory=list)
    description: Line | None = None
    state: Literal["active", "paused"] = "active"


class Endpoint(NewEndpoint, frozen=True, kw_only=True, omit_defaults=False):
    """An endpoint as kept, without its secret."""

    id: UUID
    version: int
    paused_reason: str | None = None
    created_at: Instant


class EndpointMade(Endpoint, frozen=True, kw_only=True):
    """An endpoint just made; `secret`, which its deliveries are signed with, is shown this once."""

    secret: str


class Delivery(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What became of one event at one endpoint so far; `due_at` is when a waiting one is tried next."""

    deliverynumber: str
    sequence: str
    event_id: UUID
    event_type: str
    state: Literal["waiting", "delivered", "dead"]
    attempt: int
    due_at: Instant | None = None
    last_status: int | None = None
    last_error: str | None = None
    last_duration_ms: DurationMs | None = None
    delivered_at: Instant | None = None


class PingSent(Struct, frozen=True, kw_only=True):
    """The trial event that is on its way."""

    event_id: UUID
    event_type: Literal["test.ping"]
