"""What a record states, as far as pages and files show it.

Records are immutable and outlive the Structs that they were written from: every member may be missing, and what is
not known here is passed over.
"""

from datetime import date, datetime
from typing import Any

from msgspec import Struct


class MethodStated(Struct, frozen=True, kw_only=True):
    """A method with its class."""

    method: str = ""
    method_class: str = ""


class SetStated(Struct, frozen=True, kw_only=True):
    """What was done with a set, and how it was at the end."""

    set_id: str = ""
    done: list[str] = []
    state: str = ""
    mechanism: str | None = None
    traps: int | None = None
    longitude_e7: int | None = None
    latitude_e7: int | None = None
    trap_nights: str | None = None


class AnimalsStated(Struct, frozen=True, kw_only=True):
    """Animals that are alike."""

    species: str = "unidentified"
    sex: str | None = None
    age_class: str | None = None
    fate: str = ""
    count: int = 0


class CheckStated(Struct, frozen=True, kw_only=True):
    """A look at a set."""

    set_id: str = ""
    finding: str = ""


class ToldStated(Struct, frozen=True, kw_only=True):
    """That somebody was told; who, stands in the party block under the same id."""

    told_id: str = ""
    told_at: datetime | None = None
    what: str = ""


class DueStated(Struct, frozen=True, kw_only=True):
    """A look that is owed."""

    set_id: str = ""
    due_at: datetime | None = None


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
    visits_stating_none: int = 0
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
    zone: str = "UTC"
    region: str = ""
    service_on: date | None = None
    month: str | None = None
    target: str | None = None
    visits: list[Any] = []
    checks: list[CheckStated] = []
    trap_nights: str | None = None
    catches: list[AnimalsStated] = []
    other_animals: list[AnimalsStated] = []
    mounds_cleared: int | None = None
    turf_figures: dict[str, Any] = {}
    repairs: list[RepairStated] = []
    treatments_none: bool = False
    treatments_said: str = ""
    treatments: list[TreatmentStated] = []
    told: list[ToldStated] = []
    next_due: list[DueStated] = []
    notice: str = ""
    pesticide_free_by_us: ClaimStated | None = None
    pesticide_known_at_property: ClaimStated | None = None
    statement: str = ""
    cautions: list[CautionStated] = []


class ToldToStated(Struct, frozen=True, kw_only=True):
    """Who was told, and how."""

    told_id: str = ""
    who: str = ""
    how: str = ""


class PartyStated(Struct, frozen=True, kw_only=True):
    """The persons beside a record; what was erased is missing."""

    addresses: list[str] = []
    customer_note: str | None = None
    worker_names: list[str] = []
    customer_name: str | None = None
    told: list[ToldToStated] = []
