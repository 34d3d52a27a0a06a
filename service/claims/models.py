"""What a claim is worked out from, and what it says."""

from typing import Annotated, Literal
from uuid import UUID

from msgspec import Meta, Struct

from service.facts.models import AppliedBy
from service.kernel.values import Instant
from service.methods.models import ClassName

FreeByUs = Annotated[
    bool, Meta(description="true: we used nothing in the record's period that breaks the claim")
]
# named after the result that it is short for: true is good, as in `pesticide_free_by_us`
FreeAtProperty = Annotated[
    bool,
    Meta(
        description="true: nothing that breaks the claim is known to have been used there in the record's period, by "
        "anybody; false: something is, and the record names it"
    ),
]


class Presence(Struct, frozen=True, kw_only=True):
    """A visit at the property that is not withdrawn, of any job and outcome."""

    id: UUID
    arrived_at: Instant
    ended_at: Instant
    treatments_none: bool


class Period(Struct, frozen=True, kw_only=True):
    """From one instant to another, both inclusive."""

    from_at: Instant
    until_at: Instant


class Applied(Struct, frozen=True, kw_only=True):
    """A treatment as stated, in a visit or on its own; a repair with treated seed; how a catch was made."""

    id: UUID
    noun: Literal["treatment", "repair", "catch"]
    visit_id: UUID | None = None
    method: str
    product: str | None = None
    registration: str | None = None
    amount: str | None = None
    unit: str | None = None
    applied_at: Instant
    applied_by: AppliedBy


class TreatmentLine(Struct, frozen=True, kw_only=True):
    """A treatment as a record prints it, with the class of its method and the ground for that."""

    noun: Literal["treatment", "repair", "catch"]
    id: UUID
    method: str
    method_class: ClassName
    breaks_claim: bool
    ground: str
    product: str | None
    registration: str | None
    amount: str | None
    unit: str | None
    applied_at: Instant
    applied_by: AppliedBy


class Breach(Struct, frozen=True, kw_only=True):
    """A treatment that breaks a claim, with the ground; `before_tenure`: before the day from which the property is
    the customer's whose record it is."""

    id: UUID
    method: str
    method_class: ClassName
    ground: str
    before_tenure: bool
    applied_at: Instant
    applied_by: AppliedBy


class Claim(Struct, frozen=True, kw_only=True):
    """Whether no pesticide was used in the period, both ends inclusive; the visits that it rests on, and how
    many of them state that there were no treatments; what breaks it, and that in a sentence (null where it holds)."""

    free: bool
    from_at: Instant
    until_at: Instant
    visit_ids: list[UUID]
    visits_stating_none: int
    broken_by: list[Breach]
    why: str | None
