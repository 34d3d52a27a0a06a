"""Restrictions: checked against the texts that the register cites, as read in published copies of them."""

import pytest

from service.restrictions.rules import register, restrictions, sentence

MOLE, GOPHER = "Scapanus townsendii", "Thomomys mazama"


@pytest.mark.parametrize(
    ("region", "county", "mechanism", "species", "states"),
    [
        # Washington: RCW 77.15.194 with AGO 2002 No. 3 (harpoon), the others by the same definition
        ("US-WA", "King", "harpoon", MOLE, ["law"]),
        ("US-WA", "King", "scissor_jaw", MOLE, ["caution"]),
        ("US-WA", "King", "box", MOLE, []),
        # Mazama pocket gophers, 79 FR 19760: Thurston and Pierce counties only
        ("US-WA", "Thurston County", "box", GOPHER, ["law"]),
        ("US-WA", "King", "box", GOPHER, []),
        # Massachusetts: M.G.L. c. 131 § 80A, an allow-list for all mammals
        ("US-MA", None, "choker_loop", "Scalopus aquaticus", ["law"]),
        ("US-MA", None, "snap", "Microtus pennsylvanicus", []),
        # Connecticut: CGS 26-47, moles
        ("US-CT", None, "harpoon", "Scalopus aquaticus", ["law"]),
        ("US-CT", None, "snap", "Microtus pennsylvanicus", []),
        # Germany and its states: BNatSchG § 44(1) 1, the mole
        ("DE", None, "scissor_jaw", "Talpa europaea", ["law"]),
        ("DE-BY", None, None, "Talpa europaea", ["law"]),
        # nothing read says so
        ("US-CA", "Sonoma", "harpoon", "Scapanus latimanus", []),
        ("GB", None, "scissor_jaw", "Talpa europaea", []),
        ("US-WA", "King", None, MOLE, []),
    ],
)
def test_what_fits_a_place_a_mechanism_and_an_animal(
    region: str, county: str | None, mechanism: str | None, species: str, states: list[str]
) -> None:
    assert [one.state for one in restrictions(region, county, mechanism, species)] == states


def test_each_names_whom_to_ask_by_which_text_and_what_comes_first() -> None:
    for one in register():
        said = sentence(one)
        assert one.authority in said
        assert one.citation in said
        assert "licensed practice come first" in said
