"""When something is due, and whether it was met: the arithmetic that every kind of deadline shares. Pure."""

from datetime import date, datetime
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from service.deadlines.models import Due, Kind, Place, RuleApplied
from service.identity.models import HousePolicy
from service.kernel.days import end_of_days

# Met at the very instant too; for every other kind that instant is the first one too late.
_INCLUSIVE = ("elapsed", "latest_hour", "after_sunrise", "since_word", "lawn")
_WEIGHT = {"law": 0, "caution": 1, "practice": 2}


def deadline_id(business_id: UUID, kind: Kind, subject_id: UUID, starting_fact_id: UUID) -> UUID:
    """UUIDv5 of `kind/subject id/starting fact id`, the business being the namespace."""
    return uuid5(business_id, f"{kind}/{subject_id}/{starting_fact_id}")


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


def day_end_due(started_at: datetime, place: Place, days: int, rule: str, rule_name: str) -> Due:
    """Due at the start of local day D+days+1, D being the local date of `started_at`; `rule` in words."""
    applied = RuleApplied(
        rule=rule,
        rule_name=rule_name,
        kind="local_day_end",
        state="practice",
        inputs={"days": days},
        due_at=end_of_days(started_at, ZoneInfo(place.zone), days),
    )
    return earliest([applied])


def earliest(rules: list[RuleApplied]) -> Due:
    """The minimum over the rules that compute an instant, of which there must be one; law wins a tie."""
    due_at, _, winner = min(
        (one.due_at, _WEIGHT[one.state], one.rule_name) for one in rules if one.due_at is not None
    )
    return Due(due_at=due_at, rules=rules, winner=winner)


def is_met(at: datetime, due: Due) -> bool:
    """Whether an act at `at` satisfies every rule that computes an instant.

    Hours take the instant itself; days, and what fell back to one where no sunrise is known, want it before.
    """
    return all(
        at < one.due_at or (at == one.due_at and one.kind in _INCLUSIVE and "fallback" not in one.inputs)
        for one in due.rules
        if one.due_at is not None
    )
