"""The register restates FIFRA § 2, 40 CFR 152.25(f), 152.500(a) and 7 CFR 205.206, as it cites them."""

import typing

import pytest

from service.kernel.values import Mechanism
from service.methods.models import ClassName
from service.methods.rules import REGISTER, UNCLASSIFIED, class_of


@pytest.mark.parametrize("mechanism", typing.get_args(Mechanism))
def test_no_mechanism_of_a_set_breaks_the_claim(mechanism):
    assert not class_of(mechanism).breaks_claim


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
    assert class_of(method).name == name
    assert class_of(method).breaks_claim


@pytest.mark.parametrize("written", ["Castor Oil", "castor-oil", " castor oil ", "CASTOR_OIL"])
def test_a_method_is_known_however_people_write_it(written):
    assert class_of(written).name == "minimum_risk_pesticide"


def test_every_class_stands_once_with_its_ground_and_no_method_in_two():
    names = [one.name for one in (*REGISTER, UNCLASSIFIED)]
    assert sorted(names) == sorted(typing.get_args(ClassName))
    assert all(one.ground for one in (*REGISTER, UNCLASSIFIED))
    methods = [method for one in REGISTER for method in one.methods]
    assert len(methods) == len(set(methods))
    assert all(class_of(method).name == one.name for one in REGISTER for method in one.methods)
