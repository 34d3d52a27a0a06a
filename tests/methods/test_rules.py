"""The register restates FIFRA § 2, 40 CFR 152.25(f), 152.500 and 7 CFR 205.206, as it cites them."""

import typing
from uuid import UUID

import pytest

from service.kernel.values import Mechanism
from service.methods.models import ClassName, Method, NewMethod
from service.methods.rules import (
    UNCLASSIFIED,
    class_of,
    faults_of_method,
    key_of,
    register_of,
    said_of,
    shipped,
)
from tests.bodies import NOW, an_id

REGISTER = shipped().classes
# 40 CFR 152.25(f)(1), table 1, by the names that a label shows: 80 FR 80653 (28 December 2015), chitosan by 87 FR 67364
# (8 November 2022). Read on 28 November 2026 in a copy that somebody else published, not on the government's own page,
# and compared with EPA's list of active ingredients from before 2015.
MINIMUM_RISK = """
Castor oil; Cedarwood oil; Chitosan; Cinnamon; Cinnamon oil; Citric acid; Citronella; Citronella oil; Cloves; Clove oil;
Corn gluten meal; Corn oil; Cornmint; Cornmint oil; Cottonseed oil; Dried blood; Eugenol; Garlic; Garlic oil; Geraniol;
Geranium oil; Lauryl sulfate; Lemongrass oil; Linseed oil; Malic acid; Peppermint; Peppermint oil;
2-Phenylethyl propionate; Potassium sorbate; Putrescent whole egg solids; Rosemary; Rosemary oil; Sesame; Sesame oil;
Sodium chloride; Sodium lauryl sulfate; Soybean oil; Spearmint; Spearmint oil; Thyme; Thyme oil; White pepper;
Zinc metal strips
"""
# EPA's list before 2015: the rule put the kinds of mint and of cedarwood in their place
OLDER_NAMES = {"Cedar oil", "Mint", "Mint oil"}
GROUND = "Sample Town code, section 4"


@pytest.mark.parametrize("mechanism", typing.get_args(Mechanism))
def test_no_mechanism_of_a_set_breaks_the_claim(mechanism):
    assert not class_of(mechanism).of.breaks_claim


@pytest.mark.parametrize(
    ("method", "name"),
    [
        ("castor_oil", "minimum_risk_pesticide"),
        ("repellent", "registered_pesticide"),
        ("gas_cartridge", "registered_pesticide"),
        ("treated_seed", "registered_pesticide"),
        ("carbon_monoxide", "device_without_substance"),
        ("sound_device", "device_without_substance"),
        ("something from a shed", "unclassified"),
        ("", "unclassified"),
    ],
)
def test_what_repels_kills_or_is_unknown_breaks_it(method, name):
    assert class_of(method).of.name == name
    assert class_of(method).of.breaks_claim


def test_the_minimum_risk_substances_are_those_of_the_regulation_and_no_other():
    listed = {one.strip() for one in MINIMUM_RISK.split(";")} | OLDER_NAMES
    (kept,) = [one.methods for one in REGISTER if one.name == "minimum_risk_pesticide"]
    assert sorted(kept) == sorted(map(key_of, listed))


@pytest.mark.parametrize("written", ["Castor Oil", "castor-oil", " castor oil ", "CASTOR_OIL"])
def test_a_method_is_known_however_people_write_it(written):
    assert class_of(written).of.name == "minimum_risk_pesticide"


def test_every_class_stands_once_with_its_ground_and_no_method_in_two():
    names = [one.name for one in (*REGISTER, UNCLASSIFIED)]
    assert sorted(names) == sorted(typing.get_args(ClassName))
    assert all(one.ground for one in (*REGISTER, UNCLASSIFIED))
    methods = [method for one in REGISTER for method in one.methods]
    assert len(methods) == len(set(methods))
    assert all(class_of(method).of.name == one.name for one in REGISTER for method in one.methods)


# What the business classes itself --------------------------------------------------------------------------
def own(name: str, method_class: str, **more: typing.Any) -> NewMethod:
    return NewMethod(name=name, method_class=method_class, ground=GROUND, **more)


def test_what_is_on_no_register_counts_as_the_business_classed_it_with_its_ground():
    owl_box = own("Owl box", "exclusion")
    assert class_of("owl-box").of.breaks_claim
    known = class_of("owl-box", [owl_box])
    assert (known.of.name, known.of.breaks_claim, known.ground) == ("exclusion", False, GROUND)
    assert faults_of_method(owl_box, []) == []


@pytest.mark.parametrize(
    ("name", "method_class", "is_laxer"),
    [
        ("castor oil", "exclusion", True),
        ("castor oil", "device_without_substance", True),
        ("castor oil", "registered_pesticide", False),
        ("gas cartridge", "minimum_risk_pesticide", True),
        ("Sound Device", "hand_removal", True),
        ("sound device", "registered_pesticide", False),
        ("flooding with water", "registered_pesticide", False),
    ],
)
def test_a_shipped_method_may_be_classed_more_strictly_and_never_laxer(name, method_class, is_laxer):
    stated = own(name, method_class)
    assert [one.code for one in faults_of_method(stated, [])] == (["laxer"] if is_laxer else [])
    # nor does one count that was kept before the register had the method
    assert (class_of(name, [stated]).of.name == method_class) is not is_laxer


def test_a_method_is_classed_once_has_a_name_and_is_no_mechanism_of_sets():
    assert [one.code for one in faults_of_method(own("owl box", "exclusion"), [own("OWL-BOX", "net")])] == [
        "classed_twice"
    ]
    assert [one.code for one in faults_of_method(own("---", "exclusion"), [])] == ["no_name"]
    assert [one.code for one in faults_of_method(own("Snap", "registered_pesticide"), [])] == ["mechanism"]


def test_names_of_other_scripts_are_told_apart():
    """Else one harmless method without a Latin letter would make all of them harmless."""
    harmless = own("сетка", "exclusion")
    assert class_of("СЕТКА", [harmless]).of.name == "exclusion"
    assert class_of("отрава", [harmless]).of.name == "unclassified"
    assert key_of("ｃａｓｔｏｒ　ｏｉｌ") == "castor_oil"


def test_the_register_says_when_it_was_read_and_that_free_of_pesticide_is_not_free_of_licence():
    """California Food and Agricultural Code § 11403: pest control includes the use of trapping devices."""
    kept = Method(
        id=UUID(an_id(1)), version=1, received_at=NOW, name="owl box", method_class="exclusion", ground=GROUND
    )
    shown = register_of([kept])
    assert str(shown.verified_on) == "2026-11-25"
    assert "§ 11403" in shown.notice
    assert [(one.id, one.origin) for one in shown.methods if one.name == "owl box"] == [(kept.id, "own")]
    assert [one.flag for one in shown.classes if one.flag] == ["device without substance: states differ"]
    assert said_of("device_without_substance") == "device without substance: states differ"
    assert all(one.citation for one in REGISTER)
