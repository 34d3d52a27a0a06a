"""What a pack says against itself: each contradiction once, with the sentence and the place."""

from typing import Any

import msgspec
import pytest

from service.packs.contradictions import contradictions
from service.packs.models import NewPack
from service.packs.rules import shipped
from tests.bodies import a_pack

MOLES, GOPHERS = {"species": ["Scapanus"]}, {"species": ["Thomomys"]}


def rule(kind: str, id_: str = "one", **members: Any) -> dict[str, Any]:
    """A rule of that kind."""
    return {"kind": kind, "id": id_, "sentence": "In words.", **members}


def pack(*rules: dict[str, Any], **members: Any) -> NewPack:
    """A pack whose form is right."""
    return msgspec.convert(a_pack(*rules, **members), NewPack)


def found(*rules: dict[str, Any], **members: Any) -> list[tuple[str, str]]:
    """Where what is wrong, and of which kind."""
    return [(one.pointer, one.code) for one in contradictions(pack(*rules, **members))]


@pytest.mark.parametrize("one", shipped(), ids=lambda one: str(one.name))
def test_no_shipped_pack_contradicts_itself_or_another(one: NewPack) -> None:
    assert contradictions(one, [other for other in shipped() if other is not one]) == []


@pytest.mark.parametrize(
    ("members", "expected"),
    [
        (
            {"effective_from": "2026-05-01", "effective_until": "2026-05-01"},
            ("#/effective_until", "until_before_from"),
        ),
        (
            {"effective_from": "2026-05-01", "effective_until": "2026-04-30"},
            ("#/effective_until", "until_before_from"),
        ),
        ({"effective_from": "2026-05-01", "effective_until": "2026-05-02"}, None),
        ({"effective_until": "2026-05-02"}, None),
        ({"text_as_of": "2025-02-29"}, ("#/text_as_of", "not_a_date")),
        ({"text_as_of": "2024-02-29"}, None),
        ({"text_as_of": "2026-03-03"}, ("#/text_as_of", "read_before_text")),
        ({"text_as_of": "2026-04"}, ("#/text_as_of", "read_before_text")),
        ({"text_as_of": "2027"}, ("#/text_as_of", "read_before_text")),
        ({"text_as_of": "2026-03-02"}, None),
        ({"text_as_of": "2026-03"}, None),
        ({"text_as_of": "2026"}, None),
        ({"sub_areas": ["Sonoma", "sonoma county"]}, ("#/sub_areas/1", "doubled")),
        ({"sub_areas": [" county"]}, None),
        ({"sub_areas": ["  "]}, ("#/sub_areas/0", "empty_name")),
        ({"places": ["Alder", "Birch", "ALDER"]}, ("#/places/2", "doubled")),
        ({"region": "ZZ"}, None),
    ],
)
def test_dates_and_areas(members: dict[str, Any], expected: tuple[str, str] | None) -> None:
    assert found(**members) == ([] if expected is None else [expected])


@pytest.mark.parametrize(
    ("rules", "expected"),
    [
        # ids
        ([rule("calendar_day"), rule("elapsed", hours=24)], [("#/rules/1/id", "doubled_id")]),
        # reports: each end once
        (
            [
                rule(
                    "report_due",
                    periods=[
                        {"ends": "02-29", "due": "03-31"},
                        {"ends": "06-30", "due": "07-31"},
                        {"ends": "06-30", "due": "08-31"},
                    ],
                )
            ],
            [
                ("#/rules/0/periods/2/ends", "doubled"),
            ],
        ),
        # lists that name nothing, or what has no effect
        ([rule("permitted_only")], [("#/rules/0/mechanisms", "names_nothing")]),
        ([rule("protected")], [("#/rules/0/species", "names_nothing")]),
        ([rule("protected", mechanisms=["snap"], **MOLES)], [("#/rules/0/mechanisms", "of_no_effect")]),
        ([rule("not_permitted")], []),
        # a word that stands for other rules
        (
            [rule("since_word", word="alarm", hours=2, instead_of=["two", "one"])],
            [("#/rules/0/instead_of/0", "unknown_rule"), ("#/rules/0/instead_of/1", "unknown_rule")],
        ),
        (
            [
                rule("since_word", word="alarm", hours=2, instead_of=["two"]),
                rule("who_may_look", "two", accepts=["setter"]),
            ],
            [("#/rules/0/instead_of/0", "unknown_rule")],
        ),
        (
            [rule("since_word", word="alarm", hours=2, part_of_day="day", from_sunrise=True)],
            [("#/rules/0/from_sunrise", "sun_has_risen")],
        ),
        ([rule("since_word", word="alarm", hours=2, from_sunrise=True)], []),
        # exemptions
        (
            [rule("exemption", of=["two", "one"], **MOLES), rule("exemption", "two", **GOPHERS)],
            [("#/rules/0/of/0", "unknown_rule"), ("#/rules/0/of/1", "unknown_rule")],
        ),
        ([rule("exemption"), rule("calendar_day", "two")], [("#/rules/0", "exempts_everything")]),
        (
            [
                rule("exemption", of=["two"], mechanisms=["snap", "box"]),
                rule("elapsed", "two", hours=24, mechanisms=["snap"], species=["Scapanus townsendii"]),
            ],
            [("#/rules/0", "exempts_everything")],
        ),
        (
            [
                rule("exemption", of=["two"], **MOLES),
                rule("elapsed", "two", hours=24, species=["Scapanus townsendii", "Thomomys"]),
                rule("elapsed", "three", hours=24, species=["Scapanus townsendii"]),
            ],
            [],
        ),
        (
            [
                rule("exemption", under_permit=True),
                rule("calendar_day", "two"),
                rule("elapsed", "three", hours=24, under_permit=True),
            ],
            [("#/rules/0", "exempts_everything")],
        ),
    ],
)
def test_a_rule_against_itself(rules: list[dict[str, Any]], expected: list[tuple[str, str]]) -> None:
    assert found(*rules) == expected


def hours(id_: str, most: int, **scope: Any) -> dict[str, Any]:
    """A look within so many hours."""
    return rule("elapsed", id_, hours=most, **scope)


def alarm(id_: str, most: int, **members: Any) -> dict[str, Any]:
    """A look within so many hours of an alarm."""
    return rule("since_word", id_, hours=most, **{"word": "alarm", **members})


@pytest.mark.parametrize(
    ("rules", "contradicts"),
    [
        ([hours("a", 24), hours("b", 48)], True),
        ([hours("a", 24), hours("b", 24)], False),
        ([hours("a", 24), rule("calendar_day", "b")], False),
        ([rule("calendar_day", "a"), rule("calendar_day", "b", days=2)], True),
        ([rule("latest_hour", "a", hour=12), rule("latest_hour", "b", hour=9)], True),
        ([rule("after_sunrise", "a", hours=12), rule("after_sunrise", "b", hours=9)], True),
        # scopes that share nothing, or something
        ([hours("a", 24, mechanisms=["snap"]), hours("b", 48, mechanisms=["box"])], False),
        ([hours("a", 24, mechanisms=["snap", "box"]), hours("b", 48, mechanisms=["box"])], True),
        ([hours("a", 24, mechanisms=["snap"]), hours("b", 48)], True),
        ([hours("a", 24, **MOLES), hours("b", 48, **GOPHERS)], False),
        ([hours("a", 24, **MOLES), hours("b", 48, species=["Scapanus townsendii"])], True),
        ([hours("a", 24, species=["Scapanus townsendii"]), hours("b", 48, **MOLES)], True),
        (
            [hours("a", 24, species=["Scapanus orarius"]), hours("b", 48, species=["Scapanus townsendii"])],
            False,
        ),
        ([hours("a", 24, mechanisms=["snap"], **MOLES), hours("b", 48, mechanisms=["box"], **MOLES)], False),
        ([hours("a", 24), hours("b", 48, under_permit=True)], True),
        # an exemption parts them
        (
            [
                hours("a", 24),
                hours("b", 48, mechanisms=["snap"]),
                rule("exemption", "c", of=["a"], mechanisms=["snap"]),
            ],
            False,
        ),
        (
            [
                hours("a", 24),
                hours("b", 48, under_permit=True),
                rule("exemption", "c", of=["a"], under_permit=True),
            ],
            False,
        ),
        (
            [
                hours("a", 24),
                hours("b", 48, mechanisms=["snap", "box"]),
                rule("exemption", "c", of=["a"], mechanisms=["snap"]),
            ],
            True,
        ),
        (
            [hours("a", 24), hours("b", 48, **MOLES), rule("exemption", "c", of=["a"], **GOPHERS)],
            True,
        ),
        # words that are told together, or cannot be
        ([alarm("a", 2), alarm("b", 5)], True),
        ([alarm("a", 2, part_of_day="night"), alarm("b", 5, part_of_day="day")], False),
        ([alarm("a", 2, part_of_day="night"), alarm("b", 5, part_of_day="night")], True),
        ([alarm("a", 2, part_of_day="night"), alarm("b", 5)], True),
        ([alarm("a", 2), alarm("b", 5, word="notice")], False),
        ([alarm("a", 2), alarm("b", 2, from_sunrise=True)], True),
        # who may look
        (
            [rule("who_may_look", "a", accepts=["setter"]), rule("who_may_look", "b", accepts=["agent"])],
            True,
        ),
        (
            [
                rule("who_may_look", "a", accepts=["setter", "agent"]),
                rule("who_may_look", "b", accepts=["agent"]),
            ],
            False,
        ),
        # permitted and not
        (
            [
                rule("permitted_only", "a", mechanisms=["snap", "box"]),
                rule("not_permitted", "b", mechanisms=["harpoon", "snap"]),
            ],
            True,
        ),
        (
            [
                rule("not_permitted", "a", mechanisms=["snap"], **MOLES),
                rule("permitted_only", "b", mechanisms=["snap"]),
            ],
            True,
        ),
        (
            [
                rule("permitted_only", "a", mechanisms=["snap"]),
                rule("not_permitted", "b", mechanisms=["harpoon"]),
            ],
            False,
        ),
        ([rule("permitted_only", "a", mechanisms=["snap"]), rule("not_permitted", "b", **MOLES)], False),
        (
            [
                rule("permitted_only", "a", mechanisms=["snap"], **MOLES),
                rule("not_permitted", "b", mechanisms=["snap"], **GOPHERS),
            ],
            False,
        ),
    ],
)
def test_two_rules_of_the_same_sets(rules: list[dict[str, Any]], contradicts: bool) -> None:
    assert found(*rules) == ([("#/rules/1", "contradiction")] if contradicts else [])


def test_sentences_name_both_and_say_what_to_mend() -> None:
    (figures,) = contradictions(pack(hours("a", 24), hours("b", 48)))
    assert figures.detail == (
        "'a' and 'b' cover the same sets and give different figures; "
        "part them by mechanism or species, or exempt the one from the other."
    )
    allowed = rule("permitted_only", "a", mechanisms=["snap"])
    (both,) = contradictions(pack(allowed, rule("not_permitted", "b", mechanisms=["snap"])))
    assert "snap is permitted by the one and not by the other" in both.detail
    (all_of_it,) = contradictions(pack(rule("exemption", of=["two"]), rule("calendar_day", "two")))
    assert "leaves out all that 'two' covers" in all_of_it.detail
    backwards = pack(effective_from="2026-05-01", effective_until="2026-04-30")
    (dates,) = contradictions(backwards)
    assert "2026-04-30 must come after `effective_from` 2026-05-01" in dates.detail


@pytest.mark.parametrize(
    ("other", "overlaps"),
    [
        ({}, True),
        ({"effective_from": "2026-06-30"}, True),
        ({"effective_from": "2026-07-01"}, False),
        ({"effective_until": "2026-01-01"}, False),
        ({"effective_until": "2026-01-02"}, True),
        ({"name": "another-reading"}, False),
    ],
)
def test_two_packs_of_one_name_do_not_hold_on_one_day(other: dict[str, Any], overlaps: bool) -> None:
    new = pack(effective_from="2026-01-01", effective_until="2026-07-01")
    faults = contradictions(new, [pack(**other)])
    assert [(one.pointer, one.code) for one in faults] == ([("#/name", "overlaps")] if overlaps else [])


def test_an_overlap_names_the_dates_of_both() -> None:
    new = pack(effective_from="2026-01-01", effective_until="2026-07-01")
    (fault,) = contradictions(new, [pack(effective_from="2026-03-01")])
    assert fault.detail == (
        "Two packs of the name 'our-reading' would hold at once, from 2026-01-01 until 2026-07-01 and "
        "from 2026-03-01 without an end; end the one before the other begins, or name it otherwise."
    )
    (ever,) = contradictions(pack(), [pack()])
    assert "from the beginning without an end and from the beginning without an end" in ever.detail
