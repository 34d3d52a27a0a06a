"""What a record states, as far as a file shows it.

Records are immutable and outlive the Structs that they were written from: every member may be missing, and what is
not known here is passed over.
"""

from datetime import datetime
from typing import Any

from msgspec import Struct


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
