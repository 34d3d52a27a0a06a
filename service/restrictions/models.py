"""A restriction: what is not permitted or protected where, by which text."""

from typing import Literal

from msgspec import Struct

from service.kernel.values import Mechanism


class Restriction(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Mechanisms or species in a region, or in some of its counties.

    Species are given as binomials or genera. With both mechanisms and species, both must fit. `state` is law,
    or caution where the text is second-hand or leaves room. `text_as_of` is the date of the copy that was read
    on `verified_on`, null where the copy names none;
    none was checked against a live official page, and none of it is legal advice.
    """

    region: str
    counties: list[str] = []
    mechanisms: list[Mechanism] = []
    species: list[str] = []
    state: Literal["law", "caution"]
    sentence: str
    authority: str
    citation: str
    text_as_of: str | None
    verified_on: str
