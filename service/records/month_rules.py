"""What the record of a property's month states, as a function of the facts as at the month's end. Pure."""

from collections.abc import Sequence
from datetime import date, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from msgspec.structs import asdict

from service.claims.models import Period
from service.kernel.days import ONE_DAY, local_date, start_of_day
from service.records.accounts import account
from service.records.facts import Attended, Month, MonthFacts, Scope
from service.records.lines import VisitLine
from service.records.models import LicenceLine, MonthContent
from service.records.rules import following

LAST = timedelta(microseconds=1)


def month_content(facts: MonthFacts) -> MonthContent:
    """The content of the record of a month, also of one without any visit.

    It takes facts with instants in the month, and what was known at its end of those before; the order of the
    lists does not matter. That no treatment was made is stated where every visit of the month states it.
    """
    around, month = facts.around, facts.month
    visits = sorted(facts.visits, key=lambda one: (one.arrived_at, one.id.bytes))
    stated = account(
        around,
        scope_of(month),
        Period(from_at=month.from_at, until_at=month.until_at),
        facts,
        visits,
        target=None,
        states_none=bool(visits) and all(one.treatments_none for one in visits),
    )
    return MonthContent(
        **asdict(stated),
        property_id=around.property_id,
        customer_id=facts.customer_id,
        zone=around.zone,
        region=around.region,
        month=f"{month.first_on:%Y-%m}",
        first_on=month.first_on,
        until_on=month.until_on,
        service_on=last_day(month),
        visits=[_line(one) for one in visits],
    )


def scope_of(month: Month) -> Scope:
    """The month's own facts are those whose instant lies in it."""
    return Scope(visit_id=None, from_at=month.from_at, until_at=month.until_at)


def last_day(month: Month) -> date:
    """The day that the record of the month belongs to."""
    return month.until_on - ONE_DAY


def month_from(first_on: date, zone: ZoneInfo) -> Month:
    """The local month that begins with a day, as the zone has it."""
    until_on = following(first_on)
    return Month(
        first_on=first_on,
        until_on=until_on,
        from_at=start_of_day(first_on, zone),
        until_at=start_of_day(until_on, zone) - LAST,
    )


def permits_of(visits: Sequence[Attended]) -> list[LicenceLine]:
    """The permits of the jobs of these visits, each once."""
    found = {(one.permit.number, one.permit.authority): one.permit for one in visits if one.permit}
    return [found[key] for key in sorted(found)]


def note_of(visits: Sequence[Attended], zone: ZoneInfo) -> str | None:
    """What was written to the customer on these visits, a line each, led by the local date."""
    ordered = sorted(visits, key=lambda one: (one.arrived_at, one.id.bytes))
    notes = [
        f"{local_date(one.arrived_at, zone)}: {one.customer_note}" for one in ordered if one.customer_note
    ]
    return "\n".join(notes) or None


def workers_of(visits: Sequence[Attended]) -> list[UUID]:
    """Who was there, in the order of the first visit of each."""
    ordered = sorted(visits, key=lambda one: (one.arrived_at, one.id.bytes))
    were_there = [worker for one in ordered for worker in (one.worker_id, *sorted(one.with_worker_ids))]
    return list(dict.fromkeys(were_there))


def _line(one: Attended) -> VisitLine:
    return VisitLine(
        visit_id=one.id,
        arrived_at=one.arrived_at,
        ended_at=one.ended_at,
        outcome=one.outcome,
        worker_id=one.worker_id,
        with_worker_ids=sorted(one.with_worker_ids),
        job_id=one.job_id,
        target=one.target,
        treatments_none=one.treatments_none,
    )
