"""What goes into a file: which days, whose, and which versions. Pure."""

from collections.abc import Sequence
from datetime import date
from itertools import pairwise
from uuid import UUID

from service.kernel.days import ONE_DAY
from service.kernel.errors import Missing, Refused
from service.property_file.models import Asked, Chosen, Part, TenureRow, Version

# Five years of daily visits; typesetting them takes about eight seconds and 600 MB.
MOST_RECORDS = 2_000


def choose(asked: Asked, tenures: Sequence[TenureRow], versions: Sequence[Version], today: date) -> Chosen:
    """The days, parts and versions of the file; the order of the rows does not matter.

    An auditor and the public see every tenure. A customer sees the tenures of one alone: the one who is asked for,
    else the holder of `today`, the local date. Refuses (`conflict`) where nobody holds it, and where there would be
    more records than a file may hold.
    """
    until_on = asked.until_on or _day_after(today)
    from_on = asked.from_on or _earliest(tenures, versions, until_on)
    until_on = max(until_on, _day_after(from_on))
    parts = holders(tenures, from_on, until_on)
    customer_id = _customer(asked, tenures, today) if asked.audience == "customer" else None
    if customer_id is not None:
        parts = [one for one in parts if one.customer_id == customer_id]
    found = [sorted(_of_part(one, versions, customer_id), key=_place) for one in parts]
    left_out = 0
    if customer_id is not None:
        touched = sum(map(len, found))
        found = [
            [one for one in of_part if part.from_on <= one.first_on]
            for part, of_part in zip(parts, found, strict=True)
        ]
        left_out = touched - sum(map(len, found))
    if asked.audience != "customer":
        # days on which nobody is stated to have held it count only where there are records of them
        kept = [place for place, one in enumerate(parts) if one.customer_id is not None or found[place]]
        parts, found = [parts[place] for place in kept], [found[place] for place in kept]
    chosen = Chosen(
        asked=asked,
        from_on=from_on,
        until_on=until_on,
        today=today,
        parts=parts,
        versions=found,
        left_out=left_out,
    )
    records = len(chosen.standing())
    if records > MOST_RECORDS:
        raise Refused(
            "conflict",
            f"That would be a file of {records} records; ask for at most {MOST_RECORDS} with `from` and `until`.",
        )
    return chosen


def holders(tenures: Sequence[TenureRow], from_on: date, until_on: date) -> list[Part]:
    """Whose the property was, day by day and half-open; of two tenures that overlap the one that began later.

    So a part is what the records of its days say (`records/queries.sql::read_holder`).
    """
    ends = {one.from_on for one in tenures} | {one.until_on for one in tenures if one.until_on is not None}
    days = sorted({from_on, until_on} | {day for day in ends if from_on < day < until_on})
    parts: list[Part] = []
    for first_on, end_on in pairwise(days):
        held = _holder(tenures, first_on)
        customer_id = held.customer_id if held else None
        goes_on = bool(parts) and parts[-1].customer_id == customer_id
        parts.append(
            Part(
                from_on=parts.pop().from_on if goes_on else first_on,
                until_on=end_on,
                customer_id=customer_id,
                customer_name=held.customer_name if held else None,
            )
        )
    return parts


def _customer(asked: Asked, tenures: Sequence[TenureRow], today: date) -> UUID:
    if asked.customer_id is not None:
        if asked.customer_id not in {one.customer_id for one in tenures}:
            raise Missing("A tenure of this customer at this property")
        return asked.customer_id
    holder = _holder(tenures, today)
    if holder is None:
        raise Refused(
            "conflict",
            "Nobody is stated to hold this property today; name a customer with `customer_id`, or state the tenure.",
        )
    return holder.customer_id


def _holder(tenures: Sequence[TenureRow], day: date) -> TenureRow | None:
    held = [one for one in tenures if one.from_on <= day and (one.until_on is None or day < one.until_on)]
    return min(held, key=lambda one: (-one.from_on.toordinal(), one.id.bytes), default=None)


def _of_part(part: Part, versions: Sequence[Version], customer_id: UUID | None) -> list[Version]:
    """Those of its days; for a customer's eyes, those alone that name the customer."""
    return [
        one
        for one in versions
        if part.from_on <= one.service_on < part.until_on
        and (customer_id is None or one.customer_id == customer_id)
    ]


def _earliest(tenures: Sequence[TenureRow], versions: Sequence[Version], until_on: date) -> date:
    """The day of the first record, else of the first tenure, else the last day of the file."""
    for days in ([one.service_on for one in versions], [one.from_on for one in tenures]):
        before = [day for day in days if day < until_on]
        if before:
            return min(before)
    return max(until_on, date.min + ONE_DAY) - ONE_DAY


def _day_after(day: date) -> date:
    return min(day, date.max - ONE_DAY) + ONE_DAY


def _place(one: Version) -> tuple[date, str, int]:
    return (one.service_on, one.number, one.version)
