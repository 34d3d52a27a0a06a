"""How a due instant is explained: data for the auditor, one sentence for the person who has to go there. Pure."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from service.deadlines.models import Contact, Due, Place, RuleApplied, Why
from service.packs.rules import aged

NOTICE = "Local codes and licensed practice come first."
# a monitor may call every hour: the data keep those that count, the latest ones
MOST_CONTACTS = 10


def explain(
    started_by: str,
    started_at: datetime,
    due: Due,
    place: Place,
    *,
    task: str = "Look",
    met_at: datetime | None = None,
    contacts: Sequence[Contact] = (),
) -> Why:
    """How the due instant came about.

    `task` is what is due ("Look", "Clear", "Search"); `started_by` what began it ("placed", "last look").
    Attempts at the property from the start until `met_at`, or so far, are named: a locked gate meets nothing.
    So are looks of people whom a rule does not accept.
    """
    zone = ZoneInfo(place.zone)
    attempts = [
        one
        for one in place.attempts
        if started_at <= one.arrived_at and (met_at is None or one.arrived_at < met_at)
    ]
    uncounted = [one for one in contacts if not one.words]
    said = [f"{started_by} {_clock(started_at, zone)}"]
    said += _rules_said(due, zone, is_somebody_uncounted=bool(uncounted))
    said += [f"look by the {one.by} {_clock(one.at, zone)}, which does not count" for one in uncounted]
    said += [f"no access {_clock(one.arrived_at, zone)}, which meets nothing" for one in attempts]
    return Why(
        started_by=started_by,
        started_at=started_at,
        zone=place.zone,
        rules=due.rules,
        winner=due.winner,
        sentence=f"{task} by {_clock(due.due_at, zone, year=True)} ({place.zone}): {'; '.join(said)}.",
        notice=notice(due.rules, place, is_look=task == "Look"),
        attempts=attempts,
        contacts=list(contacts)[-MOST_CONTACTS:],
    )


def _rules_said(due: Due, zone: ZoneInfo, *, is_somebody_uncounted: bool) -> Iterator[str]:
    """The winner first, then what else applies, each text named once; what is left out or replaced is in the data."""
    named: set[str | None] = {None}
    for one in sorted(due.rules, key=lambda one: one.rule_name != due.winner):
        is_quiet = one.kind == "who_may_look" and not is_somebody_uncounted
        if one.exempted_by or one.replaced_by or is_quiet:
            continue
        said = _as_taken(one)
        if one.pack is not None:
            said += f" ({one.state})" if one.pack in named else f" ({one.state}, {one.citation})"
            named.add(one.pack)
        if one.rule_name == due.winner or one.kind in ("exemption", "who_may_look"):
            yield said
        elif one.due_at is None:
            yield f"{said}, which sets no instant"
        else:
            yield f"{said}, by {_clock(one.due_at, zone)}"


def _as_taken(one: RuleApplied) -> str:
    fallback = one.inputs.get("fallback")
    return one.rule if fallback is None else f"{one.rule}, taken as {fallback}"


def readings(rules: Sequence[RuleApplied]) -> list[str]:
    """How old the reading of each text is that these rules stand in, each once."""
    read = {one.pack: one for one in rules if one.pack is not None}
    return [
        aged(one.citation or "", one.text_as_of, one.verified_on, one.reviewed_by) for one in read.values()
    ]


def notice(rules: Sequence[RuleApplied], place: Place, *, is_look: bool) -> str:
    """What comes first, how old each reading is, and where no pack speaks of looks there, that too."""
    read = readings(rules)
    said = [NOTICE, *read]
    if is_look and place.region and not read:
        said.append(
            f"No rule pack sets a look in {place.region}: the house policy decides; look up the local code."
        )
    return " ".join(said)


def _clock(at: datetime, zone: ZoneInfo, *, year: bool = False) -> str:
    """Local weekday, date and minute: Mon 2 Mar 09:00."""
    local = at.astimezone(zone)
    return f"{local:%a} {local.day} {local:{'%b %Y' if year else '%b'} %H:%M}"
