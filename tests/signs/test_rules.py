"""The lawn clock, spells of soil, and the looks owed to a sign.

Instants and areas are our own arithmetic for May 2026 in Los Angeles (UTC-7 then). Three days on turf, a look
on the day after tamping and one within a week of clearing are common practice.
"""

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.signs.models import Bound, Cleared, Looked, Mention, SignBook, SignFacts, Tamped
from service.signs.rules import derive, starts
from tests.signs.builders import (
    F1,
    F2,
    PLACE,
    PROPERTY,
    SIGN,
    VISIT,
    book_of,
    cleared,
    deadlines_of,
    fact_id,
    la,
    looked,
    mound,
    mown,
    patch_of,
    repaired,
    survey,
    tamped,
    told,
    utc,
)

DAYS_3 = timedelta(hours=72)
IN_IT, ON_EDGE, OUTSIDE = ({"type": "Point", "coordinates": [x, 0.5]} for x in (0.5, 1, 1.5))
ACROSS = {"type": "LineString", "coordinates": [[0.5, 0.5], [1.5, 0.5]]}
SQUARE = {"type": "Polygon", "coordinates": [[[0, 0], [1, 0], [1, 1], [0, 1], [0, 0]]]}


# The lawn clock -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cleared_at", "verdict", "state"),
    [(la(16, 14, 59), "in_time", "met"), (la(16, 15), "in_time", "met"), (la(16, 15, 1), "late", "late")],
)
def test_a_mowing_of_the_whole_property_starts_three_elapsed_days(
    cleared_at: datetime, verdict: str, state: str
) -> None:
    book = book_of(mound(la(14, 10)), cleared(cleared_at), bounds=[mown(la(13, 15))])
    (patch,) = book.patches
    assert (patch.earliest_at, patch.earliest_from) == (utc(13, 22), "mowing")
    assert (patch.due_at, patch.cleared_at, patch.verdict) == (utc(16, 22), cleared_at, verdict)
    (deadline,) = deadlines_of(book, "lawn")
    assert (deadline.due_at, deadline.state, deadline.outcome) == (utc(16, 22), state, verdict)
    assert (deadline.started_at, deadline.met_at) == (la(14, 10), cleared_at)
    assert deadline.met_by_fact_id == fact_id(20)


@pytest.mark.parametrize(
    ("facts", "verdict", "state"),
    [
        ((), "still_lying", "open"),
        ((looked(la(14, 11), turf="dead"),), "still_lying", "open"),
        ((cleared(la(14, 23, 59)),), "in_time", "met"),
        ((cleared(la(15, 0)),), "late", "late"),
        ((looked(la(14, 11), turf="dead"), cleared(la(14, 12))), "found_late", "met"),
        ((cleared(la(15, 9)), looked(la(20, 9), turf="dead")), "found_late", "late"),
        ((cleared(la(14, 12)), looked(la(20, 9), turf="thin")), "in_time", "met"),
    ],
)
def test_on_a_first_call_nobody_knows_the_earliest_moment(
    facts: tuple[Looked | Cleared, ...], verdict: str, state: str
) -> None:
    book = book_of(mound(la(14, 10)), *facts)
    (patch,) = book.patches
    assert (patch.earliest_at, patch.earliest_from, patch.due_at) == (None, "unknown", utc(15, 7))
    (deadline,) = deadlines_of(book, "lawn")
    assert (patch.verdict, deadline.state) == (verdict, state)
    assert deadline.outcome == (None if state == "open" else verdict)


def test_a_survey_of_one_feature_speaks_for_that_feature_alone() -> None:
    bounds = [survey(la(11, 9), feature_id=F1)]
    on_it = patch_of(mound(la(12, 8), feature_id=F1), bounds=bounds)
    beside = patch_of(mound(la(12, 8), feature_id=F2), bounds=bounds)
    assert (on_it.earliest_from, on_it.due_at) == ("survey", utc(14, 16))
    assert (beside.earliest_from, beside.due_at) == ("unknown", utc(13, 7))


@pytest.mark.parametrize(
    ("facts", "verdict", "state"),
    [
        ((cleared(la(14, 18)),), "in_time", "met"),
        ((cleared(la(15, 0)),), "found_late", "late"),
        ((cleared(la(14, 18)), looked(la(20, 9), turf="dead")), "found_late", "met"),
    ],
)
def test_soil_that_lay_three_days_before_it_was_seen_is_due_that_day(
    facts: tuple[Looked | Cleared, ...], verdict: str, state: str
) -> None:
    book = book_of(mound(la(14, 10)), *facts, bounds=[survey(la(4, 9))])
    (patch,) = book.patches
    assert (patch.earliest_at, patch.due_at, patch.verdict) == (utc(4, 16), utc(15, 7), verdict)
    assert [(one.state, one.outcome) for one in deadlines_of(book, "lawn")] == [(state, verdict)]


def test_three_days_that_end_at_the_very_instant_seen_are_over() -> None:
    assert patch_of(mound(la(14, 10)), bounds=[mown(la(11, 10))]).due_at == utc(15, 7)
    assert patch_of(mound(la(14, 10)), bounds=[mown(la(11, 10, 1))]).due_at == la(14, 10, 1)


def test_clearings_add_up_to_the_count_of_the_sign() -> None:
    sign, bounds = mound(la(14, 10), count=5), [mown(la(13, 15))]
    three, two = cleared(la(15, 9), 20, count=3), cleared(la(16, 16), 21, count=2)
    part = book_of(sign, three, bounds=bounds)
    assert part.state is not None
    assert (part.state.state, part.state.cleared_count, part.state.cleared_at) == ("lying", 3, None)
    assert part.patches[0].verdict == "still_lying"
    whole = book_of(sign, three, two, bounds=bounds)
    assert whole.state is not None
    assert (whole.state.state, whole.state.cleared_count, whole.state.cleared_at) == ("cleared", 5, two.at)
    assert whole.patches[0].verdict == "late"
    assert deadlines_of(whole, "lawn")[0].met_by_fact_id == two.id
    assert patch_of(sign, cleared(la(15, 9)), bounds=bounds).verdict == "in_time"


@pytest.mark.parametrize(
    ("length_mm", "width_mm", "count", "area"),
    [
        (430, 400, None, "0.135088"),
        (430, 400, 1, "0.135088"),
        (300, 300, 7, "0.494801"),
        (0, 400, 2, "0.000000"),
        (None, 400, 2, None),
    ],
)
def test_the_area_is_an_ellipse_for_each_mound(
    length_mm: int | None, width_mm: int, count: int | None, area: str | None
) -> None:
    sign = mound(la(14, 10), length_mm=length_mm, width_mm=width_mm, count=count)
    assert patch_of(sign).area_m2 == (None if area is None else Decimal(area))


# What speaks for a sign -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("sign", "bound", "covers"),
    [
        ({}, mown(la(13, 9)), True),
        ({"geometry": IN_IT}, survey(la(13, 9), geometry=SQUARE), True),
        ({"geometry": ON_EDGE}, survey(la(13, 9), geometry=SQUARE), True),
        ({"geometry": OUTSIDE}, survey(la(13, 9), geometry=SQUARE), False),
        ({"geometry": ACROSS}, survey(la(13, 9), geometry=SQUARE), False),
        ({"geometry": SQUARE, "feature_id": F2}, survey(la(13, 9), feature_id=F1, geometry=SQUARE), True),
        ({}, survey(la(13, 9), geometry=SQUARE), False),
        ({"feature_id": F1}, survey(la(13, 9), geometry=SQUARE), False),
        ({"feature_id": F1}, mown(la(13, 9), feature_id=F1), True),
        ({"feature_id": F2}, mown(la(13, 9), feature_id=F1), False),
        ({"geometry": IN_IT}, survey(la(13, 9), feature_id=F1, geometry=IN_IT), False),
    ],
)
def test_in_doubt_a_survey_or_mowing_does_not_cover(sign: dict[str, Any], bound: Bound, covers: bool) -> None:
    patch = patch_of(mound(la(14, 10), **sign), bounds=[bound])
    assert patch.earliest_at == (bound.at if covers else None)


def test_what_was_told_and_looks_at_the_sign_bound_it_but_not_a_look_that_found_fresh_soil() -> None:
    sign = mound(la(14, 10), absent_since=la(12, 8))
    assert patch_of(sign).earliest_from == "absent_since"
    seen_without = looked(la(13, 8), fresh_soil=False)
    assert patch_of(sign, seen_without).earliest_at == la(13, 8)
    assert patch_of(sign, looked(la(13, 8), fresh_soil=True)).earliest_at == la(12, 8)
    # who does not say whether there was soil, says nothing of it: in doubt it does not cover
    assert patch_of(sign, looked(la(13, 8))).earliest_at == la(12, 8)
    assert patch_of(sign, seen_without, bounds=[mown(la(13, 7))]).earliest_from == "look"


def test_a_bound_at_the_instant_seen_or_later_says_nothing() -> None:
    late = [mown(la(14, 10)), survey(la(15, 9))]
    assert patch_of(mound(la(14, 10)), bounds=late).earliest_from == "unknown"


def test_the_why_names_what_bounded_the_mound_and_in_words_when_to_clear_it() -> None:
    (deadline,) = deadlines_of(book_of(mound(la(14, 10)), bounds=[mown(la(13, 15))]), "lawn")
    (rule,) = deadline.why.rules
    assert rule.inputs == {
        "hours": 72,
        "earliest_from": "mowing",
        "earliest_fact_id": str(fact_id(50)),
        "earliest_at": "2026-05-13T22:00:00+00:00",
    }
    assert deadline.why.sentence.startswith(
        "Clear by Sat 16 May 2026 15:00 (America/Los_Angeles): seen Thu 14 May"
    )
    (unknown,) = deadlines_of(book_of(mound(la(14, 10))), "lawn")
    assert [one.due_at for one in unknown.why.rules] == [None, utc(15, 7)]
    assert "the earliest moment, which nobody knows, which sets no instant" in unknown.why.sentence


# Spells ---------------------------------------------------------------------------------------------------


def test_fresh_soil_after_clearing_starts_the_clock_again_from_what_is_known_since() -> None:
    first, again = cleared(la(14, 12)), looked(la(16, 9), 11, fresh_soil=True)
    book = book_of(mound(la(14, 10), count=3), first, again, bounds=[mown(la(13, 15))])
    before, after = book.patches
    assert (before.starting_fact_id, before.verdict) == (SIGN, "in_time")
    assert (after.starting_fact_id, after.earliest_from, after.earliest_at) == (
        again.id,
        "clearing",
        first.at,
    )
    assert (after.due_at, after.verdict) == (la(17, 12), "still_lying")
    assert book.state is not None
    assert (book.state.state, book.state.cleared_count) == ("lying", 0)
    without = looked(la(15, 9), 12, fresh_soil=False)
    ended = book_of(mound(la(14, 10), count=3), first, again, without, cleared(la(18, 9), 21, count=1))
    assert (ended.patches[1].earliest_from, ended.patches[1].verdict) == ("look", "in_time")
    assert ended.state is not None
    assert ended.state.state == "cleared"


def test_fresh_soil_on_soil_that_still_lies_starts_nothing() -> None:
    part = cleared(la(14, 12), count=1)
    assert len(book_of(mound(la(14, 10), count=2), part, looked(la(15, 9), fresh_soil=True)).patches) == 1


def test_a_look_and_a_clearing_of_one_instant_are_found_then_cleared() -> None:
    found, off = looked(la(16, 9), 99, fresh_soil=True), cleared(la(16, 9), 21)
    book = book_of(mound(la(14, 10)), cleared(la(14, 10), 20), found, off)
    assert [one.cleared_at for one in book.patches] == [la(14, 10), la(16, 9)]


def test_turf_is_told_of_the_spell_it_was_seen_under() -> None:
    looks = [looked(la(14, 11), 10, turf="thin"), looked(la(15, 9), 11, turf="sound")]
    again = looked(la(16, 9), 12, fresh_soil=True, turf="dead")
    book = book_of(mound(la(14, 10)), *looks, cleared(la(14, 12)), again)
    assert [one.turf for one in book.patches] == ["sound", "dead"]
    assert book.patches[0].verdict == "in_time"
    assert book.state is not None
    assert book.state.turf == "dead"


def test_a_sign_off_turf_has_a_state_but_no_lawn_clock() -> None:
    facts = told(mound(la(14, 10), on_turf=False), cleared(la(14, 12)))
    book = derive(facts, {}, {PROPERTY: PLACE})
    assert book.state is not None
    assert book.state.state == "cleared"
    assert (book.patches, book.deadlines, starts(facts)) == ([], [], [])


def test_clocks_may_start_at_the_sign_and_at_each_look_with_fresh_soil() -> None:
    facts = told(mound(la(14, 10)), looked(la(15, 9), 10, fresh_soil=True), looked(la(16, 9), 11))
    assert starts(facts) == [la(14, 10), la(15, 9)]
    assert starts(told(None, looked(la(15, 9), fresh_soil=True))) == []


# Looks owed -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("looks", "state", "met_at"),
    [
        ((), "open", None),
        ((looked(la(14, 10)),), "open", None),
        ((looked(la(15, 23, 59)), looked(la(18, 9), 11)), "met", la(15, 23, 59)),
        ((looked(la(16, 0)),), "late", la(16, 0)),
    ],
)
def test_a_tamped_run_is_looked_at_by_the_end_of_the_next_day(
    looks: tuple[Looked, ...], state: str, met_at: datetime | None
) -> None:
    (deadline,) = deadlines_of(book_of(mound(la(14, 9)), tamped(la(14, 10)), *looks), "run_look")
    assert (deadline.due_at, deadline.state, deadline.met_at) == (utc(16, 7), state, met_at)
    assert deadline.outcome == (None if state == "open" else state)
    assert (deadline.subject_id, deadline.starting_fact_id) == (SIGN, fact_id(30))


RAISED = looked(la(15, 9), raised_again=True)


@pytest.mark.parametrize(
    ("facts", "in_use"),
    [
        ((looked(la(13, 9), raised_again=True),), None),
        ((tamped(la(14, 9)),), None),
        ((tamped(la(14, 9)), looked(la(13, 9), raised_again=True)), None),
        ((tamped(la(14, 9)), RAISED), True),
        ((tamped(la(14, 9)), RAISED, looked(la(16, 9), 11)), True),
        ((tamped(la(14, 9)), RAISED, looked(la(16, 9), 11, raised_again=False)), False),
    ],
)
def test_a_run_is_in_use_when_raised_again_after_tamping(
    facts: tuple[Looked | Tamped, ...], in_use: bool | None
) -> None:
    state = book_of(mound(la(13, 8)), *facts).state
    assert state is not None
    assert state.in_use is in_use


@pytest.mark.parametrize(
    ("looks", "state"),
    [
        ((), "open"),
        ((looked(la(20, 9)),), "open"),
        ((looked(la(14, 12), turf="sound"),), "open"),
        ((looked(la(21, 23, 59), turf="thin"),), "met"),
        ((looked(la(22, 0), turf="sound"),), "late"),
    ],
)
def test_turf_is_looked_at_within_seven_days_of_clearing(looks: tuple[Looked, ...], state: str) -> None:
    (deadline,) = deadlines_of(book_of(mound(la(14, 10)), cleared(la(14, 12)), *looks), "lawn_followup")
    assert (deadline.due_at, deadline.state, deadline.starting_fact_id) == (utc(22, 7), state, fact_id(20))


# What does not fit ----------------------------------------------------------------------------------------


def test_facts_of_a_sign_that_nobody_stated_wait_for_it() -> None:
    mention = repaired(la(15, 10))
    facts = told(None, cleared(la(15, 9)), looked(la(14, 9)), tamped(la(14, 10)), mentions=[mention])
    book = derive(facts, {}, {})
    assert book.state is not None
    assert (book.state.state, book.state.property_id, book.state.cleared_count) == ("awaited", PROPERTY, 0)
    assert (book.patches, book.deadlines) == ([], [])
    assert {one.kind for one in book.conflicts} == {"sign_awaited"}
    assert [one.fact_id for one in book.conflicts] == [fact_id(10), fact_id(30), fact_id(20), fact_id(40)]
    assert book.conflicts[3].sentence.startswith("This repair names a sign that no visit states yet")


def test_a_sign_that_only_a_set_or_repair_names_has_no_state() -> None:
    mention = Mention(noun="set", id=fact_id(40), visit_id=VISIT, property_id=PROPERTY, at=la(15, 10))
    book = derive(told(None, mentions=[mention]), {}, {})
    assert (book.state, [one.fact_id for one in book.conflicts]) == (None, [fact_id(40)])
    assert derive(told(None), {}, {}) == SignBook()


def test_a_clearing_before_the_sign_was_seen_is_a_conflict_and_clears_nothing() -> None:
    book = book_of(mound(la(14, 10)), cleared(la(14, 9)), looked(la(14, 9, 30), turf="dead"))
    assert [(one.kind, one.fact_id) for one in book.conflicts] == [("cleared_before_seen", fact_id(20))]
    assert (book.patches[0].verdict, book.patches[0].turf) == ("still_lying", None)


def test_a_fact_from_another_property_counts_and_is_a_conflict() -> None:
    book = book_of(mound(la(14, 10)), msgspec.structs.replace(cleared(la(14, 12)), property_id=F1))
    assert [(one.kind, one.property_id) for one in book.conflicts] == [("other_property", F1)]
    assert "clearing is of a visit at another property" in book.conflicts[0].sentence
    assert book.patches[0].verdict == "in_time"


# Whatever the order, and whatever the facts -----------------------------------------------------------------

# few instants, so that facts often share one
instants = st.integers(0, 24).map(lambda hours: la(10, 8) + timedelta(hours=7 * hours))
maybe = st.none() | st.booleans()
turfs = st.none() | st.sampled_from(["sound", "thin", "dead"])
features = st.sampled_from([None, F1, F2])
Story = tuple[SignFacts, list[Bound]]


@st.composite
def stories(draw: st.DrawFn) -> Story:
    """A sign with some looks, clearings, tampings, surveys and mowings, in no order."""
    looks = draw(st.lists(st.tuples(instants, maybe, maybe, turfs), max_size=5))
    clearings = draw(st.lists(st.tuples(instants, st.none() | st.integers(0, 3)), max_size=5))
    tampings = draw(st.lists(instants, max_size=2))
    surveys = draw(st.lists(st.tuples(instants, features), max_size=4))
    sign = mound(
        draw(instants),
        on_turf=draw(st.sampled_from([True, True, False])),
        count=draw(st.none() | st.integers(0, 4)),
        feature_id=draw(features),
        absent_since=draw(st.none() | instants),
    )
    return told(
        draw(st.sampled_from([sign, sign, sign, None])),
        *(
            looked(at, 100 + n, raised_again=raised, fresh_soil=fresh, turf=turf)
            for n, (at, raised, fresh, turf) in enumerate(looks)
        ),
        *(cleared(at, 200 + n, count) for n, (at, count) in enumerate(clearings)),
        *(tamped(at, 300 + n) for n, at in enumerate(tampings)),
    ), [survey(at, feature_id) for at, feature_id in surveys]


@given(stories(), st.randoms())
def test_the_book_does_not_depend_on_the_order_in_which_facts_came(story: Story, random: Any) -> None:
    facts, bounds = story

    def shuffled(given: list[Any]) -> list[Any]:
        return list(random.sample(given, len(given)))

    again = told(facts.sign, *shuffled([*facts.looks, *facts.clearings, *facts.tampings]))
    book = derive(facts, {PROPERTY: bounds}, {PROPERTY: PLACE})
    assert derive(again, {PROPERTY: shuffled(bounds)}, {PROPERTY: PLACE}) == book


@given(stories())
def test_each_patch_agrees_with_its_deadline_and_is_due_after_its_start(story: Story) -> None:
    facts, bounds = story
    book = derive(facts, {PROPERTY: bounds}, {PROPERTY: PLACE})
    clocks = deadlines_of(book, "lawn")
    assert [one.starting_fact_id for one in book.patches] == [one.starting_fact_id for one in clocks]
    for patch, clock in zip(book.patches, clocks, strict=True):
        assert clock.due_at == patch.due_at > clock.started_at
        assert patch.earliest_at is None or patch.earliest_at < clock.started_at
        assert (patch.cleared_at is None) == (patch.verdict == "still_lying") == (clock.state == "open")
        assert patch.verdict != "in_time" or clock.state == "met"
        assert patch.verdict != "late" or clock.state == "late"
        assert clock.outcome == (None if clock.state == "open" else patch.verdict)
    ended = [one for one in book.patches if one.cleared_at is not None]
    assert len(deadlines_of(book, "lawn_followup")) == len(ended)
    assert all(one.cleared_at is not None for one in book.patches[:-1])


@given(stories(), instants)
def test_one_more_survey_moves_the_earliest_moment_only_forward(story: Story, at: datetime) -> None:
    facts, bounds = story
    less = derive(facts, {PROPERTY: bounds}, {PROPERTY: PLACE}).patches
    more = derive(facts, {PROPERTY: [*bounds, survey(at)]}, {PROPERTY: PLACE}).patches
    for before, after in zip(less, more, strict=True):
        if before.earliest_at is None:
            assert after.earliest_at in (None, at)
            continue
        assert after.earliest_at is not None
        assert after.earliest_at >= before.earliest_at
        if before.due_at == before.earliest_at + DAYS_3 and after.due_at == after.earliest_at + DAYS_3:
            assert after.due_at >= before.due_at
