"""What is asked and answered where a person is erased, and what an erasure reads."""

from datetime import date, datetime
from typing import Annotated, Any, ClassVar, Literal
from uuid import UUID

from msgspec import Meta, Struct

from service.events.models import Event
from service.kernel.values import Erased, Instant
from service.packs.models import Pack


class NewErasure(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """On which ground: the person's request, the end of a keeping time, a law. It is shown for ever; name nobody."""

    ground: Annotated[str, Meta(min_length=3, max_length=200, pattern=r"^[^\u0000-\u001f\u007f]*$")]


class Erasure(Struct, frozen=True, kw_only=True):
    """A person who was erased; how many records lost the persons beside them, and how many visits their texts."""

    id: UUID
    erased: Erased
    records: int
    visits: int


class Held(Struct, frozen=True, kw_only=True):
    """Something that is held on a person: in which noun, under which id or number, and what."""

    noun: str
    id: str
    data: Any


class PersonalData(Struct, frozen=True, kw_only=True):
    """All that is held on a person as of now, each with where it stands."""

    id: UUID
    as_of: Instant
    held: list[Held]


class CustomerErased(Event, frozen=True, kw_only=True):
    """A customer's name, addresses and texts were erased: whoever holds a copy erases it too."""

    event_type: ClassVar[str] = "customer.erased"
    customer_id: UUID
    erased_at: Instant


class WorkerErased(Event, frozen=True, kw_only=True):
    """A worker's name and licences were erased: whoever holds a copy erases it too."""

    event_type: ClassVar[str] = "worker.erased"
    worker_id: UUID
    erased_at: Instant


class Place(Struct, frozen=True, kw_only=True):
    """A property where something names the person: the last day of work that does, and what may bid to keep it."""

    property_id: UUID
    kind: str
    region: str
    county: str | None
    locality: str | None
    packs: list[Pack]
    treated: bool
    under_permit: bool
    last_on: date | None


class Days(Struct, frozen=True):
    """Local days, the last exclusive."""

    from_on: date
    until_on: date | None


class Home(Place, frozen=True, kw_only=True):
    """A property that the customer held, and on which local days.

    `is_theirs`: nobody else ever held it; `is_last`: nobody held it after, so that its name and address speak of this
    customer.
    """

    zone: str
    held: list[Days]
    is_theirs: bool
    is_last: bool


class Past(Struct, frozen=True, kw_only=True):
    """A person past the business's keeping time for that kind, of so many years."""

    id: UUID
    noun: Literal["customer", "worker"]
    years: int


class RefusedBody(Struct, frozen=True, kw_only=True):
    """A body that was refused and is kept, with the customer's properties that it names.

    `is_theirs`: it is of a visit of the customer's, or of a property that nobody else ever held.
    """

    id: UUID
    received_at: datetime
    body: bytes
    property_ids: list[UUID]
    is_theirs: bool


class Body(Struct, frozen=True, kw_only=True):
    """A body as it is kept, of a version of a visit."""

    id: UUID
    version: int
    body: bytes


class VisitVersion(Struct, frozen=True, kw_only=True):
    """A version of a visit, with the place and the arrival that it states; a withdrawal has those of what it withdrew.

    `is_last`: the visit's row is of it.
    """

    id: UUID
    version: int
    property_id: UUID
    arrived_at: datetime
    is_last: bool


class History(Struct, frozen=True, kw_only=True):
    """A stated version as it is kept, and the property that it is of, where it is of one.

    `of_visit`: it says that it is of a visit of the customer's.
    """

    noun: str
    id: UUID
    version: int
    body: Any
    received_at: datetime
    property_id: UUID | None
    of_visit: bool
