"""Which cautions are called up by a mechanism, an animal, the hazards of a property and what was found. Pure."""

from collections.abc import Iterable, Iterator
from functools import cache, lru_cache
from importlib import resources

import msgspec

from service.cautions.models import Advice, CautionLine, Met, Register

FILE = "cautions.json"


@cache
def register() -> Register:
    """All cautions that are shipped, as read from their dated file."""
    text = resources.files(__package__).joinpath(FILE).read_bytes()
    return msgspec.json.decode(text, type=Register)


@lru_cache(maxsize=4096)
def cautions_for(met: Met) -> tuple[CautionLine, ...]:
    """The cautions that one set or place calls up, in the order of the data file.

    A page of sets meets few kinds of them, so what was worked out once is kept.
    """
    return tuple(_called_up(met))


def merged(lists: Iterable[Iterable[CautionLine]]) -> list[CautionLine]:
    """The cautions of several sets and their place, each said once with all that called it up."""
    causes: dict[str, list[str]] = {}
    for one in (line for lines in lists for line in lines):
        known = causes.setdefault(one.code, [])
        known += [cause for cause in one.called_up_by if cause not in known]
    return [
        _line(advice, sorted(causes[advice.code])) for advice in register().cautions if advice.code in causes
    ]


def _called_up(met: Met) -> Iterator[CautionLine]:
    for advice in register().cautions:
        causes = sorted(_causes(advice, met))
        if causes:
            yield _line(advice, causes)


def _causes(advice: Advice, met: Met) -> Iterator[str]:
    """Each trigger of the advice that is met with, in words."""
    if met.mechanism in advice.mechanisms:
        yield f"mechanism {met.mechanism}"
    if met.target is not None and met.target.partition(" ")[0] in advice.genera:
        yield f"animal {met.target}"
    if met.has_set or not advice.needs_set:
        yield from (f"hazard {one}" for one in met.hazards if one in advice.hazards)
    if met.foot_traffic in advice.foot_traffic:
        yield f"foot traffic {met.foot_traffic}"
    if advice.deeper_than_mm is not None and (met.depth_mm or 0) > advice.deeper_than_mm:
        yield f"depth {met.depth_mm} mm"
    found = {
        "set": met.has_set,
        "cover_on_turf": met.cover_on_turf,
        "undermined_paving": met.undermined_paving,
        "dead_animal": met.dead_animal,
    }
    yield from (one.replace("_", " ") for one in advice.circumstances if found[one])


def _line(advice: Advice, causes: list[str]) -> CautionLine:
    return CautionLine(
        code=advice.code, to=advice.to, sentence=advice.sentence, source=advice.source, called_up_by=causes
    )
