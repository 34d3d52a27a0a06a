"""Events: what is told, in one gap-free order per business; ids and facts, no names, addresses or notes."""

from typing import Annotated, ClassVar, Literal
from uuid import UUID

from msgspec import UNSET, Meta, Raw, Struct, UnsetType, field

from service.kernel.values import DurationMs, FutureInstant, Instant, Line

# What may be subscribed to: every type that some slice tells.
EVENT_TYPES = (
    "catch.recorded",
    "check.due_soon",
    "check.overdue",
    "check.settled",
    "customer.erased",
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
    "month.sealed",
    "record.amended",
    "record.billed",
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
    "worker.erased",
)


class Event(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The `data` of one event; each kind names its type, `noun.past_tense`."""

    event_type: ClassVar[str]


class EndpointPaused(Event, frozen=True, kw_only=True):
    """Deliveries to an endpoint wait from now on: its receiver is gone or failed for days, or the office says so."""

    event_type: ClassVar[str] = "endpoint.paused"
    endpoint_id: UUID
    reason: Literal["gone", "failing", "by_office"]


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


DeliveryState = Literal["waiting", "delivered", "dead"]
Url = Annotated[
    str,
    Meta(
        min_length=1,
        max_length=2_000,
        pattern=r"^[\u0021-\u007e]*$",
        description="an https URL of ASCII without blanks (a host's other letters as xn--..., elsewhere as %C3%A4)",
    ),
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


Secret = Annotated[
    str,
    Meta(
        max_length=200, description="whsec_ and the base64 of 24 to 64 random bytes; without it one is made"
    ),
]


class EndpointAsked(NewEndpoint, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """Where events are delivered to; with no `types` it gets every event. While it is paused they wait.

    `secret` is one that the receiver holds already; without it one is made.
    """

    secret: Secret | None = None


class Endpoint(NewEndpoint, frozen=True, kw_only=True, omit_defaults=False):
    """An endpoint as kept, without its secret; `public_key` checks the v1a signatures of its deliveries."""

    id: UUID
    version: int
    paused_reason: str | None = None
    public_key: str | None = None
    created_at: Instant


class EndpointMade(Endpoint, frozen=True, kw_only=True):
    """An endpoint just made; `secret`, which checks the v1 signatures of its deliveries, is shown this once."""

    secret: str


OverlapHours = Annotated[int, Meta(ge=0, le=168, description="hours; 0 ends the old keys at once")]


class Rotation(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """New keys for an endpoint: the old ones sign as well for `overlap_hours`; without `secret` one is made."""

    secret: Secret | None = None
    overlap_hours: OverlapHours = 24


class Rotated(Struct, frozen=True, kw_only=True):
    """The new keys; `secret` is shown this once. Until `old_until_at` deliveries are signed with the old ones too."""

    secret: str
    public_key: str
    old_until_at: Instant


class EndpointHealth(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """How an endpoint does: since when nothing gets through, and what waits or was given up.

    `failures` counts attempts in a row; after some, nothing is sent until `next_try_at`, or until you test or replay.
    `behind` counts events of the log, of all types, that are no deliveries here yet; `waiting_since` is the time of the
    oldest event that waits.
    """

    state: Literal["active", "paused"]
    paused_reason: str | None = None
    failures: int
    failing_since: Instant | None = None
    next_try_at: Instant | None = None
    behind: int
    waiting: int
    waiting_since: Instant | None = None
    dead: int


class Delivery(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What became of one event at one endpoint so far.

    `due_at` is when a waiting one is tried next: there is none while it is being sent or the endpoint is paused.
    """

    deliverynumber: str
    sequence: str
    event_id: UUID
    event_type: str
    state: DeliveryState
    attempt: int
    due_at: Instant | None = None
    last_attempt_at: Instant | None = None
    last_status: int | None = None
    last_error: str | None = None
    last_duration_ms: DurationMs | None = None
    delivered_at: Instant | None = None


class DeliveryShown(Delivery, frozen=True, kw_only=True, omit_defaults=True):
    """A delivery with the exact `body` that every attempt sends, and how the receiver's last answer began."""

    body: str
    last_answer: Annotated[str, Meta(description="its first 4 KiB, read as UTF-8")] | None = None


DELIVERYNUMBER_FORM = "^[1-9][0-9]{0,17}$"
DeliveryNumber = Annotated[
    str, Meta(pattern=DELIVERYNUMBER_FORM, description='a delivery\'s number, such as "42"')
]


class Replay(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """What to send again: deliveries by number or by event, or the dead ones of a range of events' times, or all dead.

    The range goes from `since` to before `until`. With `delivered` also those that the receiver has taken, of that
    range or of all.
    """

    deliverynumbers: Annotated[list[DeliveryNumber], Meta(max_length=1_000)] = field(default_factory=list)
    event_ids: Annotated[list[UUID], Meta(max_length=1_000)] = field(default_factory=list)
    since: Instant | None = None
    until: FutureInstant | None = None
    all: bool = False
    delivered: bool = False


class Replayed(Struct, frozen=True, kw_only=True):
    """How many deliveries are on their way again, each with its old number, sequence, id and body."""

    replayed: int


class PingSent(Struct, frozen=True, kw_only=True):
    """The trial event that is on its way."""

    event_id: UUID
    event_type: Literal["test.ping"]
