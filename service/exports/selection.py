"""Which records a reader asks for, and in which form. Pure."""

from datetime import date
from typing import Literal
from uuid import UUID

from msgspec import Struct

from service.kernel.errors import Refused
from service.kernel.http import form_of
from service.kernel.paging import decode_cursor, encode_cursor

Format = Literal["json", "ndjson", "csv", "xlsx"]
ClaimName = Literal["by_us", "known"]
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
MEDIA: dict[str, Format] = {
    "application/json": "json",
    "application/x-ndjson": "ndjson",
    "text/csv": "csv",
    XLSX: "xlsx",
}


class Selection(Struct, frozen=True, kw_only=True):
    """Records between two places in the log, by local day of service (half-open), customer, property, claim.

    `latest`: the last version of each as of the second place; else every version. `upto` is the second place,
    or where a list that holds a limited number ends before it.
    """

    latest: bool
    after: int
    upto: int
    as_of: int
    since: date
    until: date
    property_id: UUID | None
    customer_id: UUID | None
    claim: ClaimName | None


def span_of(after: str | None, as_of: str | None, epoch: UUID, now_at: int) -> tuple[bool, int, int]:
    """(latest, after, as_of) of what the cursors ask for, where the log has come to `now_at`.

    Without `after`: the latest version of each record. With one: every version after it, once; an empty one
    is the beginning of the log. One from inside a list of latest versions goes on with that list as of then.
    `as_of` is the cursor that another answer ended with: the book as it stood when that was given.
    """
    pinned = decode_cursor(as_of, epoch, int, int, name="as_of")
    now_at = now_at if pinned is None else min(now_at, pinned[0] or pinned[1])
    if after is None:
        return True, 0, now_at
    begun_at, place = (decode_cursor(after, epoch, int, int) if after else None) or (0, 0)
    return (True, place, min(begun_at, now_at)) if begun_at else (False, place, now_at)


def cursor_in(chosen: Selection, last: int, epoch: UUID) -> str:
    """Where to go on inside a list of which a part ended at `last`."""
    return encode_cursor(epoch, chosen.as_of if chosen.latest else 0, last)


def cursor_after(chosen: Selection, epoch: UUID) -> str:
    """Where to go on when the list is at its end: with what is issued from then on, every version once."""
    return encode_cursor(epoch, 0, chosen.as_of)


def period(since: date | None, until: date | None, month: tuple[date, date] | None) -> tuple[date, date]:
    """Half-open days that all three allow; `unreadable` where they leave none."""
    first, end = month or (date.min, date.max)
    if since and until and since >= until:
        raise Refused("unreadable", f"`since` is {since} and `until` is {until}: it has to be a later day.")
    first, end = max(since or first, first), min(until or end, end)
    if first >= end:
        raise Refused("unreadable", "`month` and `since` or `until` have no day in common; leave one out.")
    return first, end


def format_of(wanted: str | None, accept: str | None) -> Format:
    """What `format` says, else what Accept likes best (RFC 9110 section 12.5.1); 406 where there is none."""
    found = form_of(wanted, accept, MEDIA)
    if found is not None:
        return found
    listed = ", ".join(f"{media} (format={form})" for media, form in MEDIA.items())
    raise Refused("not_acceptable", f"Service records come as {listed}; ask for one of these.")
