"""A class of methods, and why it does or does not break the claim."""

from typing import Literal

from msgspec import Struct

ClassName = Literal[
    "mechanical_trap",
    "live_capture",
    "hand_removal",
    "exclusion",
    "minimum_risk_pesticide",
    "registered_pesticide",
    "device_without_substance",
    "unclassified",
]


class MethodClass(Struct, frozen=True, kw_only=True):
    """One class of the register; `said` is how a sentence names it, `methods` what belongs to it."""

    name: ClassName
    said: str
    breaks_claim: bool
    ground: str
    methods: frozenset[str]
