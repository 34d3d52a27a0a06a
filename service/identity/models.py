"""Businesses, workers and api keys."""

from typing import Annotated, ClassVar, Literal
from uuid import UUID

from msgspec import Meta, Struct, field

from service.events.models import Event
from service.kernel.values import Erased, FutureInstant, Instant, LocalDate, Name, Region, Scope, Zone


class HousePolicy(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """The business's own rule for looks, a rule like any other: the earliest of its parts is due.

    `calendar_days` 1 is one look on every local calendar day (common practice); null switches that part off.
    With `off_where_law_speaks` its looks take no part where a pack that is law computes an instant. Soil on
    turf, a cover on turf and the second look at turf have their times here too (common practice, all three).
    `effective_until` is exclusive.
    """

    effective_from: LocalDate | None = None
    effective_until: LocalDate | None = None
    off_where_law_speaks: bool = False
    calendar_days: Annotated[int, Meta(ge=1, le=14, description="local calendar days")] | None = None
    latest_hour: Annotated[int, Meta(ge=1, le=23, description="local hour of the day")] | None = None
    elapsed_hours: Annotated[int, Meta(ge=1, le=336, description="hours")] | None = None
    soil_hours: Annotated[int, Meta(ge=1, le=336, description="hours")] = 72
    cover_hours: Annotated[int, Meta(ge=1, le=336, description="hours")] = 72
    followup_days: Annotated[int, Meta(ge=1, le=60, description="local calendar days")] = 7
    name: Name = "House policy"


class Licence(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """A licence or operator permit, as it is printed on records."""

    number: Name
    authority: Name
    region: Region
    expires_on: LocalDate | None = None


Licences = Annotated[list[Licence], Meta(max_length=50)]
Currency = Annotated[str, Meta(pattern=r"^[A-Z]{3}$", description="ISO 4217 code")]


Years = Annotated[int, Meta(ge=1, le=100, description="years")]


class KeepYears(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """So many years after which persons are erased by themselves, by kind; a kind that is left out: never.

    `customers` count from the end of their last tenure, `workers` from their last day of work, or from the day on
    which they were no more `active` where that is later. Whom a text bids to keep longer is kept longer.
    """

    customers: Years | None = None
    workers: Years | None = None


class NewBusiness(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """A trapping business and its settings.

    `issue` says when a service record goes out: on receipt of the visit, after a hold, or by the office.
    """

    name: Name
    zone: Zone
    currency: Currency = "USD"
    licences: Licences = field(default_factory=list)
    issue: Literal["on_receipt", "after_hold", "by_office"] = "by_office"
    hold_hours: Annotated[
        int, Meta(ge=0, le=720, description="hours from the receipt of the first version")
    ] = 24
    keep_years: KeepYears = KeepYears()
    house_policies: Annotated[list[HousePolicy], Meta(min_length=1, max_length=50)] = field(
        default_factory=lambda: [HousePolicy(calendar_days=1)]
    )


class Business(NewBusiness, frozen=True, kw_only=True):
    """A business as kept."""

    id: UUID
    version: int
    received_at: Instant


class NewWorker(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """A person who works for the business."""

    name: Name
    licences: Licences = field(default_factory=list)
    active: bool = True


class Worker(NewWorker, frozen=True, kw_only=True):
    """A worker as kept; of one who was erased, what is left."""

    id: UUID
    version: int
    received_at: Instant
    erased: Erased | None = None


class NewApiKey(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """A key to be made: who holds it, what it may do, until when."""

    name: Name
    scopes: Annotated[list[Scope], Meta(min_length=1, max_length=5)]
    worker_id: UUID | None = None
    expires_at: FutureInstant | None = None


class ApiKey(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A key as listed: never its secret."""

    id: UUID
    name: str
    scopes: list[str]
    worker_id: UUID | None = None
    last_four: str
    created_at: Instant
    expires_at: Instant | None = None
    revoked_at: Instant | None = None


class ApiKeyMade(ApiKey, frozen=True, kw_only=True, omit_defaults=True):
    """A key just made; `key` is shown this once and kept only as a hash."""

    key: str


class Me(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Who is calling: business, key and what it may do."""

    business_id: UUID
    business_name: str
    key_id: UUID
    scopes: list[str]
    worker_id: UUID | None = None


class KeyRevoked(Event, frozen=True, kw_only=True):
    """A key was revoked; calls with it are refused from now on."""

    event_type: ClassVar[str] = "key.revoked"
    key_id: UUID
    revoked_at: Instant
