"""What of a body is a person's, and what bids to keep it. Pure."""

from collections.abc import Iterable
from datetime import date
from typing import Any

import msgspec

from service.erasure.models import Home
from service.kernel.canonical import canonical
from service.packs.models import KeepFor
from service.packs.rules import packs_at

# What stands where a text must stand and was erased.
GONE = "erased"
# Free texts of a visit's body, of what is stated alone, of a property: what a person may be named in.
TEXTS = {
    *("notes", "customer_note", "no_access_reason", "amend_reason", "told_by", "who"),
    *("access_notes", "address", "email", "phone", "ref", "description", "measures"),
}
# Those that a body cannot do without.
NEEDED = {"who", "description"}


def redacted(body: Any) -> Any:
    """A stated body without what people wrote: all other members as they are, so that all that follows stays."""
    match body:
        case dict():
            # how somebody was told is free text; how soil was cleared or turf repaired is a closed list
            told = "who" in body
            return {
                name: GONE if name in NEEDED or (told and name == "how") else redacted(value)
                for name, value in body.items()
                if name not in TEXTS or name in NEEDED
            }
        case list():
            return [redacted(one) for one in body]
        case _:
            return body


def redacted_bytes(raw: bytes) -> bytes:
    """The same of a body as it came; of one that cannot be read, nothing stays."""
    try:
        return canonical(redacted(msgspec.json.decode(raw)))
    except (msgspec.DecodeError, ValueError, UnicodeError):
        return b""


def kept_until(homes: Iterable[Home], today: date) -> tuple[date, str] | None:
    """Until when a text bids to keep what names the customer, and that text's words; None where none does today.

    Years count from the last day of work in the tenure. Records of pesticide use bid where a treatment is known,
    affidavits where a job was under a permit, the others at the kinds of properties that they name.
    """
    bids = [
        (until, f"{rule.sentence} ({pack.citation})")
        for home in homes
        if home.last_on is not None
        for pack in packs_at(home.packs, home.region, home.county, home.locality)
        for rule in pack.rules
        if isinstance(rule, KeepFor) and _speaks_of(rule, home)
        for until in [_years_after(home.last_on, rule.years)]
        if until > today
    ]
    return max(bids, default=None)


def _speaks_of(rule: KeepFor, home: Home) -> bool:
    if rule.property_kinds and home.kind not in rule.property_kinds:
        return False
    return {"pesticide_use_record": home.treated, "affidavit": home.under_permit}.get(rule.what, True)


def _years_after(day: date, years: int) -> date:
    """The same day so many years on; 1 March where there is no 29 February."""
    try:
        return day.replace(year=day.year + years)
    except ValueError:
        return date(day.year + years, 3, 1)
