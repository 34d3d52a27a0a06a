"""Which rules ask for the next look at a set, by when, and whose look counts: pure.

They come from the packs that hold at the place on the local date of the starting fact, and from the house
policy of that day, which is a rule like any other.
"""

from collections.abc import Collection, Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, NamedTuple, get_args
from zoneinfo import ZoneInfo

from msgspec.structs import replace

from service.deadlines.heard import Heard, hear
from service.deadlines.models import Contact, Covered, Due, Place, RuleApplied
from service.deadlines.rules import earliest, policy_in_force
from service.deadlines.sun import rises_at
from service.identity.models import HousePolicy
from service.kernel.days import day_of, end_of_days, first_instant, next_day
from service.packs.models import (
    AfterSunrise,
    CalendarDay,
    Elapsed,
    Exemption,
    LatestHour,
    LookedBy,
    LookRule,
    NewPack,
    Qualitative,
    Rule,
    SinceWord,
    WhoMayLook,
)
from service.packs.rules import in_force, is_of, packs_at

Inputs = dict[str, str | int | None]
_OF_PACK = ("authority", "citation", "text_as_of", "verified_on", "reviewed_by")


class Start(NamedTuple):
    """Where and when a look becomes owed: the instant, in UTC, and the property's zone and position."""

    at: datetime
    day: date
    place: Place
    zone: ZoneInfo


def look_due(
    started_at: datetime, place: Place, covered: Covered, contacts: Sequence[Contact] = ()
) -> Due | None:
    """When the next look at a set is due; None where no rule computes an instant.

    `contacts` are the words about it since then, until the look that meets it.
    """
    zone = ZoneInfo(place.zone)
    start = Start(started_at.astimezone(UTC), day_of(started_at, zone), place, zone)
    rules = [
        applied
        for pack in packs_at(place.packs, place.region, place.county, place.locality)
        if in_force(pack, start.day)
        for applied in _of_pack(pack, start, covered, contacts)
    ]
    policy = policy_in_force(place.house_policies, start.day)
    does_law_speak = any(one.state == "law" and one.due_at is not None for one in rules)
    if policy is not None and not (policy.off_where_law_speaks and does_law_speak):
        rules += _of_house(policy, start)
    return earliest(rules) if any(one.due_at is not None for one in rules) else None


def is_accepted(due: Due, looked_by: Collection[LookedBy]) -> bool:
    """Whether every rule that applies accepts who looked."""
    asked = [one for one in due.rules if one.kind == "who_may_look" and one.exempted_by is None]
    return all(set(str(one.inputs["accepts"]).split(", ")) & set(looked_by) for one in asked)


def _of_pack(pack: NewPack, start: Start, covered: Covered, contacts: Sequence[Contact]) -> list[RuleApplied]:
    """What a pack says of the next look: computed, shown, or left out by an exemption of its own."""
    exempt = _exemptions(pack, covered)
    asked = [one for one in pack.rules if _is_of_looks(one) and fits(one, covered)]
    computed = {one.id: _applied(one, pack) for one in exempt}
    heard: list[tuple[SinceWord, Heard]] = []
    for rule in asked:
        by = next((one for one in exempt if not one.of or rule.id in one.of), None)
        if by is not None:
            computed[rule.id] = _applied(rule, pack, exempted_by=f"{pack.name}/{by.id}")
        elif not isinstance(rule, SinceWord):
            computed[rule.id] = _applied(rule, pack, start)
        elif found := hear(rule, contacts, start.zone, start.place.position):
            heard.append((rule, found))
    for rule, found in heard:
        computed = _stand_in(computed, rule, found, pack) | {rule.id: _told(rule, found, pack)}
    return list(computed.values())


def _stand_in(
    computed: dict[str, RuleApplied], rule: SinceWord, found: Heard, pack: NewPack
) -> dict[str, RuleApplied]:
    """The rules with those that a word stands in for no longer computed, if it came while they held."""
    return {
        id_: replace(one, due_at=None, replaced_by=f"{pack.name}/{rule.id}")
        if id_ in rule.instead_of and one.due_at is not None and found.first_at <= one.due_at
        else one
        for id_, one in computed.items()
    }


def _is_of_looks(rule: Rule) -> bool:
    if isinstance(rule, Qualitative):
        return rule.about == "look"
    return isinstance(rule, (*get_args(LookRule), WhoMayLook))


def fits(rule: Rule, covered: Covered) -> bool:
    """Whether a rule may cover a set; what is not known of it speaks for the rule, the stricter way."""
    return (
        (not rule.mechanisms or covered.mechanism is None or covered.mechanism in rule.mechanisms)
        and (not rule.species or not _is_known(covered) or is_of(covered.target or "", rule.species))
        and (not rule.under_permit or covered.under_permit)
    )


def _exemptions(pack: NewPack, covered: Covered) -> list[Exemption]:
    """The exemptions that surely cover a set: what is not known of it exempts it from nothing."""
    is_unsure = {"mechanisms": covered.mechanism is None, "species": not _is_known(covered)}
    return [
        one
        for one in pack.rules
        if isinstance(one, Exemption)
        and fits(one, covered)
        and not any(is_unsure[name] and getattr(one, name) for name in is_unsure)
    ]


def _is_known(covered: Covered) -> bool:
    return covered.target not in (None, "unidentified")


def _of_house(policy: HousePolicy, start: Start) -> list[RuleApplied]:
    """Each part of a house policy that is switched on."""
    parts: list[Rule] = []
    if (days := policy.calendar_days) is not None:
        every = "every local calendar day" if days == 1 else f"one of every {days} local calendar days"
        parts.append(CalendarDay(id="calendar-day", sentence=f"one look on {every}", days=days))
    if (hour := policy.latest_hour) is not None:
        said = f"a look on the next day by {hour:02}:00"
        parts.append(LatestHour(id="latest-hour", sentence=said, hour=hour))
    if (hours := policy.elapsed_hours) is not None:
        parts.append(Elapsed(id="elapsed", sentence=f"a look within {hours} hours", hours=hours))
    applied = [_applied(one, None, start) for one in parts]
    return [
        replace(one, rule=f"{policy.name}: {one.rule}", inputs=one.inputs | _span(policy)) for one in applied
    ]


def _span(policy: HousePolicy) -> Inputs:
    named = {"effective_from": policy.effective_from, "effective_until": policy.effective_until}
    return {name: day.isoformat() for name, day in named.items() if day is not None}


def _applied(
    rule: Rule, pack: NewPack | None, start: Start | None = None, exempted_by: str | None = None
) -> RuleApplied:
    """A rule with what stands behind it; with its instant where it computes one from `start`."""
    due_at, inputs = (None, {}) if start is None else _compute(rule, start)
    if isinstance(rule, WhoMayLook):
        inputs = {"accepts": ", ".join(rule.accepts)}
    text: dict[str, Any] = {} if pack is None else {name: getattr(pack, name) for name in _OF_PACK}
    return RuleApplied(
        rule=rule.sentence.removesuffix("."),
        rule_name=f"{pack.name if pack else 'house_policy'}/{rule.id}",
        kind=rule.__struct_config__.tag,  # type: ignore[arg-type]
        state=pack.state if pack else "practice",
        pack=None if pack is None else pack.name,
        **text,
        inputs=inputs,
        due_at=due_at,
        exempted_by=exempted_by,
    )


def _compute(rule: Rule, start: Start) -> tuple[datetime | None, Inputs]:
    """A rule's own instant, and what it was computed from."""
    match rule:
        case CalendarDay(days=days):
            return end_of_days(start.at, start.zone, days), {"days": days}
        case Elapsed(hours=hours):
            return start.at + timedelta(hours=hours), {"hours": hours}
        case LatestHour(hour=hour):
            tomorrow = next_day(start.day, start.zone)
            return first_instant(tomorrow, time(hour), start.zone), {"hour": hour}
        case AfterSunrise(hours=hours):
            return _after_sunrise(hours, start)
        case _:
            return None, {}


def _after_sunrise(hours: int, start: Start) -> tuple[datetime, Inputs]:
    """Hours after sunrise on the next local day; where there is none to be known, the end of that day."""
    position = start.place.position
    rise = None if position is None else rises_at(next_day(start.day, start.zone), position, start.zone)
    if rise is not None:
        return rise + timedelta(hours=hours), {"hours": hours, "sunrise_at": _written(rise)}
    missing = "the property has no position" if position is None else "the sun does not rise on that day"
    fallback = f"the end of that local calendar day, as {missing}"
    return end_of_days(start.at, start.zone, 1), {"hours": hours, "sunrise_at": None, "fallback": fallback}


def _told(rule: SinceWord, found: Heard, pack: NewPack) -> RuleApplied:
    """A rule that counts from a word."""
    inputs: Inputs = {"word": rule.word, "hours": rule.hours, "word_at": _written(found.word_at)}
    if rule.from_sunrise:
        inputs["sunrise_at"] = None if found.sunrise_at is None else _written(found.sunrise_at)
    return replace(_applied(rule, pack), inputs=inputs, due_at=found.due_at)


def _written(at: datetime) -> str:
    return at.astimezone(UTC).isoformat().replace("+00:00", "Z")
