"""Which records a reader asks for, and in which form. Pure."""

from datetime import date
from typing import Literal
from uuid import UUID

from msgspec import Struct

from service.kernel.errors import Refused
from service.kernel.http import accepted
from service.kernel.paging import decode_cursor, encode_cursor

Format = Literal["json", "ndjson", "csv"]
ClaimName = Literal["by_us", "known"]
MEDIA: dict[str, Format] = {"application/json": "json", "application/x-ndjson": "ndjson", "text/csv": "csv"}
COLUMNS = (
    "number,version,service_on,arrived_at,ended_at,issued_at,visit_id,property_id,customer_id,job_id,worker_id,"
    "withdrawn,pesticide_free_by_us,pesticide_free_known_at_property,visits_rested_on,visits_stating_no_treatments,"
    "sets_placed,sets_pulled,sets_left,looks,catches,other_animals,mounds_cleared,trap_nights,sha256,"
    "zone,property_ref,customer_ref,outcome,target,methods,treatments,statement"
)


class Selection(Struct, frozen=True, kw_only=True):
    """Records between two places in the log, by local day of service (half-open), customer, property, claim.

    `latest`: the last version of each as of the second place; else every version.
    """

    latest: bool
    after: int
    as_of: int
    since: date
    until: date
    property_id: UUID | None
    customer_id: UUID | None
    claim: ClaimName | None


def span_of(after: str | None, epoch: UUID, now_at: int) -> tuple[bool, int, int]:
    """(latest, after, as_of) of what a cursor asks for, where the log has come to `now_at`.

    Without a cursor: the latest version of each record. With one: every version after it, once; an empty one
    is the beginning of the log. One from inside a list of latest versions goes on with that list as of then.
    """
    if after is None:
        return True, 0, now_at
    as_of, place = (decode_cursor(after, epoch, int, int) if after else None) or (0, 0)
    return (True, place, as_of) if as_of else (False, place, now_at)


def cursor_in(chosen: Selection, last: int, epoch: UUID) -> str:
    """Where to go on inside a list whose page ended at `last`."""
    return encode_cursor(epoch, chosen.as_of if chosen.latest else 0, last)


def cursor_after(chosen: Selection, epoch: UUID) -> str:
    """Where to go on when the list is at its end: with what is issued from then on, every version once."""
    return encode_cursor(epoch, 0, chosen.as_of)


def format_of(wanted: str | None, accept: str | None) -> Format:
    """What `format` says, else what Accept likes best (RFC 9110 section 12.5.1); 406 where there is none."""
    named = next((form for form in MEDIA.values() if form == wanted), None)
    found = named if wanted else accepted(accept, MEDIA)
    if found is not None:
        return found
    listed = ", ".join(f"{media} (format={form})" for media, form in MEDIA.items())
    raise Refused("not_acceptable", f"Service records come as {listed}; ask for one of these.")
