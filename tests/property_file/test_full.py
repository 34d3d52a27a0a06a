"""Records of kinds and members that this version has never met, and persons who were erased."""

from datetime import UTC, datetime
from typing import Any

import msgspec

from service.kernel.values import Erased
from service.property_file.full import full_file
from service.property_file.models import Content, File, Place, Record
from service.wording.content import PartyStated, Stated
from tests.property_file.rows import a_version, chosen_of

PLACE = Place(
    name="Lower field",
    ref=None,
    kind="school",
    zone="Europe/London",
    region="US-ID",
    county=None,
    locality=None,
    address=None,
    business_name="Greenway Trapping",
    business_zone="America/Los_Angeles",
    packs=[],
)


def file_with(
    content: dict[str, Any], party: PartyStated | None = None, erased: Erased | None = None
) -> File:
    """A customer's file of one record that states this."""
    head = a_version(1)
    stated = Content(
        sequence=1,
        replaces=None,
        content=msgspec.convert(content, Stated, strict=False),
        licences=None,
        property_ref=None,
        party=party,
        erased=erased,
    )
    return full_file(chosen_of("customer", [head]), PLACE, [[Record(head=head, content=stated)]])


def test_a_month_is_named_by_its_month_and_its_turf_is_said():
    turf = {"saved": {"count": 2, "area_m2": "0.35"}, "lost": {"count": 0, "area_m2": None}}
    (record,) = file_with({"kind": "month", "turf_figures": turf, "statement": "So it was."}).parts[0].records
    assert record.heading == "Month of January 2026"
    assert {one.label: one.text for one in record.lines}[
        "Ground and turf"
    ] == "turf saved at 2 places (0.35 m²)"
    assert record.statement == "So it was."


def test_a_kind_that_is_not_known_gets_a_plain_section():
    file = file_with({"kind": "night_watch", "owls": [{"heard": 3}], "statement": "Three owls."})
    (record,) = file.parts[0].records
    assert record.heading == "Record of the kind night watch of 5 January 2026"
    assert record.statement == "Three owls."


def test_persons_who_were_erased_are_said_to_be():
    (record,) = file_with({"kind": "visit"}).parts[0].records
    assert {one.label: one.text for one in record.lines}["Persons"] == "erased"
    (record,) = file_with({"kind": "visit"}, PartyStated(worker_names=["R. Example"])).parts[0].records
    assert {one.label: one.text for one in record.lines}["Done by"] == "R. Example"


def test_an_erasure_is_told_with_its_day_by_the_calendar_of_the_business_and_its_ground():
    """As on a record's page: the business erased, wherever the property lies."""
    at = datetime(2026, 5, 15, 6, 59, tzinfo=UTC)
    (record,) = file_with({"kind": "visit"}, erased=Erased(at=at, ground="Asked for.")).parts[0].records
    told = {one.label: one.text for one in record.lines}["Persons"]
    assert told == "erased on 14 May 2026: Asked for."
