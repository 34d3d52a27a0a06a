"""From a record to its page: what a customer wants to know first, in plain words and local time. Pure."""

import re
from datetime import datetime
from zoneinfo import ZoneInfo

from service.kernel.days import local_date
from service.pages.models import Basis, Beside, ClaimShown, Page, Row, Section, Signed, Table
from service.sets.models import IN_THE_GROUND
from service.signatures.rules import kid_of
from service.wording.content import ClaimStated, Stated
from service.wording.words import (
    counted,
    day_words,
    due_words,
    each_animal,
    method_words,
    month_words,
    plain,
    species_words,
    treatment_words,
    turf_words,
)

FIRST = "Local codes and licensed practice come first."
DONE = {"checked": "looked at", "made_safe": "made safe", "reset": "set again"}
STATES = {"standing": "in the ground, set", "made_safe": "in the ground, made safe", "missing": "missing"}
SAID_OF_TREATMENTS = {
    "none_stated": "None: the worker states that no treatment was made.",
    "none_known": "None is known.",
}
OUTCOMES = {"partly": "Done in part", "no_access": "No access: the work could not be done"}


def page_of(signed: Signed, beside: Beside) -> Page:
    """The page of a version; the same record and the same persons give the same page."""
    record, stated = signed.record, signed.record.content
    zone = ZoneInfo(stated.zone)
    name = f"{record.number}.{record.version}"
    kind = {"month": "Service record of a month", "withdrawn": "Service record, withdrawn"}
    return Page(
        paper="us-letter" if stated.region.startswith("US-") else "a4",
        title=f"{kind.get(stated.kind, 'Service record')} {name}",
        business=beside.business,
        banner=_banner(stated, beside),
        issued_on=list(record.issued_at.timetuple()[:3]),
        facts=[row for row in _facts(signed, beside, zone) if row.text],
        claims=[
            *_claim(stated.pesticide_free_by_us, "by us", "by us", zone),
            *_claim(
                stated.pesticide_known_at_property,
                "by anybody, as far as is known",
                "as far as is known",
                zone,
            ),
        ],
        statement=stated.statement,
        sections=[] if stated.kind == "withdrawn" else _sections(stated, beside, zone),
        cautions=[Row(one.sentence, one.source) for one in stated.cautions if one.to != "worker"],
        **_notice(stated.notice or FIRST),
        verifying=_verifying(signed),
    )


def _banner(stated: Stated, beside: Beside) -> str:
    if stated.kind == "withdrawn":
        return "Withdrawn: this record takes back what its earlier versions state."
    return f"Replaced: version {beside.newer} stands in its place." if beside.newer else ""


def _facts(signed: Signed, beside: Beside, zone: ZoneInfo) -> list[Row]:
    """Who, where and when."""
    record, stated = signed.record, signed.record.content
    papers = [*record.issuer.licences, record.issuer.permit, *record.issuer.other_permits]
    return [
        *_persons(beside, record.refs.customer),
        Row("Property", record.refs.property or ""),
        Row("When", _when(stated)),
        Row("Visits", str(len(stated.visits)) if stated.kind == "month" else ""),
        Row("Outcome", OUTCOMES.get(stated.outcome or "", "")),
        Row("Animal", species_words(stated.target or "")),
        Row("Licences and permits", "; ".join(f"{one.number} ({one.authority})" for one in papers if one)),
        Row("Issued", _moment(record.issued_at, zone)),
        *_complete(record.basis, zone),
        Row("Replaces", record.replaces or ""),
    ]


def _complete(basis: Basis, zone: ZoneInfo) -> list[Row]:
    """Until when every phone concerned had brought its facts, and what was spoken of and is not stated yet."""
    arrived = min((one.received_at for one in basis.complete_as_of), default=None)
    nouns = "set or sign" if len(basis.awaited) == 1 else "sets or signs"
    awaited = f"{len(basis.awaited)} {nouns} that nobody has stated yet" if basis.awaited else ""
    return [Row("Complete as of", _moment(arrived, zone)), Row("Still awaited", awaited)]


def _persons(beside: Beside, customer_ref: str | None) -> list[Row]:
    ref = f"customer number {customer_ref}" if customer_ref else ""
    party = beside.party
    if party is None:
        said = beside.erased or "Names do not stand beside this record any more."
        return [Row("Customer", ref), Row("Names", said)]
    return [
        Row("Customer", ", ".join(filter(None, [party.customer_name, ref]))),
        Row("Address", "; ".join(party.addresses)),
        Row("Worker" if len(party.worker_names) == 1 else "Workers", ", ".join(party.worker_names)),
    ]


def _when(stated: Stated) -> str:
    if stated.month:
        year, month = map(int, stated.month.split("-"))
        return f"{month_words((year, month))} ({stated.zone})"
    if stated.arrived_local is None or stated.ended_local is None:
        return day_words(stated.service_on) if stated.service_on else ""
    arrived, ended = map(datetime.fromisoformat, (stated.arrived_local, stated.ended_local))
    last = "" if ended.date() == arrived.date() else f"{day_words(ended.date())}, "
    return f"{day_words(arrived.date())}, {arrived:%H:%M} to {last}{ended:%H:%M} ({stated.zone})"


def _notice(notice: str) -> dict[str, str]:
    """What comes first, and apart from it how old the texts are that the next look rests on."""
    if not notice.startswith(FIRST):
        return {"notice": notice, "texts": ""}
    read = re.split(r"(?<=reviewed\.) +", notice.removeprefix(FIRST).strip())
    return {"notice": FIRST, "texts": " ".join(_sentence(one) for one in read if one)}


def _claim(claim: ClaimStated | None, by: str, broken_by: str, zone: ZoneInfo) -> list[ClaimShown]:
    """A claim with what it rests on; of one that is broken, what breaks it: not all of that is a pesticide."""
    if claim is None:
        return []
    named = "; ".join(treatment_words(one, zone) for one in claim.broken_by)
    broken = f"Not pesticide-free {broken_by}{': ' if named else ''}{named}"
    stating = claim.visits_stating_none
    rests = (
        f"this rests on {counted(len(claim.visit_ids), 'visit')}, of which {stating}"
        f" {'states' if stating == 1 else 'state'} that no treatment was made"
    )
    return [ClaimShown(f"{f'No pesticide was used {by}' if claim.free else broken}; {rests}.", claim.free)]


def _sections(stated: Stated, beside: Beside, zone: ZoneInfo) -> list[Section]:
    found = [
        _note(beside),
        _work(stated),
        _animals(stated),
        _one("Lawn", turf_words(stated)),
        _treatments(stated, zone),
        _told(stated, beside, zone),
        _next(stated, zone),
    ]
    return [one for one in found if one is not None]


def _note(beside: Beside) -> Section | None:
    return _one("Note to you", (beside.party.customer_note if beside.party else None) or "")


def _one(heading: str, text: str) -> Section | None:
    return Section(heading=heading, sentences=[_sentence(text)]) if text else None


def _work(stated: Stated) -> Section:
    """What was done with each set; sets are counted in the record's order, which is that of their ids."""
    findings: dict[str, list[str]] = {}
    for look in stated.checks:
        findings.setdefault(look.set_id, []).append(plain(look.finding))
    rows = [
        [
            str(place),
            _mechanism(one.mechanism, one.traps),
            ", ".join(DONE.get(step, plain(step)) for step in one.done) or "not touched",
            ", ".join(dict.fromkeys(findings.get(one.set_id, []))) or "–",
            STATES.get(one.state, plain(one.state)),
            one.trap_nights or "–",
            _position(one.latitude_e7, one.longitude_e7),
        ]
        for place, one in enumerate(stated.sets, 1)
    ]
    columns = ["Set", "Traps", "Done", "Found", "At the end", "Trap-nights", "Latitude, longitude"]
    left = sum(one.state in IN_THE_GROUND for one in stated.sets)
    said = [f"Methods: {method_words(stated.methods)}."] if stated.methods else []
    said.append(
        f"{counted(left, 'set')} in the ground at the end." if left else "No set of ours is in the ground."
    )
    table = Table(
        caption="Each set, what was done with it and how it was at the end", columns=columns, rows=rows
    )
    return Section(heading="Work done", sentences=said, table=table if rows else None)


def _mechanism(mechanism: str | None, traps: int | None) -> str:
    if mechanism is None:
        return "not known yet"
    return f"{traps or 1} × {plain(mechanism)}"


def _position(latitude_e7: int | None, longitude_e7: int | None) -> str:
    """Degrees to about a metre."""
    if latitude_e7 is None or longitude_e7 is None:
        return "–"
    return f"{latitude_e7 / 1e7:.5f}, {longitude_e7 / 1e7:.5f}"


def _animals(stated: Stated) -> Section:
    rows = [Row("Taken", each_animal(stated.catches))]
    if stated.other_animals:
        rows.append(Row("Other animals", each_animal(stated.other_animals)))
    return Section(heading="Animals", rows=rows)


def _treatments(stated: Stated, zone: ZoneInfo) -> Section:
    said = [_sentence(treatment_words(one, zone)) for one in stated.treatments]
    none = SAID_OF_TREATMENTS.get(stated.treatments_said, SAID_OF_TREATMENTS["none_known"])
    return Section(heading="Treatments", sentences=said or [none])


def _told(stated: Stated, beside: Beside, zone: ZoneInfo) -> Section | None:
    who = {one.told_id: f"{one.who} ({one.how})" for one in (beside.party.told if beside.party else [])}
    said = [
        f"{plain(one.what).capitalize()}: {who.get(one.told_id, 'told')}, {_moment(one.told_at, zone)}."
        for one in stated.told
        if one.told_at is not None
    ]
    return Section(heading="Who was told", sentences=said) if said else None


def _next(stated: Stated, zone: ZoneInfo) -> Section | None:
    sets_at: dict[datetime, set[str]] = {}
    for one in stated.next_due:
        if one.due_at is not None:
            sets_at.setdefault(one.due_at, set()).add(one.set_id)
    said = [
        f"Due {due_words(due, zone)}, at {counted(len(sets), 'set')}."
        for due, sets in sorted(sets_at.items())
    ]
    return Section(heading="Next look", sentences=said) if said else None


def _verifying(signed: Signed) -> list[Row]:
    rows = [Row("SHA-256 of the record", signed.sha256)]
    if signed.signature is None:
        return [*rows, Row("Signature", "none: it was issued before records were signed")]
    said = (
        "The signed record itself is proof, this page is its print; the issuer hands it out with the key set"
    )
    return [
        *rows,
        Row("Key", kid_of(signed.signature)),
        Row("To check", f"{said} at /.well-known/jwks.json."),
    ]


def _moment(at: datetime | None, zone: ZoneInfo) -> str:
    return "" if at is None else f"{day_words(local_date(at, zone))}, {at.astimezone(zone):%H:%M}"


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}" + ("" if text.endswith((".", "!", "?")) else ".")
