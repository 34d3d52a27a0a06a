"""Which restrictions fit a place, a mechanism and an animal. Pure."""

from collections.abc import Iterator
from functools import cache
from importlib import resources

import msgspec

from service.restrictions.models import Restriction


@cache
def register() -> list[Restriction]:
    """All restrictions that are shipped, as read from their dated file."""
    text = resources.files(__package__).joinpath("restrictions.json").read_bytes()
    return msgspec.json.decode(text, type=list[Restriction])


def restrictions(
    region: str | None, county: str | None, mechanism: str | None, species: str | None
) -> Iterator[Restriction]:
    """Those that fit: a mechanism or a species that is None fits only what does not ask for one."""
    for one in register():
        here = region == one.region or (region or "").startswith(f"{one.region}-")
        if not here or (one.counties and (county or "").removesuffix(" County") not in one.counties):
            continue
        if one.mechanisms and mechanism not in one.mechanisms:
            continue
        if one.species and not any(
            species == name or (species or "").startswith(f"{name} ") for name in one.species
        ):
            continue
        yield one


def sentence(one: Restriction) -> str:
    """What is said of it: whom to ask, by which text, and what comes first."""
    dated = f"text as of {one.text_as_of}" if one.text_as_of else f"read on {one.verified_on}"
    return (
        f"{one.sentence} Ask {one.authority} ({one.citation}, {dated}); "
        "local code and licensed practice come first."
    )
