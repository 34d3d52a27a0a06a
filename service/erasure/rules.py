"""What names a person, and what bids to keep it. Pure."""

import re
import unicodedata
from collections.abc import Iterable
from datetime import date

from service.erasure.models import Place
from service.packs.models import KeepFor
from service.packs.rules import in_force, packs_at


def named_in(ground: str, words: Iterable[str | None]) -> str | None:
    """Which of the words that are to be erased a ground, which is shown for ever, holds, however it writes them."""
    said = _folded(ground)
    wanted = ((one, _folded(one)) for one in words if one)
    return next(
        (one for one, word in wanted if word and re.search(rf"(?<!\w){re.escape(word)}(?!\w)", said)), None
    )


def _folded(text: str) -> str:
    return " ".join(unicodedata.normalize("NFKC", text).casefold().split())


def kept_until(places: Iterable[Place], today: date) -> tuple[date, str] | None:
    """Until when a text bids to keep what names the person, and that text's words; None where none does today.

    Years count from the last day of work at the place; a text bids while it is in force. Records of
    pesticide use bid where a treatment is known, affidavits where a job was under a permit, the others at the kinds
    of properties that they name.
    """
    bids = [
        (until, f"{rule.sentence} ({pack.citation})")
        for place in places
        if place.last_on is not None
        for pack in packs_at(place.packs, place.region, place.county, place.locality)
        if in_force(pack, today)
        for rule in pack.rules
        if isinstance(rule, KeepFor) and _speaks_of(rule, place)
        for until in [_years_after(place.last_on, rule.years)]
        if until > today
    ]
    return max(bids, default=None)


def _speaks_of(rule: KeepFor, place: Place) -> bool:
    if rule.property_kinds and place.kind not in rule.property_kinds:
        return False
    return {"pesticide_use_record": place.treated, "affidavit": place.under_permit}.get(rule.what, True)


def _years_after(day: date, years: int) -> date:
    """The same day so many years on; 1 March where there is no 29 February."""
    try:
        return day.replace(year=day.year + years)
    except ValueError:
        return date(day.year + years, 3, 1)
