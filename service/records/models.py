"""A service record as issued: canonical bytes hold ids only, names stand beside them in the party block."""

from datetime import date
from typing import Annotated, ClassVar, Literal
from uuid import UUID

from msgspec import Meta, Struct

from service.cautions.models import CautionLine
from service.claims.models import Claim, TreatmentLine
from service.events.models import Event
from service.facts.models import Action, Fate, Finding
from service.kernel.values import AreaShownM2, DegreesE7, Instant, TrapNights
from service.methods.models import ClassName
from service.sets.models import State

Done = Literal["placed", "checked"] | Action


# The content: a function of the facts as at the visit's end ---------------------------------------------
class MethodUsed(Struct, frozen=True, kw_only=True):
    """A mechanism that was placed or looked at, with its class in the method register and the ground."""

    method: str
    method_class: ClassName
    breaks_claim: bool
    ground: str


class SetLine(Struct, frozen=True, kw_only=True):
    """A set that the visit touched or that stood at its end: what was done, and how it was at the end.

    Positions are WGS 84 degrees times 10^7, so that no fraction stands in the bytes. `trap_nights` count from
    the placing on. What is not known of an awaited set is null.
    """

    set_id: UUID
    done: list[Done]
    state: State
    mechanism: str | None
    traps: int | None
    longitude_e7: DegreesE7 | None
    latitude_e7: DegreesE7 | None
    trap_nights: TrapNights | None


class CheckLine(Struct, frozen=True, kw_only=True):
    """A look at a set during the visit."""

    check_id: UUID
    set_id: UUID
    checked_at: Instant
    checked_by: str
    finding: Finding
    action: Action
    ground_searched: bool | None


class Animals(Struct, frozen=True, kw_only=True):
    """Animals that are alike in all that is stated of them."""

    species: str
    sex: str
    age_class: str
    fate: Fate
    count: int


class RepairLine(Struct, frozen=True, kw_only=True):
    """Ground or turf put right."""

    repair_id: UUID
    how: str
    area_m2: AreaShownM2
    seed_treated: bool | None


class ToldLine(Struct, frozen=True, kw_only=True):
    """That somebody was told; who, stands in the visit alone."""

    told_id: UUID
    told_at: Instant
    what: str


class NextDue(Struct, frozen=True, kw_only=True):
    """A look at a set that is owed, as at the visit's end."""

    set_id: UUID
    kind: str
    due_at: Instant


class VisitContent(Struct, frozen=True, kw_only=True, tag="visit", tag_field="kind"):
    """What a visit's record states, as at the visit's end; instants in UTC, local ones with their offset."""

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
    methods: list[MethodUsed]
    sets: list[SetLine]
    checks: list[CheckLine]
    trap_nights: TrapNights
    catches: list[Animals]
    other_animals: list[Animals]
    mounds_cleared: int
    repairs: list[RepairLine]
    treatments_none: bool
    treatments: list[TreatmentLine]
    pesticide_free_by_us: Claim
    pesticide_known_at_property: Claim
    statement: str
    cautions: list[CautionLine]
    told: list[ToldLine]
    next_due: list[NextDue]
    notice: str


class WithdrawnContent(Struct, frozen=True, kw_only=True, tag="withdrawn", tag_field="kind"):
    """The record of a visit that was withdrawn: it takes back what the versions before stated."""

    visit_id: UUID
    property_id: UUID
    customer_id: UUID | None
    service_on: date
    statement: str


Content = VisitContent | WithdrawnContent


# What stands around it: as at the moment of issue, never compared ---------------------------------------
class LicenceLine(Struct, frozen=True, kw_only=True):
    """A licence or permit by its number."""

    number: str
    authority: str


class Issuer(Struct, frozen=True, kw_only=True):
    """Who issues: the business, its licences in force on the day of service, the permit of the job."""

    business_id: UUID
    licences: list[LicenceLine]
    permit: LicenceLine | None


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
    """A set or sign that the visit speaks of and that nobody has stated yet."""

    noun: Literal["set", "sign"]
    id: UUID


class Basis(Struct, frozen=True, kw_only=True):
    """How complete the book was at the moment of issue; it counts for both claims."""

    complete_as_of: list[Arrival]
    awaited: list[Awaited]
    rests_on: list[Rested]


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


class Party(Struct, frozen=True, kw_only=True):
    """The persons, beside the bytes: `party_hash` in these is the SHA-256 of this block's RFC 8785 form.

    `salt` is base64url of 32 random bytes, so that a name cannot be guessed from the hash.
    """

    addresses: list[str]
    customer_name: str | None
    customer_note: str | None
    salt: str
    worker_names: list[str]


class SignedRecord(Struct, frozen=True, kw_only=True, tag="signed_service_record", tag_field="noun"):
    """A version as it goes out, itself in RFC 8785 form.

    `sha256` (hex) and `signature` are over the record's RFC 8785 bytes; the signature is a detached JWS (RFC 7515
    appendix F) whose key is in `/.well-known/jwks.json`. Null on what was issued before records were signed.
    """

    record: ServiceRecord
    sha256: str
    signature: str | None


class RecordIssued(Event, frozen=True, kw_only=True):
    """The first version of a service record."""

    event_type: ClassVar[str] = "record.issued"
    record: str
    visit_id: UUID
    property_id: UUID
    customer_id: UUID | None = None
    service_on: date
    pesticide_free_by_us: bool
    pesticide_known_at_property: bool
    sha256: str


class RecordAmended(RecordIssued, frozen=True, kw_only=True):
    """A further version, which replaces the one it names; `withdrawn` where the visit was."""

    event_type: ClassVar[str] = "record.amended"
    replaces: str
    withdrawn: bool
