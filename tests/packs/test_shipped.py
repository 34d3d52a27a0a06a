"""The shipped packs against what the texts that they cite ask: each row restates the intervals of a text."""

from datetime import date
from typing import Any

import msgspec
import pytest

from service.packs.models import NewPack, Rule
from service.packs.reading import faults_in
from service.packs.rules import covers, in_force, packs_at, shipped, shipped_files
from tests.bodies import NOW

MOLES = ["Scapanus", "Scalopus", "Condylura", "Parascalops", "Neurotrichus", "Talpa"]
GOPHERS = ["Thomomys", "Geomys", "Cratogeomys"]
VOLES = ["Microtus", "Arvicola", "Myodes"]
CAGES = ["box", "live_tunnel"]
BY_NAME = {one.name: one for one in shipped()}


def asks(kind: str, **members: Any) -> dict[str, Any]:
    """A rule without its words."""
    return {"kind": kind, **members}


DAILY = asks("calendar_day", days=1)
SCHOOLS = [
    asks("keep_for", what="pesticide_use_record", years=4, property_kinds=["school"]),
    asks("qualitative", about="method"),
]

# of each text: region, state, citation, the date of the copy that was read, and what it asks
TEXTS: dict[str, tuple[str, str, str, str | None, list[dict[str, Any]]]] = {
    "us-ca-look-daily": (
        *("US-CA", "caution", "Fish and Game Code §§ 4004, 4152; 14 CCR 465.5(g)(1), 472(a)", "2021"),
        [
            DAILY,
            asks("qualitative", about="look"),
            asks("who_may_look", accepts=["setter", "worker", "customer", "agent"]),
            asks("qualitative", about="permission"),
            asks("qualitative", about="fate"),
        ],
    ),
    "us-ca-trapping-is-pest-control": (
        *("US-CA", "law", "Food and Agricultural Code § 11403", None),
        [asks("qualitative", about="licence")],
    ),
    "us-ca-digging": (
        *("US-CA", "law", "Government Code § 4216 and following", None),
        [asks("qualitative", about="digging")] * 2,
    ),
    "us-ca-school-records": (
        *("US-CA", "law", "Education Code § 17611; Food and Agricultural Code § 13181", None),
        SCHOOLS,
    ),
    "us-or-rodents-look": (
        *("US-OR", "law", "ORS 498.172, 610.002", "2024-03"),
        [asks("qualitative", about="look", species=GOPHERS + VOLES)],
    ),
    "us-or-wildlife-control-permit": (
        *("US-OR", "law", "OAR 635-435-0005, 635-435-0010, 635-435-0025, 635-435-0055", "2024-03"),
        [
            asks("exemption", of=[], species=MOLES),
            asks("elapsed", hours=48, mechanisms=CAGES, under_permit=True),
            asks("since_word", word="notice", hours=24, mechanisms=CAGES, under_permit=True),
            asks(
                "report_due",
                periods=[{"ends": "06-30", "due": "07-31"}, {"ends": "12-31", "due": "01-31"}],
                nil=True,
            ),
            asks("keep_for", what="affidavit", years=1),
        ],
    ),
    "us-or-digging": (
        *("US-OR", "law", "OAR 952-001-0050", None),
        [asks("qualitative", about="digging")] * 2,
    ),
    "us-or-school-records": ("US-OR", "law", "ORS 634.725, 634.750", None, SCHOOLS),
    "us-wa-body-gripping": (
        *("US-WA", "law", "RCW 77.15.192, 77.15.194; Attorney General opinion AGO 2002 No. 3", "2019"),
        [
            asks("not_permitted", mechanisms=["harpoon"]),
            asks("exemption", of=["harpoon"], mechanisms=["snap", *CAGES]),
        ],
    ),
    "us-wa-body-gripping-by-definition": (
        *("US-WA", "caution", "RCW 77.15.192, 77.15.194", "2019"),
        [asks("not_permitted", mechanisms=["scissor_jaw", "choker_loop", "two_prong_pincer"])],
    ),
    "us-wa-special-permit": (
        *("US-WA", "law", "RCW 77.15.192, 77.15.194; WAC 220-440-090, 220-440-120", "2019"),
        [
            asks(
                "elapsed",
                hours=24,
                mechanisms=["scissor_jaw", "harpoon", "choker_loop", "two_prong_pincer"],
                under_permit=True,
            ),
            asks("qualitative", about="carcass"),
            # due on 20 April; which period it is about was not read
            asks("report_due", periods=[], nil=True),
        ],
    ),
    "us-wa-mazama-pocket-gophers": (
        *("US-WA", "law", "79 FR 19760", "2014-04-09"),
        [asks("protected", species=["Thomomys"])],
    ),
    "us-wa-digging": (
        *("US-WA", "law", "RCW 19.122.030, 19.122.031", None),
        [asks("qualitative", about="digging")] * 2,
    ),
    "us-ny-look-24-hours": (
        *("US-NY", "law", "ECL 11-1105", "2014"),
        [asks("elapsed", hours=24), asks("qualitative", about="marking")],
    ),
    "us-ny-northern-zone": ("US-NY", "law", "ECL 11-1105", "2014", [asks("elapsed", hours=48)]),
    "us-ny-paid-work": (
        *("US-NY", "law", "ECL 11-0523, 11-0524", "2014"),
        [asks("qualitative", about="licence"), asks("report_due", periods=[])],
    ),
    "us-ma-allow-list": (
        *("US-MA", "law", "M.G.L. c. 131 § 80A; 321 CMR 2.08", "2024"),
        [asks("permitted_only", mechanisms=["snap", *CAGES])],
    ),
    "us-ct-moles": (
        *("US-CT", "law", "CGS 26-47; RCSA 26-47-1", None),
        [
            asks("permitted_only", mechanisms=CAGES, species=MOLES),
            asks("qualitative", about="licence", species=MOLES),
            asks("report_due", periods=[{"ends": "11-30", "due": "12-31"}], nil=True),
        ],
    ),
    "us-va-look-daily": (
        *("US-VA", "law", "4VAC15-40-195", "2023"),
        [
            DAILY,
            asks("since_word", word="alarm", hours=24, instead_of=["daily"]),
            asks("since_word", word="last_contact", hours=24, instead_of=["daily"]),
        ],
    ),
    "us-nh-look-daily": (
        *("US-NH", "law", "RSA 210:13", None),
        [DAILY, asks("who_may_look", accepts=["setter"])],
    ),
    "nz-live-traps": (
        *("NZ", "law", "Animal Welfare Act 1999 s 36", "2022-11"),
        [
            asks("after_sunrise", hours=12, mechanisms=CAGES),
            asks(
                "since_word",
                word="alarm",
                hours=24,
                mechanisms=CAGES,
                instead_of=["twelve-hours-after-sunrise"],
            ),
            asks(
                "exemption",
                of=[],
                mechanisms=["scissor_jaw", "harpoon", "choker_loop", "two_prong_pincer", "snap"],
            ),
        ],
    ),
    "fr-look-by-noon": (
        *("FR", "law", "arrêté du 29 janvier 2007 art. 13, 20", "2019"),
        [
            asks("latest_hour", hour=12),
            asks(
                "since_word",
                word="alarm",
                hours=2,
                part_of_day="night",
                from_sunrise=True,
                instead_of=["by-noon"],
            ),
            asks("since_word", word="alarm", hours=5, part_of_day="day", instead_of=["by-noon"]),
            asks("qualitative", about="look"),
            asks("exemption", of=[], species=MOLES + VOLES),
        ],
    ),
    "gb-mole-traps": (
        *("GB", "law", "Pests Act 1954 s 8; SI 1958/24; Animal Welfare Act 2006", "2022"),
        [
            asks("qualitative", about="look", species=MOLES),
            asks("qualitative", about="licence", species=MOLES),
        ],
    ),
    "gb-mole-trade-code": (
        *("GB", "practice", "a code of practice of the mole trade", "2022"),
        [asks("calendar_day", days=1, species=MOLES)],
    ),
    "de-mole-protected": (
        *("DE", "law", "BNatSchG § 44(1) 1; BArtSchV", None),
        [
            asks("protected", species=["Talpa europaea"]),
            asks("qualitative", about="method", species=["Talpa europaea"]),
        ],
    ),
    "ca-bc-townsends-mole": (
        *("CA-BC", "caution", "second-hand; the provincial text was not read", None),
        [asks("protected", species=["Scapanus townsendii"])],
    ),
    "us-organic-records": (
        *("US", "law", "7 CFR 205.103", None),
        [asks("keep_for", what="organic_record", years=5, property_kinds=["organic_farm"])],
    ),
}


def test_what_was_read_is_shipped_and_nothing_else() -> None:
    assert BY_NAME.keys() == TEXTS.keys()


@pytest.mark.parametrize("name", TEXTS)
def test_a_pack_says_what_its_text_says(name: str) -> None:
    pack = BY_NAME[name]
    region, state, citation, text_as_of, rules = TEXTS[name]
    assert (pack.region, pack.state, pack.citation, pack.text_as_of) == (region, state, citation, text_as_of)
    words = [{"id": rule.id, "sentence": rule.sentence} for rule in pack.rules]
    expected = [{**said, **asked} for said, asked in zip(words, rules, strict=True)]
    assert pack.rules == msgspec.convert(expected, list[Rule])


@pytest.mark.parametrize("name", shipped_files())
def test_a_pack_is_sound_read_on_one_day_and_reviewed_by_nobody_yet(name: str) -> None:
    assert faults_in(shipped_files()[name], NOW) == []
    pack = BY_NAME[name.removesuffix(".json")]
    assert (pack.verified_on, pack.reviewed_by) == (date(2026, 11, 25), None)


def at(region: str, county: str | None = None, locality: str | None = None) -> set[str]:
    """The names of the packs that hold at a place."""
    return {one.name for one in packs_at([], region, county, locality)}


def test_a_sub_area_confines_a_pack() -> None:
    """79 FR 19760 names populations of Thurston and Pierce counties."""
    gophers = "us-wa-mazama-pocket-gophers"
    for county in ("Thurston", "Thurston County", "pierce", " Pierce county "):
        assert gophers in at("US-WA", county), county
    for county in ("King", "County", "", None):
        assert gophers not in at("US-WA", county, "Thurston Lane"), county
    for county, locality in (("Northern Zone", None), ("Sample", "Northern Zone"), (None, "northern zone")):
        assert "us-ny-northern-zone" in at("US-NY", county, locality), (county, locality)
        assert "us-ny-look-24-hours" not in at("US-NY", county, locality), (county, locality)
    assert "us-ny-northern-zone" not in at("US-NY", "Albany", "Albany")
    assert "us-ny-look-24-hours" in at("US-NY", "Albany", "Albany")


def test_a_region_holds_its_parts_and_a_place_is_found_by_its_name() -> None:
    assert at("US-ID") == at("US") == {"us-organic-records"}
    assert at("GB-ENG") == at("GB") != set()
    assert at("US-W") == {"us-organic-records"}
    assert at("XX") == set()
    city = BY_NAME["us-ma-allow-list"]
    town = msgspec.structs.replace(city, places=["Sample Town"])
    assert covers(town, "US-MA", None, "sample town")
    assert not covers(town, "US-MA", "Sample Town", None)
    assert packs_at([town], "US-MA", None, "Other Town") == [city, BY_NAME["us-organic-records"]]


def test_a_pack_holds_from_its_first_day_until_before_its_end() -> None:
    gophers = BY_NAME["us-wa-mazama-pocket-gophers"]
    assert not in_force(gophers, date(2014, 5, 8))
    assert in_force(gophers, date(2014, 5, 9))
    ended: NewPack = msgspec.structs.replace(gophers, effective_until=date(2020, 1, 1))
    assert in_force(ended, date(2019, 12, 31))
    assert not in_force(ended, date(2020, 1, 1))
