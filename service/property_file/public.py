"""The file that anybody may see: months, methods, animals and treatments, and no name, place or note. Pure.

Only numbers, dates, words of closed lists and cited cautions go in: whatever people wrote may name somebody.
"""

from collections.abc import Sequence
from datetime import date
from itertools import groupby
from zoneinfo import ZoneInfo

from service.kernel.days import local_date
from service.property_file.cover import file_of, gaps, made, span_of
from service.property_file.models import Chosen, File, Line, MonthShown, Place, Record, TreatmentShown
from service.wording.content import Stated, TreatmentStated
from service.wording.words import (
    animal_words,
    counted,
    day_words,
    month_words,
    open_class,
    open_method_words,
    span_words,
)


def public_file(chosen: Chosen, place: Place, records: Sequence[Sequence[Record]]) -> File:
    """The file; `records` are those that stand. Whose property it was when is not told, so the parts are one."""
    everything = [one for of_part in records for one in of_part]
    standing = [one for one in everything if not one.head.withdrawn]
    zone = ZoneInfo(place.zone)
    period = span_of(chosen)
    cover = [
        Line("Work by", place.business_name),
        Line("Place", "written in by whoever shows this: ____________________________"),
        Line("Period", span_words(*period)),
        *made(chosen, place),
    ]
    return file_of(
        chosen,
        place,
        everything,
        cover=cover,
        sentences=[*_claims(standing), gaps(*period, chosen.today, everything)],
        months=_months(standing, zone),
        treatments=_treatments(standing, zone),
        closing=_asking(place, [one.head.name for one in everything]),
    )


def _asking(place: Place, names: Sequence[str]) -> list[str]:
    return [
        "This file names no person and no address, and does not say where traps stand.",
        (
            "For the full file, with every record as it was signed, ask whoever shows you this, or"
            f" {place.business_name}: it is the file of the property for an auditor, and it can be verified without"
            " anybody's help."
        ),
        f"The records behind this file: {', '.join(names) or 'none'}.",
    ]


def _claims(standing: Sequence[Record]) -> list[str]:
    """The two claims over the whole period, with how much they rest on."""
    if not standing:
        return ["There is no record of these days, so nothing is claimed."]
    visits = {visit for one in standing for visit in _rests_on(one.stated)}
    rests = f"{counted(len(standing), 'record')} of {counted(len(visits), 'visit')}"
    by_us = sum(not one.head.pesticide_free_by_us for one in standing)
    known = sum(not one.head.pesticide_known_at_property for one in standing)
    return [
        f"Pesticide used by those who did the work: {_told(by_us, 'none')} of {rests}.",
        f"Pesticide used by anybody: {_told(known, 'none is known')} of {rests}.",
    ]


def _told(broken: int, none: str) -> str:
    return f"yes, or what counts as one, as told in {broken}" if broken else f"{none}, as told in each"


def _rests_on(stated: Stated) -> list[str]:
    claim = stated.pesticide_known_at_property
    return claim.visit_ids if claim else []


def _months(standing: Sequence[Record], zone: ZoneInfo) -> list[MonthShown]:
    months = []
    for month, of_month in groupby(
        standing, lambda one: (one.head.service_on.year, one.head.service_on.month)
    ):
        told = list(of_month)
        visits = [one for one in told if one.stated.kind == "visit"]
        # where visits have records, that of their month says the same again
        counting = visits or told
        days = ", ".join(str(one.head.service_on.day) for one in visits)
        months.append(
            MonthShown(
                month=month_words(month),
                visits=f"{len(visits)}: {days}" if visits else "none",
                methods=open_method_words(a for one in counting for a in one.stated.methods) or "none",
                animals=animal_words(
                    a for one in counting for a in (*one.stated.catches, *one.stated.other_animals)
                ),
                pesticide=_pesticide(told, zone),
            )
        )
    return months


def _pesticide(told: Sequence[Record], zone: ZoneInfo) -> str:
    """What the month's records claim, and the period that they claim it for."""
    claims = [one.stated.pesticide_known_at_property for one in told]
    froms = [one.from_at for one in claims if one and one.from_at]
    untils = [one.until_at for one in claims if one and one.until_at]
    days = ""
    if froms and untils:
        first_on, last_on = local_date(min(froms), zone), local_date(max(untils), zone)
        days = f", {span_words(first_on, date.fromordinal(last_on.toordinal() + 1))}"
    if not all(one.head.pesticide_free_by_us for one in told):
        return f"used, or what counts as one, by those who did the work{days}"
    if not all(one.head.pesticide_known_at_property for one in told):
        return f"used, or what counts as one, by somebody else{days}"
    return f"none known{days} ({counted(len(told), 'record')})"


def _treatments(standing: Sequence[Record], zone: ZoneInfo) -> list[TreatmentShown]:
    """Every treatment that a record tells of, once."""
    told: dict[str, TreatmentStated] = {}
    for one in standing:
        for treatment in one.stated.treatments:
            told[treatment.id] = treatment
    return [
        TreatmentShown(
            day=day_words(local_date(one.applied_at, zone)) if one.applied_at else "",
            what=f"{open_class(one.method_class)}{'' if one.breaks_claim else ' (no pesticide)'}",
            by="those who did the work" if one.applied_by == "us" else "somebody else",
        )
        for one in sorted(told.values(), key=lambda one: (str(one.applied_at), one.id))
    ]
