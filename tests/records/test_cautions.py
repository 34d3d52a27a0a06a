"""The cautions of a record: of the visit's animals, of what stands at its end, of the hazards stated by then."""

from datetime import timedelta
from typing import Any

import pytest

from service.cautions.rules import register
from service.events.outbox import entry
from service.properties.door import PROPERTY
from service.properties.models import NewProperty
from service.records.rules import content, content_digest
from service.stated import door as stated
from tests.records.book import a_check, a_set, an_animal, an_id, facts_of, head_of, la, visit
from tests.records.conftest import BUSINESS, NOW, PROPERTY_ID, Book

SECOND, THIRD = visit(12, la(8, 10), 30), visit(13, la(12, 9), 20)
AT = la(8, 10, 5)
# of every set that stands, a scissor-jaw for the mole that the job names
STANDING = {"traps_stand", "cover_and_tell", "count_traps", "safety_catch", "point_away", "mole_runs"}
DEAD = {"dead_animal", "disinfect"}


def codes(**facts: Any) -> list[str]:
    """The cautions of the record of the second visit."""
    return [one.code for one in content(facts_of(SECOND, [SECOND], **facts)).cautions]


def test_a_visit_that_left_and_met_nothing_has_none() -> None:
    assert codes() == []
    assert codes(head=head_of(SECOND, hazards=("children", "irrigation", "gas_line"))) == []


def test_a_set_that_stands_at_the_end_brings_its_own_and_the_hazards() -> None:
    found = codes(head=head_of(SECOND, hazards=("children",)), placings=[a_set(31, SECOND, AT)])
    assert set(found) == STANDING | DEAD | {"children"}
    assert found == [one.code for one in register().cautions if one.code in found]


@pytest.mark.parametrize(
    ("placed", "more"),
    [
        ({"mechanism": "harpoon"}, {"search_ground"}),
        ({"depth_mm": 320}, {"locate_ticket", "one_call"}),
        ({"foot_traffic": "path"}, {"foot_traffic"}),
        ({"cover": "board", "cover_on_turf": True}, {"cover_on_turf"}),
        ({"target": "Thomomys bottae"}, {"gopher_runs", "stake_and_wire"}),
    ],
)
def test_what_was_stated_of_a_set_brings_its_own(placed: dict[str, Any], more: set[str]) -> None:
    found = set(codes(placings=[a_set(31, SECOND, AT, **placed)]))
    assert found - STANDING - DEAD == more


@pytest.mark.parametrize(("action", "stands"), [("left", True), ("made_safe", True), ("pulled", False)])
def test_what_was_fetched_calls_up_nothing_more(action: str, stands: bool) -> None:
    trap = a_set(31, SECOND, AT)
    look = a_check(41, trap.set_id, SECOND, la(8, 10, 20), action=action)
    assert set(codes(placings=[trap], checks=[look])) == (STANDING | DEAD if stands else set())


@pytest.mark.parametrize(
    ("fate", "is_dead"), [("dead_in_trap", True), ("dispatched", True), ("escaped", False)]
)
def test_a_dead_animal_of_the_visit_is_told_of(fate: str, is_dead: bool) -> None:
    assert set(codes(caught=[an_animal(51, fate=fate)])) == (DEAD if is_dead else set())


def test_hollow_paving_is_told_from_a_sign_of_the_visit_or_the_property() -> None:
    for met in ({"paving_undermined": True}, {"hazards": ("hollowed_paving",)}):
        assert codes(head=head_of(SECOND, **met)) == ["hollowed_paving"]


def test_of_two_sets_each_caution_is_said_once_and_their_order_does_not_matter() -> None:
    sets = [a_set(31, SECOND, AT), a_set(32, SECOND, AT, mechanism="harpoon", target="Talpa europaea")]
    facts = facts_of(SECOND, [SECOND], placings=sets)
    stated_ = content(facts)
    assert content_digest(content(facts_of(SECOND, [SECOND], placings=sets[::-1]))) == content_digest(stated_)
    said = {one.code: one.called_up_by for one in stated_.cautions}
    assert len(said) == len(stated_.cautions)
    assert said["mole_runs"] == ["animal Scapanus latimanus", "animal Talpa europaea"]
    assert said["safety_catch"] == ["mechanism harpoon", "mechanism scissor_jaw"]


# From the book --------------------------------------------------------------------------------------------
async def now_with(book: Book, version: int, at: Any, *hazards: str) -> None:
    """The office amends the property at that instant."""
    place = NewProperty(
        name="Lower field",
        kind="school",
        zone="America/Los_Angeles",
        region="US-CA",
        hazards=list(hazards),  # type: ignore[arg-type]
    )
    async with entry(book.pool, BUSINESS, at) as opened:
        await stated.put(opened, PROPERTY, PROPERTY_ID, place, f'"{version}"')


async def told_in(book: Book, number: int) -> set[str]:
    """The cautions of the latest record of a visit that are of a hazard."""
    cautions = (await book.latest(number))["content"]["cautions"]
    return {one["code"] for one in cautions if any("hazard" in cause for cause in one["called_up_by"])}


async def test_hazards_are_those_that_were_stated_when_the_visit_ended(book: Book) -> None:
    """What the office learns later stands in the records of later visits, and changes none of before."""
    await now_with(book, 1, la(2, 12), "pets")
    await now_with(book, 2, la(9, 12), "pets", "irrigation")
    placed = {"placed_at": la(1, 10), "mechanism": "box", "traps": [{"no": 1}]}
    await book.visit(11, la(1, 10), 40, sets=[{"id": an_id(31), **placed}])
    for number, day in ((12, 8), (13, 12)):
        await book.visit(number, la(day, 10), 30)
    for number in (11, 12, 13):
        await book.issue(number)
    # before anybody had amended the property, as it was stated first
    assert await told_in(book, 11) == set()
    assert await told_in(book, 12) == {"pets"}
    assert await told_in(book, 13) == {"pets", "private_lines"}
    await now_with(book, 3, NOW - timedelta(minutes=1), "children")
    for number in (11, 12, 13):
        assert await book.issue(number) is None
