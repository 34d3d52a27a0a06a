"""A caution: what is to be heeded where a trap stands or work is done, whose word it is, what called it up."""

from typing import Annotated, Literal

from msgspec import Meta, Struct

from service.kernel.values import FootTraffic, Hazard, LocalDate, Mechanism

# set: wherever a set may stand; cover_on_turf: a board or bucket over it lies on turf
Circumstance = Literal["set", "cover_on_turf", "undermined_paving", "dead_animal"]
To = Literal["worker", "customer", "everyone"]
Code = Annotated[str, Meta(pattern=r"^[a-z]+(_[a-z]+)*$", max_length=64)]
Sentence = Annotated[str, Meta(pattern=r"^[A-Z].*\.$", max_length=200)]
Source = Annotated[str, Meta(min_length=1, max_length=200, description="a citation, or common practice")]
Genus = Annotated[str, Meta(pattern=r"^[A-Z][a-z]+$", max_length=50)]


class Advice(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One caution of the data file, and what calls it up: any one of its triggers is enough.

    With `needs_set` a hazard calls it up only where a set may stand; the others hold for the place itself.
    `deeper_than_mm` is the depth of a set, exclusive.
    """

    code: Code
    to: To
    sentence: Sentence
    source: Source
    needs_set: bool = True
    mechanisms: list[Mechanism] = []
    genera: list[Genus] = []
    hazards: list[Hazard] = []
    foot_traffic: list[FootTraffic] = []
    deeper_than_mm: int | None = None
    circumstances: list[Circumstance] = []


class Register(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The data file: cautions in the order in which they are said, and when their sources were read."""

    verified_on: LocalDate
    cautions: list[Advice]


class Met(Struct, frozen=True, kw_only=True):
    """What is met with at one set, or at a place without one (`has_set` false).

    `target` is a binomial; `depth_mm` is that of the set. It can be hashed: lists of hazards come as tuples.
    """

    has_set: bool = True
    mechanism: Mechanism | None = None
    target: str | None = None
    hazards: tuple[Hazard, ...] = ()
    foot_traffic: FootTraffic | None = None
    depth_mm: int | None = None
    cover_on_turf: bool = False
    undermined_paving: bool = False
    dead_animal: bool = False


class CautionLine(Struct, frozen=True, kw_only=True):
    """A caution with its source and what called it up; `to` says whom it is for.

    Local codes and licensed practice come first.
    """

    code: Code
    to: To
    sentence: Sentence
    source: Source
    called_up_by: list[str]
