"""The file of a property: what it is made of, and what is shown of it to whom."""

from datetime import date, datetime
from typing import Literal
from uuid import UUID

from msgspec import Struct

from service.kernel.values import Erased
from service.packs.models import Pack
from service.wording.content import LicenceStated, PartyStated, Stated

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
    business_zone: str
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


class Content(Struct, frozen=True, kw_only=True):
    """What one version states, and what stands around it."""

    sequence: int
    replaces: str | None
    content: Stated
    licences: list[LicenceStated] | None
    property_ref: str | None
    party: PartyStated | None
    erased: Erased | None = None


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

    def all_versions(self) -> list[Version]:
        """Part by part."""
        return [one for versions in self.versions for one in versions]

    def standing(self) -> list[Version]:
        """Those that no later version has replaced."""
        return [one for one in self.all_versions() if not one.replaced]


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


class TreatmentShown(Struct, frozen=True, kw_only=True):
    """A treatment as the public sees it."""

    day: str
    what: str
    by: str


class File(Struct, frozen=True, kw_only=True):
    """All that is typeset: `parts` for a customer or an auditor, `months` and `treatments` for the public."""

    audience: Audience
    paper: str
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
