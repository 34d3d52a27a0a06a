"""What the shipped packs do not permit or protect: checked against the texts that they cite."""

from datetime import date
from typing import Any

import msgspec
import pytest

from service.packs.models import NewPack
from service.packs.permitted import Done, code, sentence, spoken_against
from service.packs.rules import packs_at, shipped
from tests.bodies import a_pack

MOLE, GOPHER = "Scapanus townsendii", "Thomomys mazama"
DAY = date(2026, 5, 14)


def spoken(
    packs: list[NewPack], mechanism: str | None, species: str | None, day: date = DAY, *, permit: bool = False
) -> list[tuple[str, str]]:
    """The states of what speaks against it, and what the warnings are called."""
    done = Done(mechanism, species, day, permit)
    return [(pack.state, code(rule)) for pack, rule in spoken_against(packs, done)]


LAW, MAYBE, SPARED = (
    ("law", "not_permitted_here"),
    ("caution", "not_permitted_here"),
    ("law", "protected_here"),
)


@pytest.mark.parametrize(
    ("region", "county", "mechanism", "species", "expected"),
    [
        # Washington: RCW 77.15.194 with AGO 2002 No. 3 (harpoon), the others by the same definition
        ("US-WA", "King", "harpoon", MOLE, [LAW]),
        ("US-WA", "King", "harpoon", None, [LAW]),
        ("US-WA", "King", "scissor_jaw", MOLE, [MAYBE]),
        ("US-WA", "King", "box", MOLE, []),
        # Mazama pocket gophers, 79 FR 19760: Thurston and Pierce counties only
        ("US-WA", "Thurston County", "box", GOPHER, [SPARED]),
        ("US-WA", "Pierce", None, GOPHER, [SPARED]),
        ("US-WA", "King", "box", GOPHER, []),
        ("US-WA", "Thurston", "box", "unidentified", []),
        # Massachusetts: M.G.L. c. 131 § 80A, an allow-list for all mammals
        ("US-MA", None, "choker_loop", "Scalopus aquaticus", [LAW]),
        ("US-MA", None, "choker_loop", None, [LAW]),
        ("US-MA", None, "snap", "Microtus pennsylvanicus", []),
        ("US-MA", None, None, "Scalopus aquaticus", []),
        # Connecticut: CGS 26-47, moles
        ("US-CT", None, "harpoon", "Scalopus aquaticus", [LAW]),
        ("US-CT", None, "snap", "Scalopus aquaticus", [LAW]),
        ("US-CT", None, "box", "Scalopus aquaticus", []),
        ("US-CT", None, "snap", "Microtus pennsylvanicus", []),
        ("US-CT", None, "snap", None, []),
        # Germany and its states: BNatSchG § 44(1) 1, the mole
        ("DE", None, "scissor_jaw", "Talpa europaea", [SPARED]),
        ("DE-BY", None, None, "Talpa europaea", [SPARED]),
        ("DE", None, "scissor_jaw", "Arvicola amphibius", []),
        # British Columbia: second-hand
        ("CA-BC", None, None, MOLE, [("caution", "protected_here")]),
        # nothing read says so
        ("US-CA", "Sonoma", "harpoon", "Scapanus latimanus", []),
        ("GB", None, "scissor_jaw", "Talpa europaea", []),
        ("US-WA", "King", None, MOLE, []),
    ],
)
def test_what_speaks_against_a_mechanism_and_an_animal(
    region: str,
    county: str | None,
    mechanism: str | None,
    species: str | None,
    expected: list[tuple[str, str]],
) -> None:
    assert spoken(packs_at([], region, county, None), mechanism, species) == expected


def test_a_text_speaks_from_its_first_day() -> None:
    """79 FR 19760: threatened since 2014-05-09."""
    packs = packs_at([], "US-WA", "Pierce", None)
    assert spoken(packs, "box", GOPHER, date(2014, 5, 8)) == []
    assert spoken(packs, "box", GOPHER, date(2014, 5, 9)) == [SPARED]


def own(*rules: dict[str, Any]) -> list[NewPack]:
    """A pack of the business."""
    return [msgspec.convert(a_pack(*rules), NewPack)]


def rule(kind: str, id_: str, **members: Any) -> dict[str, Any]:
    return {"kind": kind, "id": id_, "sentence": "In words.", **members}


def test_an_exemption_leaves_out_what_it_names() -> None:
    no_snaps = rule("not_permitted", "no-snaps", mechanisms=["snap"])
    no_voles = rule("protected", "voles", species=["Microtus"])
    moles = rule("exemption", "moles", of=["no-snaps"], species=["Scapanus"])
    everything = rule("exemption", "all", species=["Microtus townsendii"])
    packs = own(no_snaps, no_voles, moles, everything)
    assert spoken(packs, "snap", MOLE) == []
    assert spoken(packs, "snap", None) == [LAW]
    assert spoken(packs, "snap", "Microtus californicus") == [LAW, SPARED]
    assert spoken(packs, "snap", "Microtus townsendii") == []


def test_what_holds_under_a_permit_speaks_of_no_other_work() -> None:
    packs = own(
        rule("not_permitted", "a", mechanisms=["snap"], under_permit=True),
        rule("permitted_only", "b", mechanisms=["snap"], under_permit=True),
    )
    assert spoken(packs, "snap", MOLE) == []
    assert spoken(packs, "snap", MOLE, permit=True) == [LAW]
    assert spoken(packs, "box", MOLE, permit=True) == [LAW]


def test_a_rule_that_names_nothing_permits_nothing() -> None:
    assert spoken(own(rule("not_permitted", "a")), None, None) == [LAW]


@pytest.mark.parametrize("pack", shipped(), ids=lambda one: str(one.name))
def test_each_sentence_names_whom_to_ask_by_which_text_how_old_and_what_comes_first(pack: NewPack) -> None:
    for one in pack.rules:
        said = sentence(pack, one)
        for part in (pack.authority, pack.citation, "read on 2026-11-25, not reviewed"):
            assert part in said
        assert said.endswith("Local codes and licensed practice come first.")


def test_a_caution_says_may_and_law_does_not() -> None:
    by_name = {one.name: one for one in shipped()}
    law, maybe = by_name["us-wa-body-gripping"], by_name["us-wa-body-gripping-by-definition"]
    assert sentence(law, law.rules[0]) == (
        "Not permitted here by law: The harpoon class counts as a body-gripping trap in Washington and is not "
        "permitted without a special permit. Ask Washington Department of Fish and Wildlife. RCW 77.15.192, "
        "77.15.194; Attorney General opinion AGO 2002 No. 3: text as of 2019, read on 2026-11-25, not reviewed. "
        "Local codes and licensed practice come first."
    )
    assert sentence(maybe, maybe.rules[0]).startswith("May not be permitted here: By the same definition")
    mole = by_name["ca-bc-townsends-mole"]
    assert sentence(mole, mole.rules[0]).startswith("May be protected here: Townsend's mole is endangered")
    reviewed = msgspec.structs.replace(mole, state="practice", reviewed_by="R. Example")
    assert sentence(reviewed, mole.rules[0]).startswith("Spared here by the practice of the trade: ")
    assert "a copy without a date, read on 2026-11-25, reviewed. " in sentence(reviewed, mole.rules[0])
