"""What a pack says against itself, or against another pack of the same name: pure."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date
from itertools import combinations
from typing import Any, get_args

from service.kernel.errors import Fault
from service.packs.models import (
    Exemption,
    LookRule,
    NewPack,
    NotPermitted,
    PermittedOnly,
    Protected,
    ReportDue,
    Rule,
    SinceWord,
    WhoMayLook,
)

Scope = tuple[Sequence[str], Sequence[str], bool]
_NOT_FIGURES = {"id", "sentence", "mechanisms", "species", "under_permit", "instead_of"}


def contradictions(new: NewPack, others: Iterable[NewPack] = ()) -> list[Fault]:
    """A fault, with its JSON Pointer, for each thing in a pack that cannot hold beside another.

    `others` are packs that stand beside it: two of one name may not hold on the same day.
    """
    found = [*_of_dates(new), *_of_areas(new), *_of_ids(new)]
    if found:
        return found
    found = [
        Fault(fault.detail, f"#/rules/{place}{fault.pointer}", fault.code)
        for place, rule in enumerate(new.rules)
        for fault in _of_rule(rule, new)
    ]
    found += _of_pairs(new)
    return found or list(_of_names(new, others))


def _of_dates(new: NewPack) -> Iterator[Fault]:
    begins, ends = new.effective_from, new.effective_until
    if begins and ends and ends <= begins:
        detail = f"`effective_until` {ends} must come after `effective_from` {begins}: it is the first day without it."
        yield Fault(detail, "#/effective_until", "until_before_from")
    as_of = new.text_as_of
    if as_of is not None and len(as_of) == len("2026-11-25") and not _exists(as_of):
        yield Fault(f"`text_as_of` {as_of} is no day that exists.", "#/text_as_of", "not_a_date")
    elif as_of is not None and as_of > new.verified_on.isoformat()[: len(as_of)]:
        detail = f"A text as of {as_of} cannot have been read on {new.verified_on}; mend one of the two."
        yield Fault(detail, "#/text_as_of", "read_before_text")


def _exists(day: str) -> bool:
    try:
        date.fromisoformat(day)
    except ValueError:
        return False
    return True


def _of_areas(new: NewPack) -> Iterator[Fault]:
    """An empty name would hold where the county is empty too; a doubled one is a slip."""
    for member in ("sub_areas", "places", "except_areas"):
        known: set[str] = set()
        for place, name in enumerate(getattr(new, member)):
            alike = name.casefold().strip().removesuffix(" county")
            if not alike:
                detail = f"A name in `{member}` is empty; name the area or take it out."
                yield Fault(detail, f"#/{member}/{place}", "empty_name")
            elif alike in known:
                yield Fault(
                    f"{name!r} stands twice in `{member}`; give it once.", f"#/{member}/{place}", "doubled"
                )
            known.add(alike)


def _of_ids(new: NewPack) -> Iterator[Fault]:
    known: set[str] = set()
    for place, rule in enumerate(new.rules):
        if rule.id in known:
            detail = f"Two rules have the id {rule.id!r}; give each its own."
            yield Fault(detail, f"#/rules/{place}/id", "doubled_id")
        known.add(rule.id)


def _of_rule(rule: Rule, new: NewPack) -> Iterator[Fault]:
    """What a rule says against itself, or against the rules that it names."""
    match rule:
        case Exemption():
            yield from _of_exemption(rule, new)
        case SinceWord():
            yield from _of_word(rule, new)
        case ReportDue():
            yield from _of_report(rule)
        case PermittedOnly(mechanisms=[]):
            yield Fault("A list of what is permitted must name a mechanism.", "/mechanisms", "names_nothing")
        case Protected(species=[]):
            yield Fault("Name the animals that are protected.", "/species", "names_nothing")
        case Protected(mechanisms=[_, *_]):
            detail = (
                "What is protected is so however it is taken; leave `mechanisms` out, or write not_permitted."
            )
            yield Fault(detail, "/mechanisms", "of_no_effect")
        case _:
            pass


def _of_exemption(rule: Exemption, new: NewPack) -> Iterator[Fault]:
    yield from _unknown(rule.of, "of", new, lambda one: not isinstance(one, Exemption), "no exemption")
    for other in new.rules:
        if isinstance(other, Exemption) or (rule.of and other.id not in rule.of):
            continue
        if _holds(_scope(rule), _scope(other)):
            detail = f"The exemption {rule.id!r} leaves out all that {other.id!r} covers, which would never apply; "
            yield Fault(f"{detail}confine it, or take one of the two out.", "", "exempts_everything")


def _of_word(rule: SinceWord, new: NewPack) -> Iterator[Fault]:
    yield from _unknown(
        rule.instead_of, "instead_of", new, lambda one: _is_look(one) and one is not rule, "a look"
    )
    if rule.from_sunrise and rule.part_of_day == "day":
        detail = (
            "By day the sun has risen already; leave `from_sunrise` out, or let the rule speak of the night."
        )
        yield Fault(detail, "/from_sunrise", "sun_has_risen")


def _unknown(
    ids: Sequence[str], member: str, new: NewPack, is_fit: Callable[[Rule], bool], kind: str
) -> Iterator[Fault]:
    """Ids that name no other rule of this pack of the kind that is asked for."""
    fit = {one.id for one in new.rules if is_fit(one)}
    for place, id_ in enumerate(ids):
        if id_ not in fit:
            detail = f"`{member}` names {id_!r}; name another rule of this pack that is {kind}."
            yield Fault(detail, f"/{member}/{place}", "unknown_rule")


def _of_report(rule: ReportDue) -> Iterator[Fault]:
    ends: set[str] = set()
    for place, period in enumerate(rule.periods):
        if period.ends in ends:
            detail = f"Two periods end on {period.ends}; give each its own end."
            yield Fault(detail, f"/periods/{place}/ends", "doubled")
        ends.add(period.ends)


def _of_pairs(new: NewPack) -> Iterator[Fault]:
    """Two rules that cover the same sets, with no exemption between them, and cannot both be meant."""
    for (_, one), (place, other) in combinations(enumerate(new.rules), 2):
        detail = _against(one, other) or _against(other, one)
        shared = None if detail is None else _shared(_scope(one), _scope(other))
        if shared is not None and not _is_parted(one, other, shared, new):
            said = f"{one.id!r} and {other.id!r} cover the same sets and {detail}; "
            mend = "part them by mechanism or species, or exempt the one from the other."
            yield Fault(said + mend, f"#/rules/{place}", "contradiction")


def _against(one: Rule, other: Rule) -> str | None:
    """What speaks against the two together, wherever both hold."""
    if type(one) is type(other) and _is_look(one) and _figures(one) != _figures(other):
        if isinstance(one, SinceWord) and isinstance(other, SinceWord) and not _heard_together(one, other):
            return None
        return "give different figures"
    if (
        isinstance(one, WhoMayLook)
        and isinstance(other, WhoMayLook)
        and not {*one.accepts} & {*other.accepts}
    ):
        return "accept the look of nobody in common"
    if isinstance(one, PermittedOnly) and isinstance(other, NotPermitted):
        both = [each for each in one.mechanisms if each in other.mechanisms]
        return f"{both[0]} is permitted by the one and not by the other" if both else None
    return None


def _heard_together(one: SinceWord, other: SinceWord) -> bool:
    parts = {one.part_of_day, other.part_of_day}
    return one.word == other.word and ("any" in parts or len(parts) == 1)


def _is_look(rule: Rule) -> bool:
    return isinstance(rule, get_args(LookRule))


def _figures(rule: Rule) -> dict[str, Any]:
    return {name: getattr(rule, name) for name in rule.__struct_fields__ if name not in _NOT_FIGURES}


def _is_parted(one: Rule, other: Rule, shared: Scope, new: NewPack) -> bool:
    """Whether an exemption leaves one of the two out of all that both cover."""
    return any(
        isinstance(rule, Exemption)
        and (not rule.of or one.id in rule.of or other.id in rule.of)
        and _holds(_scope(rule), shared)
        for rule in new.rules
    )


def _scope(rule: Rule) -> Scope:
    return rule.mechanisms, rule.species, rule.under_permit


def _holds(outer: Scope, inner: Scope) -> bool:
    """Whether all that `inner` covers is covered by `outer`; a list of none covers all."""
    mechanisms = not outer[0] or (bool(inner[0]) and {*inner[0]} <= {*outer[0]})
    species = not outer[1] or (bool(inner[1]) and all(_is_in(each, {*outer[1]}) for each in inner[1]))
    return mechanisms and species and (inner[2] or not outer[2])


def _shared(one: Scope, other: Scope) -> Scope | None:
    """What both cover; None where there is nothing."""
    mechanisms, species = _both(one[0], other[0]), _both(one[1], other[1])
    return None if mechanisms is None or species is None else (mechanisms, species, one[2] or other[2])


def _both(one: Sequence[str], other: Sequence[str]) -> Sequence[str] | None:
    """What stands in both lists, the narrower of a genus and a species in it; where one is empty, the other."""
    if not one or not other:
        return one or other
    found = [each for each in one if _is_in(each, {*other})]
    return [*found, *(each for each in other if _is_in(each, {*one}) and each not in found)] or None


def _is_in(name: str, names: set[str]) -> bool:
    """Whether a mechanism, a taxon or what holds that taxon is among the names."""
    words = name.split(" ")
    return any(" ".join(words[:most]) in names for most in range(1, len(words) + 1))


def _of_names(new: NewPack, others: Iterable[NewPack]) -> Iterator[Fault]:
    for other in others:
        if other.name != new.name or not _together(new, other):
            continue
        detail = f"Two packs of the name {new.name!r} would hold at once, {_span(new)} and {_span(other)}; "
        yield Fault(
            f"{detail}end the one before the other begins, or name it otherwise.", "#/name", "overlaps"
        )


def _together(one: NewPack, other: NewPack) -> bool:
    """Whether there is a day on which both are in force; the end is exclusive."""
    return (one.effective_from or date.min) < (other.effective_until or date.max) and (
        other.effective_from or date.min
    ) < (one.effective_until or date.max)


def _span(pack: NewPack) -> str:
    begins = f"from {pack.effective_from}" if pack.effective_from else "from the beginning"
    return f"{begins} until {pack.effective_until}" if pack.effective_until else f"{begins} without an end"
