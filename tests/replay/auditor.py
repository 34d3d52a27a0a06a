"""An auditor: works a deadline out again from the data of its why, with another library for local time."""

from datetime import datetime, timedelta
from typing import Any

from whenever import Date, Instant, Time

Rule = dict[str, Any]


def instant(text: str) -> datetime:
    """As the contract writes it."""
    return datetime.fromisoformat(text)


def first_of_day(day: Date, zone: str, clock: Time = Time(0)) -> datetime:  # noqa: B008 - a value
    """The first instant at which the clock shows that time on a day, or has jumped over it."""
    wall = day.at(clock)
    found = wall.assume_tz(zone, disambiguation="earlier")
    if found.to_plain() == wall:
        return instant(str(found.to_instant()))
    # `earlier` reads a skipped time by the offset after the gap; on to its far side
    step = found.to_instant()
    while step.to_tz(zone).to_plain() < wall:
        step = step.add(minutes=1)
    return instant(str(step))


def nth_day_after(at: datetime, zone: str, days: int) -> Date:
    """The day on which that many further days have begun, those that do not exist left out."""
    day = Instant(at.isoformat()).to_tz(zone).date()
    if first_of_day(following(day, zone), zone) <= at:
        day = following(day, zone)
    for _ in range(days):
        day = following(day, zone)
    return day


def following(day: Date, zone: str) -> Date:
    """The next date that has an instant."""
    day = day.add(days=1)
    while Instant(first_of_day(day, zone).isoformat()).to_tz(zone).date() != day:
        day = day.add(days=1)
    return day


def due_of(  # noqa: PLR0911 - one for each kind
    rule: Rule, why: dict[str, Any]
) -> datetime:
    """The instant that a rule gives, from its inputs."""
    inputs, zone, started_at = rule["inputs"], why["zone"], instant(why["started_at"])
    match rule["kind"]:
        case "calendar_day" | "local_day_end":
            return first_of_day(nth_day_after(started_at, zone, inputs["days"] + 1), zone)
        case "elapsed":
            return started_at + timedelta(hours=inputs["hours"])
        case "latest_hour":
            return first_of_day(nth_day_after(started_at, zone, 1), zone, Time(inputs["hour"]))
        case "after_sunrise" if inputs["sunrise_at"] is None:
            return first_of_day(nth_day_after(started_at, zone, 2), zone)
        case "after_sunrise":
            return instant(inputs["sunrise_at"]) + timedelta(hours=inputs["hours"])
        case "since_word":
            return instant(inputs.get("sunrise_at") or inputs["word_at"]) + timedelta(hours=inputs["hours"])
        case "lawn":
            return instant(inputs["earliest_at"]) + timedelta(hours=inputs["hours"])
    raise AssertionError(rule["kind"])


def faults(deadline: dict[str, Any]) -> list[str]:
    """What an auditor would object to in a deadline as the API shows it; nothing, where all is right."""
    why = deadline["why"]
    computed = [one for one in why["rules"] if one.get("due_at")]
    found = [
        f"{one['rule_name']}: {one['due_at']}"
        for one in computed
        if due_of(one, why) != instant(one["due_at"])
    ]
    earliest = min(instant(one["due_at"]) for one in computed)
    winner = next(one for one in computed if one["rule_name"] == why["winner"])
    if not earliest == instant(deadline["due_at"]) == instant(winner["due_at"]):
        found.append("due_at is not the earliest")
    if deadline["state"] in ("met", "late"):
        met_at = instant(deadline["met_at"])
        days_end = ("calendar_day", "local_day_end")
        in_time = all(
            met_at < instant(one["due_at"])
            or (
                met_at == instant(one["due_at"])
                and one["kind"] not in days_end
                and "fallback" not in one["inputs"]
            )
            for one in computed
        )
        if in_time != (deadline["state"] == "met"):
            found.append("the state is wrong")
    return found
