"""What packs do not permit or protect where something was done, and the sentence of it: pure."""

from collections.abc import Iterable, Iterator
from datetime import date

from msgspec import Struct

from service.packs.models import Exemption, NewPack, NotPermitted, PackState, PermittedOnly, Protected, Rule
from service.packs.rules import aged, in_force, is_of

NOTICE = "Local codes and licensed practice come first."
_NOT_PERMITTED: dict[PackState, str] = {
    "law": "Not permitted here by law",
    "caution": "May not be permitted here",
    "practice": "Not done here by the practice of the trade",
}
_PROTECTED: dict[PackState, str] = {
    "law": "Protected here by law",
    "caution": "May be protected here",
    "practice": "Spared here by the practice of the trade",
}


class Done(Struct, frozen=True):
    """What was done: by which mechanism, to which animal, on which local date, under a permit or not."""

    mechanism: str | None
    species: str | None
    day: date
    under_permit: bool


def spoken_against(packs: Iterable[NewPack], done: Done) -> Iterator[tuple[NewPack, Rule]]:
    """The rules of packs in force on that day that do not permit what was done, or protect the animal.

    A mechanism or an animal that is not known fits only what does not ask for one.
    """
    for pack in packs:
        if not in_force(pack, done.day):
            continue
        exempt = [one for one in pack.rules if isinstance(one, Exemption) and _covers(one, done)]
        for rule in pack.rules:
            if _is_against(rule, done) and not any(not one.of or rule.id in one.of for one in exempt):
                yield pack, rule


def _is_against(rule: Rule, done: Done) -> bool:
    match rule:
        case NotPermitted() | Protected():
            return _covers(rule, done)
        case PermittedOnly():
            off_the_list = done.mechanism is not None and done.mechanism not in rule.mechanisms
            return off_the_list and _is_of_animal(rule, done)
        case _:
            return False


def _covers(rule: Rule, done: Done) -> bool:
    return (not rule.mechanisms or done.mechanism in rule.mechanisms) and _is_of_animal(rule, done)


def _is_of_animal(rule: Rule, done: Done) -> bool:
    if rule.under_permit and not done.under_permit:
        return False
    return not rule.species or is_of(done.species or "", rule.species)


def code(rule: Rule) -> str:
    """What the warning is called."""
    return "protected_here" if isinstance(rule, Protected) else "not_permitted_here"


def sentence(pack: NewPack, rule: Rule) -> str:
    """What is said of it: how sure it is, whom to ask, by which text and how old, and what comes first."""
    begin = (_PROTECTED if isinstance(rule, Protected) else _NOT_PERMITTED)[pack.state]
    age = aged(pack.citation, pack.text_as_of, pack.verified_on, pack.reviewed_by)
    return f"{begin}: {rule.sentence.removesuffix('.')}. Ask {pack.authority}. {age} {NOTICE}"
