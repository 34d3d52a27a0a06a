"""A service record as issued: canonical bytes hold ids only, names stand beside them in the party block."""

from datetime import date
from typing import Annotated, ClassVar, Literal
from uuid import UUID

from msgspec import Meta, Struct

from service.cautions.models import CautionLine
from service.claims.models import Claim, FreeAtProperty, FreeByUs, TreatmentLine
from service.events.models import Event
from service.kernel.values import Instant, Line, Name, TrapNights
from service.records.lines import (
    Animals,
    CheckLine,
    MethodUsed,
    NextDue,
    OpeningLine,
    RepairLine,
    SetLine,
    ToldLine,
    TreatmentsSaid,
    TurfFigures,
    TurfLine,
    VisitLine,
)

MONTH = r"^(19[0-9]{2}|2[01][0-9]{2})-(0[1-9]|1[0-2])$"
MonthName = Annotated[str, Meta(pattern=MONTH, description="year and month, e.g. 2026-05")]


# The content: a function of the facts as at its end -------------------------------------------------------
class Account(Struct, frozen=True, kw_only=True):
    """What a record of any kind accounts for; instants in UTC.

    Of turf and openings it lists what its own facts touch: seen, cleared, looked at, dug, closed or repaired.
    """

    methods: list[MethodUsed]
    sets: list[SetLine]
    checks: list[CheckLine]
    trap_nights: TrapNights
    catches: list[Animals]
    other_animals: list[Animals]
    mounds_cleared: int
    turf: list[TurfLine]
    openings: list[OpeningLine]
    turf_figures: TurfFigures
    repairs: list[RepairLine]
    treatments_said: TreatmentsSaid
    treatments: list[TreatmentLine]
    pesticide_free_by_us: Claim
    pesticide_known_at_property: Claim
    statement: str
    cautions: list[CautionLine]
    told: list[ToldLine]
    next_due: list[NextDue]
    notice: str


class VisitContent(Account, frozen=True, kw_only=True, tag="visit", tag_field="kind"):
    """What a visit's record states, as at the visit's end; local instants with their offset."""

    visit_id: UUID
    property_id: UUID
    customer_id: UUID | None
    zone: str
    region: str
    service_on: date
    arrived_at: Instant
    ended_at: Instant
    arrived_local: str
    ended_local: str
    outcome: str
    worker_id: UUID
    with_worker_ids: list[UUID]
    job_id: UUID | None
    target: str | None
    treatments_none: bool


class MonthContent(Account, frozen=True, kw_only=True, tag="month", tag_field="kind"):
    """What the record of a property's month states, as at the month's end, also of one without any visit.

    The month is a local one: from the first instant of `first_on` to that of `until_on`, half-open; the claims
    name its first and its last microsecond. A fact belongs to the month of its own instant, a visit to that of
    its arrival. `service_on` is the last day, `customer_id` who held the property last in the month. An
    interval between two looks counts as trap-nights of the month in which it ended.
    """

    property_id: UUID
    customer_id: UUID | None
    zone: str
    region: str
    month: str
    first_on: date
    until_on: date
    service_on: date
    visits: list[VisitLine]


class WithdrawnContent(Struct, frozen=True, kw_only=True, tag="withdrawn", tag_field="kind"):
    """The record of a visit that was withdrawn: it takes back what the versions before stated."""

    visit_id: UUID
    property_id: UUID
    customer_id: UUID | None
    service_on: date
    statement: str


Content = VisitContent | MonthContent | WithdrawnContent


# What stands around it: as at the moment of issue, never compared ---------------------------------------
class LicenceLine(Struct, frozen=True, kw_only=True):
    """A licence or permit by its number."""

    number: str
    authority: str


class Issuer(Struct, frozen=True, kw_only=True):
    """Who issues: the business, its licences in force there on the day of service, the permit of the job.

    `other_permits` are further ones, where the jobs of a month have several.
    """

    business_id: UUID
    licences: list[LicenceLine]
    permit: LicenceLine | None
    other_permits: list[LicenceLine]


class Refs(Struct, frozen=True, kw_only=True):
    """The numbers that customer and property have in the business's other books."""

    customer: str | None
    property: str | None


class Rested(Struct, frozen=True, kw_only=True):
    """A visit that the content rests on: which version, and how long after its end it first arrived."""

    visit_id: UUID
    version: int
    received_at: Instant
    late_by: Annotated[str, Meta(description="ISO 8601 duration, e.g. PT3H")]


class Arrival(Struct, frozen=True, kw_only=True):
    """The last arrival from a phone, by its key."""

    key_id: UUID
    received_at: Instant


class Awaited(Struct, frozen=True, kw_only=True):
    """A set or sign that a visit speaks of and that nobody has stated yet."""

    noun: Literal["set", "sign"]
    id: UUID


class Basis(Struct, frozen=True, kw_only=True):
    """How complete the book was at the moment of issue; it counts for both claims.

    `records` are the latest versions of the records of a month's visits; none for the record of one visit.
    """

    complete_as_of: list[Arrival]
    awaited: list[Awaited]
    rests_on: list[Rested]
    records: list[str]


class ServiceRecord(Struct, frozen=True, kw_only=True, tag="service_record", tag_field="noun"):
    """A version of a service record: its RFC 8785 form are the bytes that are kept, hashed and handed out."""

    number: str
    version: int
    replaces: str | None
    issued_at: Instant
    issuer: Issuer
    refs: Refs
    party_hash: str
    content: Content
    basis: Basis


class ToldTo(Struct, frozen=True, kw_only=True):
    """Who was told, and how; what, stands in the record under the same id."""

    told_id: UUID
    who: Name
    how: Line


class Party(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The persons, beside the bytes: `party_hash` in these is the SHA-256 of this block's RFC 8785 form.

    `salt` is base64url of 32 random bytes, so that a name cannot be guessed from the hash. `told` is left out
    where nobody was told. A month's `customer_note` has a line for each visit with one, led by the local date.
    """

    addresses: list[str]
    customer_name: str | None
    customer_note: str | None
    salt: str
    worker_names: list[str]
    told: list[ToldTo] = []


class SignedRecord(Struct, frozen=True, kw_only=True, tag="signed_service_record", tag_field="noun"):
    """A version as it goes out, itself in RFC 8785 form.

    `sha256` (hex) and `signature` are over the record's RFC 8785 bytes; the signature is a detached JWS (RFC 7515
    appendix F) whose key is in `/.well-known/jwks.json`. Null on what was issued before records were signed.
    """

    record: ServiceRecord
    sha256: str
    signature: str | None


class RecordIssued(Event, frozen=True, kw_only=True):
    """The first version of a service record: of a visit, or of a property's month."""

    event_type: ClassVar[str] = "record.issued"
    record: str
    visit_id: UUID | None = None
    month: MonthName | None = None
    property_id: UUID
    customer_id: UUID | None = None
    service_on: date
    pesticide_free_by_us: FreeByUs
    pesticide_known_at_property: FreeAtProperty
    sha256: str


class RecordAmended(RecordIssued, frozen=True, kw_only=True):
    """A further version, which replaces the one it names; `withdrawn` where the visit was.

    `billed_before`: a version before it was billed, so that what differs may have to be credited.
    """

    event_type: ClassVar[str] = "record.amended"
    replaces: str
    billed_before: bool
    withdrawn: bool
