"""A job, and what is told of it."""

from typing import ClassVar, Literal
from uuid import UUID

from msgspec import Struct, field

from service.events.models import Event
from service.kernel.values import Caution, FutureInstant, Instant, Line, Name, Species

EndReason = Literal["clear", "customer_stopped", "season_over", "no_access", "property_sold", "other"]


class LocateTicket(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """Notice given to those who own buried lines, before anyone digs."""

    number: Name
    called_at: Instant
    starts_at: FutureInstant | None = None
    expires_at: FutureInstant | None = None


class NewJob(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """One target species at one property; a visit never opens a job, being clear never closes one."""

    property_id: UUID
    target: Species
    opened_at: Instant
    closed_at: Instant | None = None
    end_reason: EndReason | None = None
    callback_of_job_id: UUID | None = None
    permit_id: UUID | None = None
    locate_ticket: LocateTicket | None = None
    ref: Line | None = None


class Job(NewJob, frozen=True, kw_only=True):
    """A job as kept."""

    id: UUID
    version: int
    received_at: Instant
    # what the answer to whoever sent it adds
    warnings: list[Caution] = field(default_factory=list)


class JobOpened(Event, frozen=True, kw_only=True):
    """A person opened a job, or opened a closed one again."""

    event_type: ClassVar[str] = "job.opened"
    job_id: UUID
    property_id: UUID
    target: str
    opened_at: Instant


class JobClosed(Event, frozen=True, kw_only=True):
    """A person closed a job, and why."""

    event_type: ClassVar[str] = "job.closed"
    job_id: UUID
    property_id: UUID
    closed_at: Instant
    end_reason: EndReason


class SetLeftOut(Event, frozen=True, kw_only=True):
    """A job was closed while this set still stands: somebody has to fetch it."""

    event_type: ClassVar[str] = "set.left_out"
    set_id: UUID
    job_id: UUID
    property_id: UUID
    closed_at: Instant


class AwaitingJob(Struct, frozen=True):
    """A visit that names a job which is not in the book at its property."""

    visit_id: UUID
    property_id: UUID
    job_id: UUID
