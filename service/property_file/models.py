"""The file of a property: what it is made of, and what is shown of it to whom."""

from datetime import date, datetime
from typing import Any, Literal
from uuid import UUID

from msgspec import Struct

from service.packs.models import Pack

Audience = Literal["customer", "auditor", "public"]


# As the book holds it -------------------------------------------------------------------------------------
class Asked(Struct, frozen=True, kw_only=True):
    """A file as it was asked for: local dates, half-open; None for as far as the book goes."""

    audience: Audience
    from_on: date | None
    until_on: date | None
    customer_id: UUID | None


class Place(Struct, frozen=True, kw_only=True):
    """The property as it is stated now, with the business and its own rule packs of the region."""

    name: str
    ref: str | None
    kind: str
    zone: str
    region: str
    county: str | None
    locality: str | None
    address: str | None
    business_name: str
    packs: list[Pack]


class TenureRow(Struct, frozen=True, kw_only=True):
    """Whose property it was: from the first day, inclusive, until the last, exclusive."""

    id: UUID
    customer_id: UUID
    from_on: date
    until_on: date | None
    customer_name: str | None


class Version(Struct, frozen=True, kw_only=True):
    """A version of a record in short: the days that it covers, and whether a later one, which may be of another
    property or day, has replaced it."""

    sequence: int
    number: str
    version: int
    first_on: date
    service_on: date
    issued_at: datetime
    customer_id: UUID | None
    withdrawn: bool
    pesticide_free_by_us: bool
    pesticide_known_at_property: bool
    sha256: str
    replaced: bool

    @property
    def name(self) -> str:
        """As people and machines call it."""
        return f"{self.number}.{self.version}"


# What a record states, as far as a file shows it. Records are immutable and outlive their writers' Structs: every
# member may be missing, and what is not known here is passed over.
class MethodStated(Struct, frozen=True, kw_only=True):
    """A method with its class."""

    method: str = ""
    method_class: str = ""


class SetStated(Struct, frozen=True, kw_only=True):
    """What was done with a set, and how it was at the end."""

    done: list[str] = []
    state: str = ""


class AnimalsStated(Struct, frozen=True, kw_only=True):
    """Animals that are alike."""

    species: str = "unidentified"
    sex: str | None = None
    age_class: str | None = None
    fate: str = ""
    count: int = 0


class RepairStated(Struct, frozen=True, kw_only=True):
    """Ground or turf put right."""

    how: str = ""
    area_m2: str | None = None
    seed_treated: bool | None = None


class TreatmentStated(Struct, frozen=True, kw_only=True):
    """A treatment with its class; `id` is that of the fact, in whichever record it is told."""

    id: str = ""
    method: str = ""
    method_class: str = ""
    breaks_claim: bool = True
    product: str | None = None
    registration: str | None = None
    amount: str | None = None
    unit: str | None = None
    applied_at: datetime | None = None
    applied_by: str = ""


class ClaimStated(Struct, frozen=True, kw_only=True):
    """A claim over its period; `broken_by` names what breaks it."""

    free: bool = False
    from_at: datetime | None = None
    until_at: datetime | None = None
    visit_ids: list[str] = []
    broken_by: list[TreatmentStated] = []


class CautionStated(Struct, frozen=True, kw_only=True):
    """A caution with its source."""

    code: str = ""
    to: str = ""
    sentence: str = ""
    source: str = ""


class LicenceStated(Struct, frozen=True, kw_only=True):
    """A licence by its number."""

    number: str
    authority: str


class Stated(Struct, frozen=True, kw_only=True):
    """The content of a record of any kind."""

    kind: str = ""
    arrived_local: str | None = None
    ended_local: str | None = None
    outcome: str | None = None
    methods: list[MethodStated] = []
    sets: list[SetStated] = []
    checks: list[Any] = []
    catches: list[AnimalsStated] = []
    other_animals: list[AnimalsStated] = []
    mounds_cleared: int | None = None
    turf_figures: dict[str, Any] = {}
    repairs: list[RepairStated] = []
    treatments_none: bool = False
    treatments: list[TreatmentStated] = []
    pesticide_free_by_us: ClaimStated | None = None
    pesticide_known_at_property: ClaimStated | None = None
    statement: str = ""
    cautions: list[CautionStated] = []


class PartyStated(Struct, frozen=True, kw_only=True):
    """The persons beside a record; what was erased is missing."""

    addresses: list[str] = []
    customer_note: str | None = None
    worker_names: list[str] = []


class Content(Struct, frozen=True, kw_only=True):
    """What one version states, and what stands around it."""

    sequence: int
    replaces: str | None
    content: Stated
    licences: list[LicenceStated] | None
    property_ref: str | None
    party: PartyStated | None


class Record(Struct, frozen=True, kw_only=True):
    """A version with what it states."""

    head: Version
    content: Content

    @property
    def stated(self) -> Stated:
        """The content alone."""
        return self.content.content


class Part(Struct, frozen=True, kw_only=True):
    """The days, half-open, on which the property was one customer's, or nobody's that is stated."""

    from_on: date
    until_on: date
    customer_id: UUID | None
    customer_name: str | None = None


class Chosen(Struct, frozen=True, kw_only=True):
    """What goes into a file: its days, its parts, and the versions of each part.

    `left_out` counts those that also cover days of another holder, which a customer does not see.
    """

    asked: Asked
    from_on: date
    until_on: date
    today: date
    parts: list[Part]
    versions: list[list[Version]]
    left_out: int

    def standing(self) -> list[Version]:
        """Those that no later version has replaced."""
        return [one for versions in self.versions for one in versions if not one.replaced]


# As it is shown -------------------------------------------------------------------------------------------
class Line(Struct, frozen=True):
    """A text under a label."""

    label: str
    text: str


class YearShown(Struct, frozen=True, kw_only=True):
    """A calendar year of a part, in words."""

    year: str
    visits: str
    by_us: str
    known: str
    animals: str
    mounds: str


class RecordShown(Struct, frozen=True, kw_only=True):
    """A record in a row of the table and as a section."""

    name: str
    day: str
    heading: str
    replaces: str
    by_us: str
    known: str
    sha256: str
    lines: list[Line]
    statement: str


class PartShown(Struct, frozen=True, kw_only=True):
    """One customer's days."""

    heading: str
    sentences: list[str]
    years: list[YearShown]
    records: list[RecordShown]


class MonthShown(Struct, frozen=True, kw_only=True):
    """A month as the public sees it."""

    month: str
    visits: str
    methods: str
    animals: str
    pesticide: str
    records: str


class TreatmentShown(Struct, frozen=True, kw_only=True):
    """A treatment as the public sees it."""

    day: str
    what: str
    by: str


class File(Struct, frozen=True, kw_only=True):
    """All that is typeset: `parts` for a customer or an auditor, `months` and `treatments` for the public."""

    audience: Audience
    title: str
    running: str
    made_on: list[int]
    cover: list[Line]
    rests_on: list[str]
    sentences: list[str]
    parts: list[PartShown] = []
    months: list[MonthShown] = []
    treatments: list[TreatmentShown] = []
    cautions: list[Line]
    closing: list[str]
    notice: str
