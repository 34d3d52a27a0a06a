"""A line of a batch, and what became of it."""

from typing import Literal
from uuid import UUID

import msgspec
from msgspec import Struct

from service.customers.models import NewCustomer
from service.facts.models import NewVisit
from service.jobs.models import NewJob
from service.kernel.errors import Problem
from service.kernel.values import Caution
from service.properties.models import NewProperty

LineKind = Literal["customer", "property", "job", "visit"]


class LineCustomer(NewCustomer, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A customer with its id, and the ETag it replaces where it amends."""

    id: UUID
    amends: str | None = None


class LineProperty(NewProperty, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A property with its id, and the ETag it replaces where it amends."""

    id: UUID
    amends: str | None = None


class LineJob(NewJob, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A job with its id, and the ETag it replaces where it amends."""

    id: UUID
    amends: str | None = None


class BatchLine(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """One line: exactly one of these."""

    customer: LineCustomer | None = None
    property: LineProperty | None = None
    job: LineJob | None = None
    visit: NewVisit | None = None


class BatchResult(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What became of one line; lines are answered in their order."""

    line: int
    status: int
    kind: LineKind | None = None
    id: UUID | None = None
    outcome: str | None = None
    etag: str | None = None
    warnings: list[Caution] = msgspec.field(default_factory=list)
    problem: Problem | None = None
