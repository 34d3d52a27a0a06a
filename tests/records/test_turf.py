"""The turf of a record; lawn cases and areas are our own arithmetic (an ellipse is a quarter of pi, length, width)."""

from datetime import timedelta
from typing import Any

import pytest

from service.records.accounts import rested_on
from service.records.facts import BoundStated, SetRepaired
from service.records.lines import OpeningLine, TurfFigure
from service.records.models import VisitContent
from service.records.rules import content, scope_of
from service.signs.models import Cleared, Looked, Mention, Seen, SignFacts
from tests.records.book import PROPERTY, a_check, a_set, an_id, castor_oil, facts_of, la, visit

# mown on Wednesday the 13th at 15:00, a mound seen on Thursday at 10:00: off by Saturday 15:00 (72 hours)
BEFORE, SEEN, CLEARED, AFTER = (
    visit(11, la(13, 9), 20),
    visit(12, la(14, 10), 30),
    visit(13, la(16, 14), 60),
    visit(14, la(20, 10), 30),
)
VISITS = [BEFORE, SEEN, CLEARED, AFTER]
SIGN = an_id(61)
NONE = TurfFigure(count=0, area_m2=None)


def mown(at: Any = None, **more: Any) -> BoundStated:
    """On the 13th at 15:00, unless said otherwise."""
    stated = {"id": an_id(65), "kind": "mowing", "property_id": PROPERTY, "visit_id": None}
    return BoundStated(**stated | {"at": at or la(13, 15)} | more)


def a_mound(**facts: Any) -> SignFacts:
    """43 by 40 centimetres, seen by the second visit."""
    sign = Seen(
        id=SIGN,
        visit_id=SEEN.id,
        property_id=PROPERTY,
        at=la(14, 10, 5),
        count=1,
        on_turf=True,
        length_mm=430,
        width_mm=400,
    )
    return SignFacts(sign_id=SIGN, sign=sign, **facts)


def cleared(at: Any, by: Any = CLEARED, number: int = 71) -> Cleared:
    return Cleared(id=an_id(number), visit_id=by.id, property_id=PROPERTY, at=at)


def looked(at: Any, by: Any = AFTER, **more: Any) -> Looked:
    return Looked(id=an_id(66), visit_id=by.id, property_id=PROPERTY, at=at, **more)


def record(of: Any, **facts: Any) -> VisitContent:
    return content(facts_of(of, VISITS, **facts))


@pytest.mark.parametrize(
    ("off_at", "verdict", "outcome"),
    [(la(16, 14, 59), "in_time", "saved"), (la(16, 15, 1), "late", "lost")],
)
def test_turf_is_told_by_the_visit_that_saw_it_and_by_the_one_that_cleared_it(off_at, verdict, outcome):
    mound = a_mound(clearings=[cleared(off_at)])
    seen = record(SEEN, signs=[mound], bounds=[mown()])
    assert [(one.verdict, one.outcome, one.cleared_at) for one in seen.turf] == [("still_lying", None, None)]
    assert seen.turf_figures.still_lying == TurfFigure(count=1, area_m2="0.135088")
    [line] = record(CLEARED, signs=[mound], bounds=[mown()]).turf
    assert (line.sign_id, line.verdict, line.outcome, line.area_m2) == (SIGN, verdict, outcome, "0.135088")
    assert (line.earliest_from, line.earliest_at, line.due_at) == ("mowing", la(13, 15), la(16, 15))
    assert record(BEFORE, signs=[mound], bounds=[mown()]).turf == []


def test_what_a_later_visit_sees_changes_no_record_of_before_and_stands_in_its_own():
    soon = a_mound(clearings=[cleared(la(16, 14, 30))])
    dead = a_mound(clearings=[cleared(la(16, 14, 30))], looks=[looked(la(20, 10, 5), turf="dead")])
    assert record(CLEARED, signs=[dead], bounds=[mown()]) == record(CLEARED, signs=[soon], bounds=[mown()])
    after = record(AFTER, signs=[dead], bounds=[mown()])
    assert [(one.outcome, one.turf) for one in after.turf] == [("lost", "dead")]
    assert after.turf_figures.lost == TurfFigure(count=1, area_m2="0.135088")
    assert after.turf_figures.saved == NONE


def test_a_mowing_that_is_stated_later_but_lies_before_counts_and_one_after_the_end_does_not():
    mound = a_mound()
    assert record(SEEN, signs=[mound]).turf[0].earliest_from == "unknown"
    assert record(SEEN, signs=[mound], bounds=[mown()]).turf[0].earliest_from == "mowing"
    later = [mown(SEEN.ended_at + timedelta(microseconds=1))]
    assert record(SEEN, signs=[mound], bounds=later) == record(SEEN, signs=[mound])


def test_what_had_lain_too_long_when_it_was_seen_is_found_late_and_no_loss_of_ours():
    """Found clear on the 4th, seen on the 14th: 72 hours were over, and it was not cleared by that day's end."""
    mound = a_mound(clearings=[cleared(la(16, 14, 30))])
    figures = record(CLEARED, signs=[mound], bounds=[mown(la(4, 9), kind="survey")]).turf_figures
    assert (figures.found_late, figures.lost) == (TurfFigure(count=1, area_m2="0.135088"), NONE)


def test_each_spell_of_soil_is_told_by_the_visits_of_its_own_time():
    again = a_mound(
        clearings=[cleared(la(14, 10, 20), SEEN), cleared(la(20, 10, 20), AFTER, 72)],
        looks=[looked(la(16, 14, 5), CLEARED, fresh_soil=True)],
    )
    starts = [
        [one.started_at for one in record(of, signs=[again], bounds=[mown()]).turf]
        for of in (SEEN, CLEARED, AFTER)
    ]
    assert starts == [[la(14, 10, 5)], [la(16, 14, 5)], [la(16, 14, 5)]]


def test_a_repair_touches_the_turf_and_the_record_rests_on_all_who_stated_something_of_it():
    mention = Mention(noun="repair", id=an_id(81), visit_id=AFTER.id, property_id=PROPERTY, at=la(20, 10, 9))
    survey = visit(15, la(13, 16), 10)
    mound = a_mound(
        clearings=[cleared(la(16, 14, 30))],
        looks=[looked(la(16, 14, 40), CLEARED, turf="dead")],
        mentions=[mention],
    )
    bounds = [mown(), mown(la(13, 16), id=an_id(67), kind="survey", visit_id=survey.id)]
    facts = facts_of(AFTER, [CLEARED, AFTER], signs=[mound], bounds=bounds)
    stated = content(facts)
    assert [(one.outcome, one.repaired_at) for one in stated.turf] == [("lost", la(20, 10, 9))]
    assert rested_on(scope_of(facts.head), facts, stated) == {SEEN.id, CLEARED.id, AFTER.id, survey.id}


# What our own digging did ------------------------------------------------------------------------------------
DUG = {"opening_on_turf": True, "opening_length_mm": 250, "opening_width_mm": 150}


def test_what_was_dug_open_in_turf_is_told_when_it_is_opened_and_when_it_is_closed():
    """A quarter of pi times 0.25 m times 0.15 m: 0.029452 square metres."""
    trap = a_set(31, SEEN, la(14, 10, 5), **DUG)
    look = a_check(41, trap.set_id, CLEARED, la(16, 14, 5), action="pulled", opening_closed=True)
    opened = record(SEEN, placings=[trap], checks=[look])
    line = OpeningLine(set_id=trap.set_id, opened_at=la(14, 10, 5), closed_at=None, area_m2="0.029452")
    assert opened.openings == [line]
    area = TurfFigure(count=1, area_m2="0.029452")
    assert (opened.turf_figures.opened, opened.turf_figures.opened_still) == (area, area)
    closed = record(CLEARED, placings=[trap], checks=[look])
    assert [one.closed_at for one in closed.openings] == [la(16, 14, 5)]
    assert (closed.turf_figures.opened, closed.turf_figures.opened_still) == (area, NONE)
    assert record(AFTER, placings=[trap], checks=[look]).openings == []


def test_a_repair_of_the_set_closes_its_opening():
    trap = a_set(31, SEEN, la(14, 10, 5), **DUG)
    repair = SetRepaired(
        noun="repair",
        fact_id=an_id(81),
        set_id=trap.set_id,
        visit_id=AFTER.id,
        property_id=PROPERTY,
        at=la(20, 10, 9),
    )
    stated = record(AFTER, placings=[trap], set_repairs=[repair])
    assert [one.closed_at for one in stated.openings] == [la(20, 10, 9)]
    assert [one.closed_at for one in record(SEEN, placings=[trap], set_repairs=[repair]).openings] == [None]


@pytest.mark.parametrize("dug", [{"opening_on_turf": False}, {}, {"opening_on_turf": True}])
def test_an_opening_in_no_turf_is_not_told_and_one_without_a_measure_has_no_area(dug):
    stated = record(SEEN, placings=[a_set(31, SEEN, la(14, 10, 5), **dug)])
    assert [one.area_m2 for one in stated.openings] == ([None] if dug.get("opening_on_turf") else [])


def test_a_cover_of_ours_stands_apart_from_soil_and_comes_off_with_a_look():
    """A board is a rectangle: 0.6 m times 0.4 m."""
    board = {"cover": "board", "cover_length_mm": 600, "cover_width_mm": 400, "cover_on_turf": True}
    trap = a_set(31, SEEN, la(14, 10, 5), **board)
    look = a_check(41, trap.set_id, CLEARED, la(16, 14, 5), cover="lifted_off")
    placed = record(SEEN, placings=[trap], checks=[look])
    assert [(one.set_id, one.verdict, one.outcome, one.area_m2) for one in placed.turf] == [
        (trap.set_id, "still_lying", None, "0.240000")
    ]
    assert [one.kind for one in placed.next_due] == ["check", "lawn_cover"]
    lifted = record(CLEARED, placings=[trap], checks=[look])
    assert [(one.verdict, one.cleared_at) for one in lifted.turf] == [("in_time", la(16, 14, 5))]
    assert lifted.turf_figures.covered == TurfFigure(count=1, area_m2="0.240000")
    assert [one.kind for one in lifted.next_due] == ["check"]
    assert record(AFTER, placings=[trap], checks=[look]).turf == []


# Treatments in a word of their own ----------------------------------------------------------------------------
def test_none_is_stated_none_is_known_or_each_is_listed():
    stating = visit(16, la(21, 9), 20, states_none=True)
    assert content(facts_of(AFTER, VISITS)).treatments_said == "none_known"
    assert content(facts_of(stating, [*VISITS, stating])).treatments_said == "none_stated"
    told = content(facts_of(stating, [*VISITS, stating], [castor_oil(la(20, 12), registration="EPA 1-2")]))
    assert told.treatments_said == "listed"
    assert [(one.method, one.registration) for one in told.treatments] == [("castor_oil", "EPA 1-2")]


def test_what_was_moved_made_safe_and_pulled_is_said_of_each_set():
    one, other = (a_set(number, BEFORE, la(13, 9)) for number in (31, 32))
    new = a_set(33, SEEN, la(14, 10, 7), moved_from_set_id=one.set_id)
    checks = [
        a_check(41, one.set_id, SEEN, la(14, 10, 6), action="moved"),
        a_check(42, other.set_id, SEEN, la(14, 10, 8), action="made_safe"),
    ]
    lines = record(SEEN, placings=[one, other, new], checks=checks).sets
    assert [(line.done, line.state, line.moved_from_set_id) for line in lines] == [
        (["checked", "moved"], "moved", None),
        (["checked", "made_safe"], "made_safe", None),
        (["placed"], "standing", one.set_id),
    ]
