"""When something is due, whether it was met and why, and what the clock says of it: pure arithmetic."""

from datetime import UTC, date, datetime, time, timedelta
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from service.deadlines.models import (
    Due,
    Kind,
    Place,
    RuleApplied,
    RuleKind,
    Why,
)
from service.identity.models import HousePolicy
from service.kernel.days import end_of_days, first_instant, local_date, next_day

NOTICE = "Local codes and licensed practice come first."
# Met at the very instant too; for every other kind that instant is the first one too late.
_INCLUSIVE = ("elapsed", "latest_hour", "lawn")


def deadline_id(business_id: UUID, kind: Kind, subject_id: UUID, starting_fact_id: UUID) -> UUID:
    """UUIDv5 of `kind/subject id/starting fact id`, the business being the namespace."""
    return uuid5(business_id, f"{kind}/{subject_id}/{starting_fact_id}")


def check_due(started_at: datetime, place: Place) -> Due | None:
    """When the next look at a set is due, by the house policy in force on the local date of `started_at`.

    None where no policy is in force then, or it has no part switched on.
    """
    zone = ZoneInfo(place.zone)
    day = local_date(started_at, zone)
    policy = policy_in_force(place.house_policies, day)
    if policy is None:
        return None
    rules = _applied(policy, started_at.astimezone(UTC), zone)
    return earliest(rules) if rules else None


def policy_in_force(policies: list[HousePolicy], day: date) -> HousePolicy | None:
    """The policy that holds on a local date: of those begun and not ended the one begun last, or None."""
    holding = [
        one
        for one in policies
        if (one.effective_from is None or one.effective_from <= day)
        and (one.effective_until is None or day < one.effective_until)
    ]
    # max takes the first of equals: of two that begin together the one listed later is in force
    return max(reversed(holding), key=lambda one: one.effective_from or date.min, default=None)


def day_end_due(started_at: datetime, place: Place, days: int, rule: str, rule_id: str) -> Due:
    """Due at the start of local day D+days+1, D being the local date of `started_at`; `rule` in words."""
    applied = RuleApplied(
        rule=rule,
        rule_id=rule_id,
        kind="local_day_end",
        state="practice",
        inputs={"days": days},
        due_at=end_of_days(started_at, ZoneInfo(place.zone), days),
    )
    return earliest([applied])


def earliest(rules: list[RuleApplied]) -> Due:
    """The minimum over the rules that compute an instant, of which there must be one."""
    due_at, winner = min((one.due_at, one.rule) for one in rules if one.due_at is not None)
    return Due(due_at=due_at, rules=rules, winner=winner)


def _applied(policy: HousePolicy, at: datetime, zone: ZoneInfo) -> list[RuleApplied]:
    """Each part of a policy that is switched on, with its instant; `at` is in UTC, so hours are elapsed."""
    begins = None if policy.effective_from is None else policy.effective_from.isoformat()

    def part(kind: RuleKind, words: str, value: int, due_at: datetime) -> RuleApplied:
        return RuleApplied(
            rule=f"{policy.name}: {words}",
            rule_id=f"house_policy/{kind}",
            kind=kind,
            state="practice",
            inputs={kind: value, "effective_from": begins},
            due_at=due_at,
        )

    rules = []
    if (days := policy.calendar_days) is not None:
        every = "every local calendar day" if days == 1 else f"one of every {days} local calendar days"
        rules.append(part("calendar_day", f"one look on {every}", days, end_of_days(at, zone, days)))
    if (hour := policy.latest_hour) is not None:
        due_at = first_instant(next_day(local_date(at, zone), zone), time(hour), zone)
        rules.append(part("latest_hour", f"a look on the next day by {hour:02}:00", hour, due_at))
    if (hours := policy.elapsed_hours) is not None:
        rules.append(part("elapsed", f"a look within {hours} hours", hours, at + timedelta(hours=hours)))
    return rules


def is_met(at: datetime, due: Due) -> bool:
    """Whether an act at `at` satisfies every rule that computes an instant.

    Elapsed hours and the latest hour take the instant itself; days want it before.
    """
    return all(
        at < one.due_at or (at == one.due_at and one.kind in _INCLUSIVE)
        for one in due.rules
        if one.due_at is not None
    )


def explain(
    started_by: str,
    started_at: datetime,
    due: Due,
    place: Place,
    *,
    task: str = "Look",
    met_at: datetime | None = None,
) -> Why:
    """How the due instant came about: data, and one sentence for the person who has to go there.

    `task` is what is due ("Look", "Clear", "Search"); `started_by` what began it ("placed", "last look").
    Attempts at the property from the start until `met_at`, or so far, are named: a locked gate meets nothing.
    """
    zone = ZoneInfo(place.zone)
    attempts = [
        one
        for one in place.attempts
        if started_at <= one.arrived_at and (met_at is None or one.arrived_at < met_at)
    ]
    said = [f"{started_by} {_clock(started_at, zone)}", due.winner]
    for one in due.rules:
        if one.due_at is None:
            said.append(f"{one.rule}, which sets no instant")
        elif one.rule != due.winner:
            said.append(f"{one.rule}, by {_clock(one.due_at, zone)}")
    said += [f"no access {_clock(one.arrived_at, zone)}, which meets nothing" for one in attempts]
    return Why(
        started_by=started_by,
        started_at=started_at,
        zone=place.zone,
        rules=due.rules,
        winner=due.winner,
        sentence=f"{task} by {_clock(due.due_at, zone, year=True)} ({place.zone}): {'; '.join(said)}.",
        notice=NOTICE,
        attempts=attempts,
    )


def _clock(at: datetime, zone: ZoneInfo, *, year: bool = False) -> str:
    """Local weekday, date and minute: Mon 2 Mar 09:00."""
    local = at.astimezone(zone)
    return f"{local:%a} {local.day} {local:{'%b %Y' if year else '%b'} %H:%M}"
