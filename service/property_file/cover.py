"""What stands in every file, whoever it is for: the cover, what it rests on, how long such files are kept. Pure."""

from collections.abc import Sequence
from datetime import date
from zoneinfo import ZoneInfo

from service.deadlines.why import NOTICE
from service.kernel.days import local_date
from service.packs.models import KeepFor
from service.packs.rules import in_force, packs_at
from service.property_file.models import Chosen, File, Line, Place, Record
from service.wording.content import CautionStated
from service.wording.words import counted, day_words, gap_words, months_between, span_words

NO_PESTICIDE = "A trap is no pesticide. That no pesticide was used does not mean that no licence was needed."
PUBLIC_TITLE = "What was done here, and whether a pesticide was used"
KEPT_ABOUT = ("pesticide_use_record", "organic_record", "service_record")


def span_of(chosen: Chosen) -> tuple[date, date]:
    """The days that the file tells of, half-open; those of its parts, which may begin after what was asked for."""
    if not chosen.parts:
        return chosen.from_on, chosen.until_on
    return chosen.parts[0].from_on, chosen.parts[-1].until_on


def keeping(place: Place, today: date) -> list[str]:
    """What the texts that hold there ask to be kept, and for how long, each with its citation."""
    packs = packs_at(place.packs, place.region, place.county, place.locality)
    return [
        f"{rule.sentence} ({pack.citation})"
        for pack in packs
        if in_force(pack, today)
        for rule in pack.rules
        if isinstance(rule, KeepFor)
        and rule.what in KEPT_ABOUT
        and (not rule.property_kinds or place.kind in rule.property_kinds)
    ]


def made(chosen: Chosen, place: Place) -> list[Line]:
    """When it was made and how far the book went then; local dates, so that a day's files are the same."""
    lines = [Line("Made on", day_words(chosen.today))]
    if standing := chosen.standing():
        latest = max(standing, key=lambda one: (one.issued_at, one.name))
        issued_on = local_date(latest.issued_at, ZoneInfo(place.zone))
        lines.append(Line("Newest record in it", f"{latest.name}, issued on {day_words(issued_on)}"))
    return lines


def rests_on(chosen: Chosen) -> list[str]:
    """How to read the claims of the file."""
    standing = [one for one in chosen.standing() if not one.withdrawn]
    return [
        (
            f"This file rests on {counted(len(standing), 'service record')}, each issued under a number that never"
            " changes, hashed and signed. What became known later stands in a later version that names the one"
            " it replaces."
        ),
        (
            "Whether a pesticide was used is worked out from every treatment that is known at the property in a"
            " record's period, whoever made it and whenever it became known; nobody ticks a box."
        ),
        NO_PESTICIDE,
    ]


def gaps(from_on: date, until_on: date, today: date, records: Sequence[Record]) -> str:
    """Which months, up to now, have no record that stands."""
    ends_on = min(until_on, date.fromordinal(today.toordinal() + 1))
    if from_on >= ends_on:
        return "None of these days has come yet."
    told = {
        (day.year, day.month)
        for one in records
        if not one.head.withdrawn
        for day in (one.head.first_on, one.head.service_on)
    }
    without = [month for month in months_between(from_on, ends_on) if month not in told]
    if not without:
        return "Every month has a record."
    return f"Without a record: {gap_words(without)}."


def cautions(records: Sequence[Record], *, to_workers: bool) -> list[Line]:
    """The cautions that the records say, each once, with its source."""
    said: dict[str, CautionStated] = {}
    for one in records:
        for caution in one.stated.cautions:
            if to_workers or caution.to != "worker":
                said.setdefault(caution.code, caution)
    return [Line(one.sentence, one.source) for _, one in sorted(said.items())]


def file_of(chosen: Chosen, place: Place, records: Sequence[Record], **more: object) -> File:
    """The file with what every audience is shown."""
    period = span_words(*span_of(chosen))
    public = chosen.asked.audience == "public"
    day = chosen.today
    shared = {
        "audience": chosen.asked.audience,
        "paper": "us-letter" if place.region.startswith(("US", "CA")) else "a4",
        "title": PUBLIC_TITLE if public else "File of service records",
        "running": f"{place.business_name} · {period}",
        "made_on": [day.year, day.month, day.day],
        "rests_on": rests_on(chosen),
        "cautions": cautions(records, to_workers=chosen.asked.audience == "auditor"),
        "notice": NOTICE,
    }
    return File(**shared | more)  # type: ignore[arg-type]
