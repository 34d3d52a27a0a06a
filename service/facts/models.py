"""The body of a visit and its nested facts: seen, set, checked, caught, cleared, put right, told."""

from typing import Annotated, Literal
from uuid import UUID

from msgspec import Meta, Struct, field

from service.kernel.values import (
    Amount,
    AreaM2,
    Count,
    Degrees,
    FootTraffic,
    Ids,
    Instant,
    LengthMm,
    Line,
    LineString,
    MassG,
    Mechanism,
    Name,
    Notes,
    Point,
    Polygon,
    Species,
)

Finding = Literal[
    "undisturbed", "bypassed", "sprung_empty", "catch", "plugged", "disturbed", "not_working", "missing"
]
Action = Literal["left", "reset", "made_safe", "armed", "moved", "pulled", "lost"]
SignKind = Literal[
    "mound", "surface_run", "deep_run", "plugged_hole", "open_hole", "gnawed_plant", "undermined_paving"
]
Freshness = Literal["fresh", "weathered", "unknown"]
Shape = Literal["round", "crescent", "fan", "none"]
Plug = Literal["middle", "side", "none"]
Soil = Literal["clods", "fine"]
AppliedBy = Literal["us", "customer", "other"]
Turf = Literal["sound", "thin", "dead"]
Cover = Literal["board", "bucket", "sheet"]
CoverLeft = Literal["left", "shifted", "lifted_off"]
Fate = Literal["dead_in_trap", "dispatched", "released_here", "escaped", "not_recovered"]
Sex = Literal["female", "male", "unknown"]
AgeClass = Literal["juvenile", "adult", "unknown"]
TrapNo = Annotated[int, Meta(ge=0, le=99)]


class Fact(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """What every nested fact has: an id that the client mints once and that belongs to this visit for ever."""

    id: UUID


class Survey(Fact, frozen=True, kw_only=True):
    """I walked this part; this many fresh signs. With neither feature nor area: the whole property."""

    surveyed_at: Instant
    feature_id: UUID | None = None
    area: Polygon | None = None
    fresh_signs: Count


class Sign(Fact, frozen=True, kw_only=True):
    """What an animal left to be seen."""

    kind: SignKind
    seen_at: Instant
    absent_since: Instant | None = None
    told_by: Line | None = None
    count: Count | None = None
    freshness: Freshness | None = None
    geometry: Point | LineString | None = None
    feature_id: UUID | None = None
    on_turf: bool
    length_mm: LengthMm | None = None
    width_mm: LengthMm | None = None
    height_mm: LengthMm | None = None
    shape: Shape | None = None
    plug: Plug | None = None
    soil: Soil | None = None
    hole_width_mm: LengthMm | None = None
    seen_by_day: bool | None = None
    photo_ids: Ids = field(default_factory=list)


class Tamping(Fact, frozen=True, kw_only=True):
    """A run pressed flat, to see whether it is raised again."""

    sign_id: UUID
    tamped_at: Instant
    geometry: Point | LineString | None = None


class Look(Fact, frozen=True, kw_only=True):
    """A second look at a sign."""

    sign_id: UUID
    looked_at: Instant
    raised_again: bool | None = None
    fresh_soil: bool | None = None
    turf: Turf | None = None
    photo_ids: Ids = field(default_factory=list)


class Trap(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """One trap of a set; `mark` is the number the business wrote on it."""

    no: TrapNo
    direction_deg: Degrees | None = None
    mark: Name | None = None


class Set(Fact, frozen=True, kw_only=True):
    """Traps placed at one spot; a cover that is left on turf smothers it and has a deadline of its own."""

    sign_id: UUID | None = None
    moved_from_set_id: UUID | None = None
    placed_at: Instant
    target: Species | None = None
    position: Point | None = None
    mechanism: Mechanism
    traps: Annotated[list[Trap], Meta(min_length=1, max_length=20)]
    depth_mm: LengthMm | None = None
    light_kept_out: bool | None = None
    trigger_travel_mm: LengthMm | None = None
    flagged: bool | None = None
    foot_traffic: FootTraffic | None = None
    opening_length_mm: LengthMm | None = None
    opening_width_mm: LengthMm | None = None
    opening_on_turf: bool | None = None
    cover: Cover | None = None
    cover_length_mm: LengthMm | None = None
    cover_width_mm: LengthMm | None = None
    cover_on_turf: bool | None = None
    photo_ids: Ids = field(default_factory=list)


class TrapFinding(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What one trap of the set showed."""

    no: TrapNo
    finding: Finding


class CheckCatch(Fact, frozen=True, kw_only=True):
    """An animal found at a check."""

    trap_no: TrapNo | None = None
    species: Species
    sex: Sex | None = None
    age_class: AgeClass | None = None
    mass_g: MassG | None = None
    fate: Fate
    photo_ids: Ids = field(default_factory=list)


class Check(Fact, frozen=True, kw_only=True):
    """A look at a set: what was found, what was done.

    A cover that was shifted lies on other turf from now on; pulled, moved and lost end it too.
    """

    set_id: UUID
    checked_at: Instant
    checked_by: Literal["worker", "customer", "agent", "monitor"] = "worker"
    finding: Finding
    traps: Annotated[list[TrapFinding], Meta(max_length=20)] = field(default_factory=list)
    ground_searched: bool | None = None
    action: Action
    flagged: bool | None = None
    opening_closed: bool | None = None
    cover: CoverLeft | None = None
    catches: Annotated[list[CheckCatch], Meta(max_length=20)] = field(default_factory=list)


class Catch(Fact, frozen=True, kw_only=True):
    """An animal found or taken without a check."""

    caught_at: Instant
    method: Line
    species: Species
    sex: Sex | None = None
    age_class: AgeClass | None = None
    mass_g: MassG | None = None
    fate: Fate
    photo_ids: Ids = field(default_factory=list)


class Clearing(Fact, frozen=True, kw_only=True):
    """Soil taken off the turf; without a count it clears all that the sign counts."""

    sign_id: UUID
    cleared_at: Instant
    count: Count | None = None
    how: Literal["raked", "lifted", "watered_in", "pressed"] | None = None
    cleared_by: Literal["us", "customer", "groundskeeper", "mower"] = "us"


class Repair(Fact, frozen=True, kw_only=True):
    """Turf or ground put right, at a sign or at a set."""

    sign_id: UUID | None = None
    set_id: UUID | None = None
    repaired_at: Instant
    how: Literal["reseeded", "turf_laid", "levelled", "run_pressed"]
    area_m2: AreaM2
    seed_treated: bool | None = None


class Upkeep(Fact, frozen=True, kw_only=True):
    """What the turf got: mowing, water, rolling."""

    kind: Literal["mown", "watered", "rain", "rolled", "aerated"]
    at: Instant
    feature_id: UUID | None = None
    told_by: Line | None = None


Registration = Annotated[
    Line, Meta(description="number under which a pesticide is registered; an establishment's is none")
]


class Treatment(Fact, frozen=True, kw_only=True):
    """A substance or device used on animals or plants there, by anybody."""

    method: Name
    product: Line | None = None
    registration: Registration | None = None
    amount: Amount | None = None
    unit: Line | None = None
    applied_at: Instant
    applied_by: AppliedBy = "us"
    told_by: Line | None = None
    feature_id: UUID | None = None


class Told(Fact, frozen=True, kw_only=True):
    """Who was told what."""

    who: Name
    how: Line
    at: Instant
    what: Literal["traps_standing", "cautions", "next_look"]


Facts = Meta(max_length=500)


class VisitBody(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """All that is stated of one visit; every list may be left out."""

    property_id: UUID
    job_id: UUID | None = None
    worker_id: UUID
    with_worker_ids: Ids = field(default_factory=list)
    appointment_id: UUID | None = None
    arrived_at: Instant
    left_at: Instant | None = None
    outcome: Literal["done", "partly", "no_access"] = "done"
    no_access_reason: Line | None = None
    notes: Notes | None = None
    customer_note: Notes | None = None
    treatments_none: bool = False
    surveys: Annotated[list[Survey], Facts] = field(default_factory=list)
    signs: Annotated[list[Sign], Facts] = field(default_factory=list)
    tampings: Annotated[list[Tamping], Facts] = field(default_factory=list)
    looks: Annotated[list[Look], Facts] = field(default_factory=list)
    sets: Annotated[list[Set], Facts] = field(default_factory=list)
    checks: Annotated[list[Check], Facts] = field(default_factory=list)
    catches: Annotated[list[Catch], Facts] = field(default_factory=list)
    clearings: Annotated[list[Clearing], Facts] = field(default_factory=list)
    repairs: Annotated[list[Repair], Facts] = field(default_factory=list)
    upkeep: Annotated[list[Upkeep], Facts] = field(default_factory=list)
    treatments: Annotated[list[Treatment], Facts] = field(default_factory=list)
    told: Annotated[list[Told], Facts] = field(default_factory=list)


class NewVisit(VisitBody, frozen=True, kw_only=True):
    """The body of PUT /v1/visits/{id}; `id` may be left out there. POST and batch lines carry `id`,
    and `amends` (the ETag replaced) where they amend."""

    id: UUID | None = None
    amends: str | None = None
    amend_reason: Line | None = None
