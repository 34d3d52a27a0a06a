"""The two claims over a period, and the sentence that says them. Pure."""

from collections.abc import Callable, Sequence
from datetime import date, datetime
from zoneinfo import ZoneInfo

from service.claims.models import Applied, Breach, Claim, Period, Presence, TreatmentLine
from service.kernel.days import local_date
from service.methods.models import NewMethod
from service.methods.rules import class_of, registered, said_of, shipped

BY = {"us": "us", "customer": "the customer", "other": "others"}


def period_of(visit: Presence, visits: Sequence[Presence]) -> Period:
    """From the arrival of the visit before at the property (the first: its own) to the visit's end.

    `visits` are visits of that property, in any order; more than are needed do no harm. Of two that arrived
    at the same instant the one with the lower id comes first.
    """
    place = (visit.arrived_at, visit.id.bytes)
    before = [one.arrived_at for one in visits if (one.arrived_at, one.id.bytes) < place]
    return Period(from_at=max(before, default=visit.arrived_at), until_at=visit.ended_at)


def treatments(
    applied: Sequence[Applied], period: Period, own: Sequence[NewMethod] = ()
) -> list[TreatmentLine]:
    """What was applied in the period, in order of instant and id, each with the class of its method.

    `own` are methods that the business classed itself. A method of catching is no treatment unless it breaks the
    claim, as what nobody classed does. What was stated with a registration number is a registered pesticide,
    whatever the name of its method.
    """
    held = [one for one in applied if period.from_at <= one.applied_at <= period.until_at]
    lines = [_classed(one, own) for one in sorted(held, key=lambda one: (one.applied_at, one.id.bytes))]
    return [one for one in lines if one.noun != "catch" or one.breaks_claim]


def claims(
    period: Period,
    visits: Sequence[Presence],
    used: Sequence[TreatmentLine],
    zone: ZoneInfo,
    tenure_from: date | None,
) -> tuple[Claim, Claim]:
    """(by us, known at the property) over the period: by us, only what we applied breaks it; known, anything.

    A claim rests on the visits that arrived in the period. `tenure_from` is the local day from which the property is
    the customer's; what was used before breaks the claim too.
    """
    held = sorted(
        (one for one in visits if period.from_at <= one.arrived_at <= period.until_at),
        key=lambda one: (one.arrived_at, one.id.bytes),
    )

    def claim(is_meant: Callable[[TreatmentLine], bool]) -> Claim:
        broken_by = [_breach(one, zone, tenure_from) for one in used if one.breaks_claim and is_meant(one)]
        return Claim(
            free=not broken_by,
            from_at=period.from_at,
            until_at=period.until_at,
            visit_ids=[one.id for one in held],
            visits_stating_none=sum(one.treatments_none for one in held),
            broken_by=broken_by,
            why=_why(broken_by, zone) if broken_by else None,
        )

    return claim(lambda one: one.applied_by == "us"), claim(lambda _: True)


def statement(by_us: Claim, known: Claim, zone: ZoneInfo) -> str:
    """The claims in a sentence for the customer; it never says "none" without what that rests on,
    nor leaves out what free of pesticide does not mean."""
    span = (
        f"at this property from {_local(by_us.from_at, zone)} to {_local(by_us.until_at, zone)} ({zone.key})"
    )
    if known.free:
        said = f"No pesticide was used by us, and none is known to have been used by anybody, {span}"
    elif by_us.free:
        said = (
            f"No pesticide was used by us {span}, but this is known to have been used: {_named(known, zone)}"
        )
    else:
        said = f"This was used {span}: {_named(known, zone)}"
    return f"{said}; this rests on {_count(by_us)}. {shipped().notice}"


def _classed(one: Applied, own: Sequence[NewMethod]) -> TreatmentLine:
    known = class_of(one.method, own)
    # "none" and the like are no number
    if any(map(str.isdigit, one.registration or "")) and not known.of.breaks_claim:
        known = registered()
    return TreatmentLine(
        noun=one.noun,
        id=one.id,
        method=one.method,
        method_class=known.of.name,
        breaks_claim=known.of.breaks_claim,
        ground=known.ground,
        product=one.product,
        registration=one.registration,
        amount=one.amount,
        unit=one.unit,
        applied_at=one.applied_at,
        applied_by=one.applied_by,
    )


def _breach(one: TreatmentLine, zone: ZoneInfo, tenure_from: date | None) -> Breach:
    return Breach(
        id=one.id,
        method=one.method,
        method_class=one.method_class,
        ground=one.ground,
        before_tenure=tenure_from is not None and local_date(one.applied_at, zone) < tenure_from,
        applied_at=one.applied_at,
        applied_by=one.applied_by,
    )


def _named(claim: Claim, zone: ZoneInfo) -> str:
    return "; ".join(_told(one, zone) for one in claim.broken_by)


def _why(broken_by: Sequence[Breach], zone: ZoneInfo) -> str:
    """One sentence that names each treatment with its class and the ground."""
    named = "; ".join(f"{_told(one, zone)} [{one.ground}]" for one in broken_by)
    return f"The claim does not hold because of {named}."


def _told(one: Breach, zone: ZoneInfo) -> str:
    before = ", before this customer's time" if one.before_tenure else ""
    return (
        f"{one.method.replace('_', ' ')} ({said_of(one.method_class)})"
        f" on {_local(one.applied_at, zone)} by {BY[one.applied_by]}{before}"
    )


def _count(claim: Claim) -> str:
    visits = len(claim.visit_ids)
    stating = claim.visits_stating_none
    rested = "1 visit" if visits == 1 else f"{visits} visits"
    return f"{rested}, of which {stating} {'states' if stating == 1 else 'state'} that no treatment was made"


def _local(at: datetime, zone: ZoneInfo) -> str:
    return f"{at.astimezone(zone):%Y-%m-%d %H:%M}"
