"""A class of methods, why it does or does not break the claim, and a method that the business classes itself."""

from datetime import date
from typing import Annotated, Literal
from uuid import UUID

from msgspec import Meta, Struct

from service.kernel.values import Instant, Line

ClassGiven = Literal[
    "mechanical_trap",
    "live_capture",
    "hand_removal",
    "exclusion",
    "minimum_risk_pesticide",
    "registered_pesticide",
    "device_without_substance",
]
ClassName = Literal[ClassGiven, "unclassified"]
Ground = Annotated[Line, Meta(min_length=10, description="a sentence with the citation that it rests on")]


class MethodClass(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One class of the register; `said` is how a sentence names it, `methods` what belongs to it.

    A class of a higher `strictness` is the stricter one; `flag` warns where texts differ.
    """

    name: ClassName
    said: str
    breaks_claim: bool
    strictness: int
    ground: str
    citation: list[str]
    flag: str | None = None
    methods: list[str]


class Register(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The register as it comes with the package, when its texts were read, and what no claim says.

    Without `text_as_of` the copies that were read carry no common date.
    """

    verified_on: date
    text_as_of: str | None = None
    notice: str
    classes: list[MethodClass]


class NewMethod(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A method of the business, its class, and the ground for that with its citation.

    It may class what is not on the register, and class more strictly what is; never laxer.
    """

    name: Line
    method_class: ClassGiven
    ground: Ground


class Method(NewMethod, frozen=True, kw_only=True):
    """A method of the business as kept."""

    id: UUID
    version: int
    received_at: Instant


class Classed(Struct, frozen=True, kw_only=True):
    """What the register says of one method: its class, and the ground, the business's own where it classed it."""

    of: MethodClass
    ground: str


class ClassShown(Struct, frozen=True, kw_only=True):
    """A class of methods, with its ground."""

    name: ClassName
    said: str
    breaks_claim: bool
    ground: str
    citation: list[str]
    flag: str | None


class MethodShown(Struct, frozen=True, kw_only=True):
    """A method as it counts for the business; `id` where the business classed it itself."""

    name: str
    origin: Literal["shipped", "own"]
    id: UUID | None
    method_class: ClassName
    breaks_claim: bool
    ground: str


class RegisterShown(Struct, frozen=True, kw_only=True, tag="method_register", tag_field="noun"):
    """The register that holds for the business: classes, methods by name, what no claim says."""

    verified_on: date
    text_as_of: str | None
    notice: str
    classes: list[ClassShown]
    methods: list[MethodShown]
