"""Which packs hold at a place on a day, and which of their rules cover a set. Pure."""

from collections.abc import Iterable
from datetime import date
from functools import cache, lru_cache
from importlib import resources

import msgspec

from service.kernel.values import is_within
from service.packs.models import NewPack


@cache
def shipped() -> tuple[NewPack, ...]:
    """All packs that come with the package, in order of their names."""
    return tuple(msgspec.json.decode(one, type=NewPack) for one in shipped_files().values())


@cache
def shipped_files() -> dict[str, bytes]:
    """The files of the packs that come with the package, by their names, in order."""
    files = sorted(resources.files(__package__).joinpath("shipped").iterdir(), key=lambda one: one.name)
    return {one.name: one.read_bytes() for one in files if one.name.endswith(".json")}


def covers(pack: NewPack, region: str, county: str | None, locality: str | None) -> bool:
    """Whether a pack holds at a place: its region or a part of it, and one of its sub-areas or places, if it
    names any, and none of the areas that it excepts. "Thurston" and "Thurston County" are the same county. What is
    not known of a place lies in none."""
    if not is_within(region, pack.region):
        return False
    if _is_among(county, pack.except_areas) or _is_among(locality, pack.except_areas):
        return False
    if not pack.sub_areas and not pack.places:
        return True
    return _is_among(county, pack.sub_areas) or _is_among(locality, pack.places)


def _is_among(area: str | None, names: Iterable[str]) -> bool:
    return area is not None and _alike(area) in map(_alike, names)


def _alike(area: str) -> str:
    return area.casefold().strip().removesuffix(" county")


def packs_at(own: Iterable[NewPack], region: str, county: str | None, locality: str | None) -> list[NewPack]:
    """The packs that hold at a place, whatever day it is: those of the package, then the business's own."""
    return [
        *_shipped_at(region, county, locality),
        *(one for one in own if covers(one, region, county, locality)),
    ]


@lru_cache(maxsize=4_096)
def _shipped_at(region: str, county: str | None, locality: str | None) -> tuple[NewPack, ...]:
    return tuple(one for one in shipped() if covers(one, region, county, locality))


def in_force(pack: NewPack, day: date) -> bool:
    """Whether a pack holds on a local date; `effective_until` is exclusive."""
    begun = pack.effective_from is None or pack.effective_from <= day
    return begun and (pack.effective_until is None or day < pack.effective_until)


def is_of(species: str, taxa: Iterable[str]) -> bool:
    """Whether a binomial is one of these taxa, or in one of these genera."""
    return any(species == taxon or species.startswith(f"{taxon} ") for taxon in taxa)


def aged(citation: str, text_as_of: str | None, verified_on: date | None, reviewed_by: str | None) -> str:
    """How old the reading of a text is, and whether anybody has reviewed it; events carry it, so it names nobody."""
    text = f"text as of {text_as_of}" if text_as_of else "a copy without a date"
    reviewed = "reviewed" if reviewed_by else "not reviewed"
    return f"{citation}: {text}, read on {verified_on}, {reviewed}."
