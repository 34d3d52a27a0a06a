"""The file that a customer or an auditor gets: every record, part by part. Pure."""

from collections.abc import Iterable, Sequence
from itertools import groupby
from zoneinfo import ZoneInfo

from service.methods.rules import shipped
from service.property_file.cover import file_of, gaps, keeping, made, span_of
from service.property_file.models import (
    Chosen,
    File,
    Line,
    Part,
    PartShown,
    Place,
    Record,
    RecordShown,
    YearShown,
)
from service.wording.content import Stated
from service.wording.words import (
    animal_words,
    counted,
    day_words,
    each_animal,
    erased_words,
    method_words,
    month_words,
    plain,
    set_words,
    span_words,
    treatment_words,
    turf_words,
)

HEADINGS = {"visit": "Visit", "month": "Month", "withdrawn": "Withdrawn"}
VERIFYING = (
    "The folder form of this file (format=zip) holds every record as it was signed, the key set, the seals of the"
    " months that were sealed, and a note on how to verify them without anybody's help."
)


def full_file(chosen: Chosen, place: Place, records: Sequence[Sequence[Record]]) -> File:
    """The file; `records` are those that stand, part by part as chosen."""
    is_customers = chosen.asked.audience == "customer"
    shown = [
        _part(chosen, part, of_part, place, with_names=is_customers)
        for part, of_part in zip(chosen.parts, records, strict=True)
    ]
    everything = [one for of_part in records for one in of_part]
    cover = [
        Line("Business", place.business_name),
        *_where(chosen, place, everything),
        Line("Period", f"{span_words(*span_of(chosen))}, by the local calendar ({place.zone})"),
        Line("For", "the customer" if is_customers else "an auditor"),
        *made(chosen, place),
        *_licences(everything),
    ]
    left_out = counted(chosen.left_out, "version") if chosen.left_out else ""
    names = (
        ["It holds the days on which the property was this customer's, and none of another's."]
        if is_customers
        else [
            "It names no person: whose property it was and who did the work stands under ids in the records."
        ]
    )
    return file_of(
        chosen,
        place,
        everything,
        cover=cover,
        sentences=[
            *names,
            *([f"Left out: {left_out} of months that began under another holder."] if left_out else []),
            shipped().notice,
            *keeping(place, chosen.today),
        ],
        parts=shown,
        closing=[VERIFYING],
    )


def _where(chosen: Chosen, place: Place, records: Sequence[Record]) -> list[Line]:
    """The property as it is called now; to who held it before, as that customer's own records call it."""
    named = [("Property", place.name), ("Reference", place.ref), ("Address", place.address)]
    if chosen.asked.audience == "customer":
        ends_on = max((one.until_on for one in chosen.parts), default=chosen.until_on)
        if not chosen.parts or ends_on <= chosen.today:
            last = records[-1].content if records else None
            addresses = last.party.addresses if last and last.party else []
            named = [("Reference", last.property_ref if last else None), ("Address", "; ".join(addresses))]
        names = dict.fromkeys(one.customer_name for one in chosen.parts if one.customer_name)
        named.insert(0, ("Customer", "; ".join(names)))
    return [Line(label, text) for label, text in named if text]


def _licences(records: Iterable[Record]) -> list[Line]:
    """The business's licences that were in force on the days of service, as the records state them."""
    held = {
        f"{one.number} ({one.authority})": None for record in records for one in record.content.licences or []
    }
    return [Line("Licences in the records", "; ".join(held))] if held else []


def _part(
    chosen: Chosen, part: Part, records: Sequence[Record], place: Place, *, with_names: bool
) -> PartShown:
    return PartShown(
        heading=_heading(chosen, part),
        sentences=_sentences(chosen, part, records, ZoneInfo(place.zone)),
        years=_years(records),
        records=[_record(one, place, with_names=with_names) for one in records],
    )


def _heading(chosen: Chosen, part: Part) -> str:
    days = span_words(part.from_on, part.until_on)
    if part.customer_id is None:
        return f"{days}: nobody is stated to have held the property"
    held = [one for one in chosen.parts if one.customer_id is not None]
    return days if len(held) == 1 else f"Holder {held.index(part) + 1} of {len(held)}: {days}"


def _sentences(chosen: Chosen, part: Part, records: Sequence[Record], zone: ZoneInfo) -> list[str]:
    """What the part comes to: how many records, whether each claim holds in them, which months have none."""
    standing = [one for one in records if not one.head.withdrawn]
    said = [
        _claim(standing, "by_us", "No pesticide was used by us", zone),
        _claim(standing, "known", "No pesticide is known to have been used by anybody", zone),
    ]
    visits = [one.stated for one in standing if one.stated.kind == "visit"]
    if visits:
        stating = sum(one.treatments_none for one in visits)
        said.append(
            f"Who worked there states that no treatment was made: in {stating} of {counted(len(visits), 'visit')}."
        )
    withdrawn = [one.head.name for one in records if one.head.withdrawn]
    if withdrawn:
        said.append(f"Withdrawn, so that they claim nothing: {', '.join(withdrawn)}.")
    gone = _gone(chosen, part)
    if gone:
        said.append(f"Replaced by a version of another day, property or holder: {', '.join(gone)}.")
    return [*said, gaps(part.from_on, part.until_on, chosen.today, records)]


def _gone(chosen: Chosen, part: Part) -> list[str]:
    """Records all of whose versions of this part are replaced."""
    versions = chosen.versions[chosen.parts.index(part)]
    standing = {one.number for one in versions if not one.replaced}
    return [one.name for one in versions if one.number not in standing]


def _claim(standing: Sequence[Record], which: str, words: str, zone: ZoneInfo) -> str:
    """Whether a claim holds in every record, and the first in which it does not, with the treatment."""
    if not standing:
        return "No record stands, so nothing is claimed."
    broken = [one for one in standing if not _holds(one, which)]
    rests = counted(len(standing), "record")
    if not broken:
        return (
            f"{words}: so say all of {rests}." if len(standing) > 1 else f"{words}: so says the one record."
        )
    first = broken[0]
    claim = (
        first.stated.pesticide_free_by_us if which == "by_us" else first.stated.pesticide_known_at_property
    )
    named = "; ".join(treatment_words(one, zone) for one in (claim.broken_by if claim else []))
    return (
        f"{words}: this does not hold in {len(broken)} of {rests}. The first is {first.head.name} of"
        f" {day_words(first.head.service_on)}{', which names ' + named if named else ''}."
    )


def _holds(one: Record, which: str) -> bool:
    return one.head.pesticide_free_by_us if which == "by_us" else one.head.pesticide_known_at_property


def _years(records: Sequence[Record]) -> list[YearShown]:
    years = []
    for year, of_year in groupby(records, lambda one: one.head.service_on.year):
        standing = [one for one in of_year if not one.head.withdrawn]
        counting = _counting([one.stated for one in standing])
        years.append(
            YearShown(
                year=str(year),
                visits=str(sum(one.stated.kind == "visit" for one in standing)),
                by_us=_of_all([one.head.pesticide_free_by_us for one in standing]),
                known=_of_all([one.head.pesticide_known_at_property for one in standing]),
                animals=animal_words([*(a for one in counting for a in (*one.catches, *one.other_animals))]),
                mounds=str(sum(one.mounds_cleared or 0 for one in counting)),
            )
        )
    return years


def _counting(stated: Sequence[Stated]) -> Sequence[Stated]:
    """What is added up: visits, whose months say the same again; else whatever there is."""
    return [one for one in stated if one.kind == "visit"] or stated


def _of_all(held: Sequence[bool]) -> str:
    if not held:
        return "no record"
    rests = counted(len(held), "record")
    return f"none ({rests})" if all(held) else f"not free in {len(held) - sum(held)} of {rests}"


def _record(one: Record, place: Place, *, with_names: bool) -> RecordShown:
    head, stated = one.head, one.stated
    kind = HEADINGS.get(stated.kind, f"Record of the kind {plain(stated.kind)}" if stated.kind else "Record")
    day = head.service_on
    on = month_words((day.year, day.month)) if stated.kind == "month" else day_words(day)
    times = " to ".join(each[11:16] for each in (stated.arrived_local, stated.ended_local) if each)
    withdrawn = "withdrawn" if head.withdrawn else None
    return RecordShown(
        name=head.name,
        day=head.service_on.isoformat(),
        heading=f"{kind} of {on}{', ' + times if times else ''}",
        replaces=one.content.replaces or "",
        by_us=withdrawn or ("none" if head.pesticide_free_by_us else "not free"),
        known=withdrawn or ("none known" if head.pesticide_known_at_property else "not free"),
        sha256=head.sha256,
        # the notice that ends each stands once, before all of them
        statement=stated.statement.removesuffix(shipped().notice).rstrip(),
        lines=[]
        if head.withdrawn
        else [*_account(stated, ZoneInfo(place.zone)), *(_persons(one, place) if with_names else [])],
    )


def _account(stated: Stated, zone: ZoneInfo) -> list[Line]:
    used = "; ".join(treatment_words(each, zone) for each in stated.treatments)
    done = None if stated.outcome in (None, "done") else plain(stated.outcome or "")
    lines = [
        Line("Outcome", done or ""),
        Line("Methods", method_words(stated.methods)),
        Line("Sets", set_words(stated.sets)),
        Line("Animals", each_animal(stated.catches)),
        Line("Other animals", each_animal(stated.other_animals) if stated.other_animals else ""),
        Line("Ground and turf", turf_words(stated)),
        Line("Treatments in its period", used),
    ]
    return [one for one in lines if one.text]


def _persons(one: Record, place: Place) -> list[Line]:
    """Who did the work, and the note to the customer; where it was erased, on which day of the business and ground."""
    party, erased = one.content.party, one.content.erased
    if party is None:
        said = erased_words(erased, ZoneInfo(place.business_zone)) if erased else "erased"
        return [Line("Persons", said)]
    lines = [Line("Done by", ", ".join(party.worker_names)), Line("Note", party.customer_note or "")]
    return [line for line in lines if line.text]
