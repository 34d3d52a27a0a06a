"""Which reports a permit asks for, when they are due and whether they were sent in time. Pure."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from uuid import uuid5
from zoneinfo import ZoneInfo

from msgspec import Struct
from msgspec.structs import replace

from service.deadlines.models import Derived, Place, RuleApplied, State
from service.deadlines.rules import earliest
from service.deadlines.why import explain
from service.kernel.days import local_date, next_day, start_of_day
from service.kernel.errors import Fault
from service.packs.models import NewPack
from service.permits.calendar import ONE_DAY, periods_between
from service.permits.models import Period, PeriodShown, Permit, Reporting, ReportSent
from service.permits.texts import Text, nil_of, texts_of

# Within this time every reporting period that runs now has ended and another one has begun.
AHEAD = timedelta(days=2 * 366)
# It is the next date in some zone already.
EARLIEST_ZONE = timedelta(hours=14)


class Asked(Struct, frozen=True, kw_only=True):
    """One period of one text."""

    text: Text
    period: Period


class Reports(Struct, frozen=True, kw_only=True):
    """The deadlines of a permit's reports, and the instant at which the next period begins, if one does."""

    deadlines: list[Derived]
    next_at: datetime | None


def reports(permit: Reporting, packs: Sequence[NewPack], now: datetime) -> Reports:
    """A deadline for each reporting period of the permit that has begun by `now`.

    What the permit itself says of its periods stands in the place of what packs say. The report of a period is
    due by the end of a local day in the business's zone, also where the permit ends in the middle of it.
    """
    zone = ZoneInfo(permit.zone)
    today = local_date(now, zone)
    texts = list(texts_of(permit, packs))
    begins = [one.pack.effective_from for one in texts if one.pack is not None and one.pack.effective_from]
    asked = _asked(permit, texts, max([today, permit.from_on, *begins]) + AHEAD)
    starts = {last_on: min(_first_day(permit, one) for one in found) for last_on, found in asked.items()}
    later = [first_on for first_on in starts.values() if first_on > today]
    return Reports(
        deadlines=[
            _deadline(permit, last_on, asked[last_on], texts, zone)
            for last_on, first_on in starts.items()
            if first_on <= today
        ],
        next_at=start_of_day(min(later), zone) if later else None,
    )


def periods_of(
    permit: Reporting, packs: Sequence[NewPack], from_on: date, until_on: date
) -> list[PeriodShown]:
    """The permit's reporting periods that share a day with those from `from_on` until `until_on` (exclusive)."""
    shown = [
        PeriodShown(
            first_on=min(_first_day(permit, one) for one in found),
            last_on=_last_day(permit, last_on),
            due_on=min(one.period.due_on for one in found),
            sent_on=_sent_on(permit, last_on),
        )
        for last_on, found in _asked(permit, list(texts_of(permit, packs)), until_on).items()
    ]
    return [one for one in shown if one.first_on < until_on and one.last_on >= from_on]


def is_nil_due(permit: Reporting, packs: Sequence[NewPack], day: date) -> bool | None:
    """Whether a report is due where nothing was taken too, on a local date; None where no text says."""
    return nil_of([one for one in texts_of(permit, packs) if one.holds(day)])


def report_faults(
    before: Sequence[ReportSent], permit: Reporting, packs: Sequence[NewPack], now: datetime
) -> list[Fault]:
    """What is wrong with the reports that are newly stated as sent: sent in the future, or of no period."""
    new = [(place, one) for place, one in enumerate(permit.reports_sent) if one not in before]
    latest = (now + EARLIEST_ZONE).date()
    found = [
        Fault(
            f"A report cannot have been sent on {one.sent_on}, which lies ahead; say so when it is sent.",
            f"#/reports_sent/{place}/sent_on",
            "in_future",
        )
        for place, one in new
        if one.sent_on > latest
    ]
    ahead = max([permit.from_on, *(one.period_ends_on for _, one in new)]) + AHEAD
    asked = _asked(permit, list(texts_of(permit, packs)), ahead)
    ends = {day for last_on in asked for day in (last_on, _last_day(permit, last_on))}
    for place, one in new:
        if ends and one.period_ends_on not in ends:
            near = min(ends, key=lambda day: abs(day - one.period_ends_on))
            detail = f"No reporting period of this permit ends on {one.period_ends_on}; the nearest ends on {near}."
            found.append(Fault(detail, f"#/reports_sent/{place}/period_ends_on", "no_such_period"))
    return found


def _sent_on(permit: Permit, last_on: date) -> date | None:
    """The day on which the report of the period with this last day was first sent."""
    named = {last_on, _last_day(permit, last_on)}
    return min((one.sent_on for one in permit.reports_sent if one.period_ends_on in named), default=None)


def _first_day(permit: Permit, one: Asked) -> date:
    return max(one.period.first_on, permit.from_on)


def _last_day(permit: Permit, last_on: date) -> date:
    return last_on if permit.until_on is None else min(last_on, permit.until_on - ONE_DAY)


def _asked(permit: Permit, texts: Sequence[Text], before: date) -> dict[date, list[Asked]]:
    """What each text asks, by the last day of the period, for all periods of the permit that begin `before`."""
    found: dict[date, list[Asked]] = defaultdict(list)
    end = before if permit.until_on is None else min(before, permit.until_on)
    for text in texts:
        for period in periods_between(text.periods, permit.from_on, end):
            # a rule applies by the local date of the fact that starts its clock
            if text.rule.exempted_by is None and text.holds(_last_day(permit, period.last_on)):
                found[period.last_on].append(Asked(text=text, period=period))
    return dict(sorted(found.items()))


def _deadline(
    permit: Reporting, last_on: date, asked: Sequence[Asked], texts: Sequence[Text], zone: ZoneInfo
) -> Derived:
    """The deadline of one period's report; met by one that was sent by the end of the day."""
    ended_on = _last_day(permit, last_on)
    first_on = min(_first_day(permit, one) for one in asked)
    shown = [
        one.rule
        for one in texts
        if one.holds(ended_on) and (not one.periods or one.rule.exempted_by is not None)
    ]
    nil = nil_of([one for one in texts if one.holds(ended_on)])
    due = earliest([*(_dated(permit, one, nil, zone) for one in asked), *shown])
    started_at = start_of_day(next_day(ended_on, zone), zone)
    sent = _sent_on(permit, last_on)
    met_at = None if sent is None else start_of_day(sent, zone)
    state: State = "open" if met_at is None else "met" if met_at < due.due_at else "late"
    why = explain(
        f"period {_day(first_on)} to {_day(ended_on)} over",
        started_at,
        due,
        # a permit stands at no property: its days are those of the business
        Place(property_id=permit.id, zone=permit.zone, house_policies=[]),
        task=_task(nil),
    )
    return Derived(
        kind="report",
        subject_id=permit.id,
        starting_fact_id=uuid5(permit.id, last_on.isoformat()),
        property_id=None,
        started_at=started_at,
        due_at=due.due_at,
        state=state,
        met_at=met_at,
        outcome=None if state == "open" else state,
        why=why,
    )


def _dated(permit: Permit, one: Asked, nil: bool | None, zone: ZoneInfo) -> RuleApplied:
    """The rule with the days of one period, and the instant at which the day that it names is over."""
    return replace(
        one.text.rule,
        inputs={
            "period_first_on": _first_day(permit, one).isoformat(),
            "period_last_on": one.period.last_on.isoformat(),
            "due_on": one.period.due_on.isoformat(),
            "nil": None if nil is None else "yes" if nil else "no",
        },
        due_at=start_of_day(next_day(one.period.due_on, zone), zone),
    )


def _task(nil: bool | None) -> str:
    if nil is None:
        return "Report"
    return "Report, also where nothing was taken," if nil else "Report, where animals were taken,"


def _day(day: date) -> str:
    return f"{day.day} {day:%b %Y}"
