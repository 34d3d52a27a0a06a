"""Cautions: each hazard, mechanism and animal calls up what it should; the sources are those of the data file.

What is marked common practice has no other source.
"""

import json
from importlib import resources
from typing import Any, get_args

import msgspec
import pytest

from service.cautions.models import Advice, Met, Register
from service.cautions.rules import FILE, cautions_for, merged, register
from service.kernel.values import Hazard, Mechanism

NO_SET = Met(has_set=False)
ANY_SET = ["traps_stand", "cover_and_tell", "count_traps"]
SPRUNG = ["safety_catch", "point_away"]
DEAD = ["dead_animal", "disinfect"]
LINES = ["locate_ticket", "one_call", "private_lines"]
GUILD = "code of practice of a trappers' guild"
PRACTICE = "common practice"
CODES = [one.code for one in register().cautions]


def codes(**members: Any) -> set[str]:
    """What is called up, without that which any set calls up."""
    return {one.code for one in cautions_for(Met(**members))} - set(ANY_SET)


@pytest.mark.parametrize(
    ("hazard", "at_a_set", "at_the_place"),
    [
        ("foot_traffic", ["foot_traffic"], []),
        ("children", ["children"], []),
        ("pets", ["pets"], []),
        ("livestock", ["livestock"], []),
        ("buried_cables", LINES, []),
        ("irrigation", ["private_lines"], []),
        ("gas_line", LINES, []),
        ("hollowed_paving", ["hollowed_paving"], ["hollowed_paving"]),
        ("water", ["water"], ["water"]),
        ("vehicles", ["vehicles"], ["vehicles"]),
    ],
)
def test_every_hazard_of_a_property_has_its_cautions(
    hazard: Hazard, at_a_set: list[str], at_the_place: list[str]
) -> None:
    assert codes(hazards=(hazard,)) == set(at_a_set)
    assert codes(has_set=False, hazards=(hazard,)) == set(at_the_place)
    for one in cautions_for(Met(hazards=(hazard,))):
        assert one.called_up_by == (["set"] if one.code in ANY_SET else [f"hazard {hazard}"])


@pytest.mark.parametrize(
    ("mechanism", "called_up"),
    [
        ("scissor_jaw", [*SPRUNG, *DEAD]),
        ("harpoon", [*SPRUNG, *DEAD, "search_ground"]),
        ("choker_loop", [*SPRUNG, *DEAD]),
        ("two_prong_pincer", [*SPRUNG, *DEAD, "stake_and_wire"]),
        ("snap", [*SPRUNG, *DEAD]),
        ("box", DEAD),
        ("live_tunnel", []),
    ],
)
def test_every_mechanism_has_its_cautions(mechanism: Mechanism, called_up: list[str]) -> None:
    assert codes(mechanism=mechanism) == set(called_up)


@pytest.mark.parametrize(
    ("animal", "called_up"),
    [
        *((f"{genus} sp", ["mole_runs"]) for genus in ("Scapanus", "Scalopus", "Talpa")),
        *((f"{genus} sp", ["mole_runs"]) for genus in ("Condylura", "Parascalops", "Neurotrichus")),
        *(
            (f"{genus} sp", ["gopher_runs", "stake_and_wire"])
            for genus in ("Thomomys", "Geomys", "Cratogeomys")
        ),
        ("Scapanus latimanus parvus", ["mole_runs"]),
        ("Microtus californicus", []),
        ("Otospermophilus beecheyi", []),
        ("Talpasorex sp", []),
        ("unidentified", []),
    ],
)
def test_animals_are_known_by_their_genus(animal: str, called_up: list[str]) -> None:
    assert codes(target=animal) == set(called_up)


@pytest.mark.parametrize(
    ("met", "called_up"),
    [
        ({"foot_traffic": "none"}, []),
        ({"foot_traffic": "some"}, ["foot_traffic"]),
        ({"foot_traffic": "path"}, ["foot_traffic"]),
        ({"cover_on_turf": True}, ["cover_on_turf"]),
        ({"undermined_paving": True}, ["hollowed_paving"]),
        ({"dead_animal": True}, DEAD),
    ],
)
def test_what_was_stated_of_the_spot_has_its_cautions(met: dict[str, Any], called_up: list[str]) -> None:
    assert codes(**met) == set(called_up)


@pytest.mark.parametrize(
    ("depth_mm", "is_named"),
    [(None, False), (0, False), (200, False), (300, False), (301, True), (560, True)],
)
def test_a_set_deeper_than_a_mole_run_names_the_locate_ticket(depth_mm: int | None, is_named: bool) -> None:
    """Deep mole runs lie 20 to 30 cm down (UC IPM Pest Notes: Moles); the exemption of shallow digging is not a
    hired trapper's (RCW 19.122.031, OAR 952-001-0050)."""
    said = {one.code: one for one in cautions_for(Met(depth_mm=depth_mm))}
    assert ("locate_ticket" in said) is is_named
    if is_named:
        assert "locate ticket" in said["locate_ticket"].sentence
        assert "hired trapper" in said["locate_ticket"].sentence
        assert said["locate_ticket"].called_up_by == [f"depth {depth_mm} mm"]


def test_a_place_where_nothing_was_met_with_has_none() -> None:
    assert cautions_for(NO_SET) == ()


def test_one_caution_names_all_that_called_it_up() -> None:
    deep = Met(depth_mm=400, hazards=("gas_line", "buried_cables"))
    (ticket,) = [one for one in cautions_for(deep) if one.code == "locate_ticket"]
    assert ticket.called_up_by == ["depth 400 mm", "hazard buried_cables", "hazard gas_line"]


def test_several_lists_are_merged_in_the_order_of_the_file_whatever_theirs() -> None:
    shallow, deep = Met(mechanism="harpoon", hazards=("pets",)), Met(mechanism="snap", depth_mm=320)
    lists = [cautions_for(one) for one in (shallow, deep, NO_SET)]
    found = merged(lists)
    assert merged(reversed(lists)) == found
    said = [one.code for one in found]
    assert said == sorted(set(said), key=CODES.index)
    assert set(said) == {one.code for lines in lists for one in lines}
    (catch,) = [one for one in found if one.code == "safety_catch"]
    assert catch.called_up_by == ["mechanism harpoon", "mechanism snap"]


# The data file --------------------------------------------------------------------------------------------
def test_every_caution_has_its_source_and_something_that_calls_it_up() -> None:
    assert len(set(CODES)) == len(CODES)
    for one in register().cautions:
        triggers = [*one.mechanisms, *one.genera, *one.hazards, *one.foot_traffic, *one.circumstances]
        assert triggers or one.deeper_than_mm is not None, one.code
        assert one.source.strip(), one.code
        assert len(set(triggers)) == len(triggers), one.code


@pytest.mark.parametrize(
    ("code", "source"),
    [
        *(
            (code, PRACTICE)
            for code in ("hollowed_paving", "private_lines", "foot_traffic", "vehicles", "water")
        ),
        *((code, PRACTICE) for code in ("traps_stand", "point_away", "search_ground", "count_traps")),
        *((code, GUILD) for code in ("children", "pets", "livestock", "cover_and_tell")),
        ("locate_ticket", "RCW 19.122.030, 19.122.031; OAR 952-001-0050; California Government Code 4216"),
        ("one_call", "RCW 19.122.030; OAR 952-001-0050; California Government Code 4216"),
        ("mole_runs", "UC IPM Pest Notes: Moles"),
        ("gopher_runs", "Mammals of Texas, pocket gopher burrows"),
        ("safety_catch", "UC IPM"),
        ("stake_and_wire", "UC IPM Pest Note 7433: Pocket Gophers"),
        ("cover_on_turf", "US National Park Service, flooring on turf"),
        ("dead_animal", "California Department of Fish and Wildlife"),
        ("disinfect", "Centers for Disease Control and Prevention; US cooperative extension"),
    ],
)
def test_whose_word_it_is(code: str, source: str) -> None:
    assert {one.code: one.source for one in register().cautions}[code] == source


def test_all_that_the_contract_knows_calls_up_something() -> None:
    advice = register().cautions
    assert {one for each in advice for one in each.hazards} == set(get_args(Hazard))
    assert {one for each in advice for one in each.mechanisms} == set(get_args(Mechanism)) - {"live_tunnel"}


def test_dead_animals_are_gloved_bagged_and_wetted_without_ammonia() -> None:
    said = {one.code: one.sentence for one in cautions_for(Met(has_set=False, dead_animal=True))}
    assert all(word in said["dead_animal"] for word in ("gloves", "bag", "soap", "fleas and ticks"))
    assert all(word in said["disinfect"] for word in ("1 part bleach to 9 parts water", "never with ammonia"))


@pytest.mark.parametrize(
    "wrong",
    [
        {"hazards": ["dragons"]},
        {"mechanisms": ["pitfall"]},
        {"genera": ["scapanus"]},
        {"circumstances": ["rain"]},
        {"foot_traffic": ["crowd"]},
        {"to": "nobody"},
        {"source": ""},
        {"sentence": "no capital, no stop"},
        {"code": "Two Words"},
        {"colour": "red"},
    ],
)
def test_the_file_is_read_strictly(wrong: dict[str, Any]) -> None:
    text = json.loads(resources.files("service.cautions").joinpath(FILE).read_bytes())
    assert msgspec.convert(text, Register) == register()
    text["cautions"][0] |= wrong
    with pytest.raises(msgspec.ValidationError):
        msgspec.convert(text, Register)


def test_a_caution_without_a_source_is_none() -> None:
    with pytest.raises(msgspec.ValidationError, match="source"):
        msgspec.convert({"code": "one", "to": "worker", "sentence": "One thing."}, Advice)
