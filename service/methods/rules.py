"""The class of a method: by the register that comes with the package, and what the business classed itself. Pure.

Read in published copies of the law; not legal advice. Local codes and licensed practice come first.
"""

import unicodedata
from collections.abc import Iterable, Sequence
from functools import cache
from importlib import resources
from typing import get_args

import msgspec

from service.kernel.errors import Fault
from service.kernel.values import Mechanism
from service.methods.models import (
    Classed,
    ClassName,
    ClassShown,
    Method,
    MethodClass,
    MethodShown,
    NewMethod,
    Register,
    RegisterShown,
)

UNCLASSIFIED = MethodClass(
    name="unclassified",
    said="not on the method register",
    breaks_claim=True,
    strictness=4,
    ground="Taken for a pesticide until it is classed with a ground",
    citation=[],
    methods=[],
)


REGISTERED = (
    "It was stated with a registration number: a pesticide bears one (40 CFR 156.10(e)), a device needs none (40 CFR"
    " 152.500(b))"
)


def shipped_file() -> bytes:
    """The register that comes with the package, byte for byte."""
    return resources.files(__package__).joinpath("register.json").read_bytes()


@cache
def shipped() -> Register:
    """The register that comes with the package."""
    return msgspec.json.decode(shipped_file(), type=Register)


@cache
def _classes() -> dict[ClassName, MethodClass]:
    return {one.name: one for one in (*shipped().classes, UNCLASSIFIED)}


@cache
def _class_of() -> dict[str, MethodClass]:
    return {method: one for one in shipped().classes for method in one.methods}


def key_of(method: str) -> str:
    """One form of a method's name for all that people write: letters and figures of any script, parted by `_`."""
    folded = unicodedata.normalize("NFKC", method).casefold()
    kept = (one if unicodedata.category(one)[0] in "LMN" else " " for one in folded)
    return "_".join("".join(kept).split())


def said_of(name: ClassName) -> str:
    """How a sentence names a class."""
    return _classes()[name].said


def class_of(method: str, own: Iterable[NewMethod] = ()) -> Classed:
    """The class of a method as people write it, and the ground; what nobody classed breaks the claim.

    The business's own class holds where the shipped one is not stricter: so it never makes a claim easier.
    """
    key = key_of(method)
    known = _class_of().get(key)
    for one in own:
        stated = _classes()[one.method_class]
        if key_of(one.name) == key and (known is None or stated.strictness >= known.strictness):
            return Classed(of=stated, ground=one.ground)
    known = known or UNCLASSIFIED
    return Classed(of=known, ground=known.ground)


def registered() -> Classed:
    """The class of what was stated with a registration number, for a method that would break no claim by its name.

    Any number counts. That of an establishment (40 CFR part 167) stands on pesticides and devices alike: it is no
    registration, and whoever states it as one is taken at their word, the stricter way.
    """
    return Classed(of=_classes()["registered_pesticide"], ground=REGISTERED)


def faults_of_method(new: NewMethod, others: Sequence[NewMethod]) -> list[Fault]:
    """What keeps a method of the business from standing beside the register and its other methods."""
    key = key_of(new.name)
    if not key:
        return [Fault("Give the method a name with a letter or a figure in it.", "#/name", "no_name")]
    if any(key_of(one.name) == key for one in others):
        said = f"Another method of yours is {key.replace('_', ' ')!r} already; amend that one."
        return [Fault(said, "#/name", "classed_twice")]
    if key in get_args(Mechanism):
        said = f"{key.replace('_', ' ').capitalize()} is a mechanism of sets, and a trap; it keeps its class."
        return [Fault(said, "#/name", "mechanism")]
    known = _class_of().get(key)
    if known is not None and _classes()[new.method_class].strictness < known.strictness:
        said = (
            f"The register has {key.replace('_', ' ')!r} as {known.said} ({known.ground}); "
            "you may class it more strictly, never laxer."
        )
        return [Fault(said, "#/method_class", "laxer")]
    return []


def register_of(own: Sequence[Method]) -> RegisterShown:
    """The register that holds for a business with these methods of its own."""
    by_key = {key_of(one.name): one for one in own}
    shown = [_shown(one.name, one, own) for one in own]
    shown += [_shown(method, None, own) for method in _class_of() if method not in by_key]
    return RegisterShown(
        verified_on=shipped().verified_on,
        text_as_of=shipped().text_as_of,
        notice=shipped().notice,
        classes=[
            ClassShown(
                name=one.name,
                said=one.said,
                breaks_claim=one.breaks_claim,
                ground=one.ground,
                citation=one.citation,
                flag=one.flag,
            )
            for one in _classes().values()
        ],
        methods=sorted(shown, key=lambda one: key_of(one.name)),
    )


def _shown(name: str, stated: Method | None, own: Sequence[Method]) -> MethodShown:
    known = class_of(name, own)
    return MethodShown(
        name=name,
        origin="shipped" if stated is None else "own",
        id=None if stated is None else stated.id,
        method_class=known.of.name,
        breaks_claim=known.of.breaks_claim,
        ground=known.ground,
    )
