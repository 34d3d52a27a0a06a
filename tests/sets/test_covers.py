"""A cover left on turf over a set: its patches and deadlines, and whether what was dug open is closed again.

Instants are our own arithmetic for March 2026 in Los Angeles, where the clocks go forward on Sunday the 8th. 72 hours
under a cover are common practice.
"""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from service.deadlines.models import Derived
from service.identity.models import HousePolicy
from service.lawn.models import LawnPatch
from service.sets.fitting import fit
from service.sets.models import Check, Placing, SetBook, SetFacts
from service.sets.rules import derive
from tests.sets.builders import (
    HOME,
    LOS_ANGELES,
    NEW_SET,
    SET,
    a_check,
    a_mention,
    a_place,
    a_placing,
    book_of,
    check_id,
    local,
    utc,
)

FRIDAY = local("2026-03-06 10:00")


def covered(**members: Any) -> Placing:
    """A set placed on Friday with a board on the turf beside it."""
    board = {"cover": "board", "cover_length_mm": 600, "cover_width_mm": 400, "cover_on_turf": True}
    return a_placing(FRIDAY, **{**board, **members})


def a_look(number: int, at: str, action: str = "left", **members: Any) -> Check:
    """A look that found nothing, and what was done with set and cover."""
    return a_check(number, local(at), "undisturbed", action, **members)


def cover_deadlines(book: SetBook) -> list[Derived]:
    return [one for one in book.deadlines if one.kind == "lawn_cover"]


def lay(patch: LawnPatch) -> tuple[Any, ...]:
    """Which patch, since when, until when, and how that was."""
    return patch.starting_fact_id, patch.started_at, patch.cleared_at, patch.verdict


def test_a_board_that_is_shifted_in_time_and_then_pulled_a_minute_late() -> None:
    """By hand.

    Left Friday 10:00 PST = 18:00 UTC; 72 hours go by until Monday 18:00 UTC = 11:00 PDT. Shifted Monday 10:30 PDT =
    17:30 UTC, in time; the new patch is due Thursday 17:30 UTC. Pulled at 17:31 UTC, late. The board covers
    0.6 m x 0.4 m = 0.24 m2 each time.
    """
    shifted = a_look(1, "2026-03-09 10:30", cover="shifted")
    pulled = a_look(2, "2026-03-12 10:31", "pulled")
    book = book_of(covered(), shifted, pulled)
    first, second = book.patches
    assert lay(first) == (SET, utc("2026-03-06T18:00:00Z"), utc("2026-03-09T17:30:00Z"), "in_time")
    assert lay(second) == (check_id(1), utc("2026-03-09T17:30:00Z"), utc("2026-03-12T17:31:00Z"), "late")
    assert [one.due_at for one in book.patches] == [
        utc("2026-03-09T18:00:00Z"),
        utc("2026-03-12T17:30:00Z"),
    ]
    for patch in book.patches:
        assert (patch.set_id, patch.sign_id, patch.property_id) == (SET, None, HOME)
        assert (patch.earliest_at, patch.earliest_from) == (patch.started_at, "cover")
        assert (patch.area_m2, patch.outcome, patch.turf) == (Decimal("0.240000"), None, None)
    met, late = cover_deadlines(book)
    assert (met.starting_fact_id, met.state, met.outcome, met.met_by_fact_id) == (
        SET,
        "met",
        "in_time",
        check_id(1),
    )
    assert (late.starting_fact_id, late.state, late.outcome, late.met_by_fact_id) == (
        check_id(1),
        "late",
        "late",
        check_id(2),
    )
    assert late.why.sentence.startswith(
        "Lift the cover by Thu 12 Mar 2026 10:30 (America/Los_Angeles): cover shifted Mon 9 Mar 10:30"
    )
    assert "plywood never" in late.why.sentence


@pytest.mark.parametrize(
    ("lifted_at", "verdict"),
    [("2026-03-09 10:59", "in_time"), ("2026-03-09 11:00", "in_time"), ("2026-03-09 11:01", "late")],
)
def test_a_cover_lifted_at_the_very_instant_is_in_time(lifted_at: str, verdict: str) -> None:
    book = book_of(covered(), a_look(1, lifted_at, cover="lifted_off"))
    (patch,), (deadline,) = book.patches, cover_deadlines(book)
    assert (patch.verdict, deadline.outcome, deadline.due_at) == (verdict, verdict, patch.due_at)


@pytest.mark.parametrize("action", ["pulled", "moved", "lost"])
def test_what_ends_the_set_ends_the_cover_whatever_is_said_of_it(action: str) -> None:
    for said in (None, "left", "shifted"):
        (patch,) = book_of(covered(), a_look(1, "2026-03-08 09:00", action, cover=said)).patches
        assert lay(patch) == (SET, FRIDAY, local("2026-03-08 09:00"), "in_time")


@pytest.mark.parametrize("action", ["left", "reset", "armed", "made_safe"])
def test_other_looks_leave_the_cover_where_it_is(action: str) -> None:
    book = book_of(
        covered(), a_look(1, "2026-03-08 09:00", action), a_look(2, "2026-03-09 09:00", cover="left")
    )
    (patch,), (deadline,) = book.patches, cover_deadlines(book)
    assert lay(patch) == (SET, FRIDAY, None, "still_lying")
    assert (deadline.state, deadline.outcome, deadline.met_at) == ("open", None, None)


@pytest.mark.parametrize("said", ["left", "shifted"])
def test_a_cover_put_back_lies_from_the_look_that_says_so(said: str) -> None:
    off, back = a_look(1, "2026-03-08 09:00", cover="lifted_off"), a_look(2, "2026-03-09 09:00", cover=said)
    patches = book_of(covered(), off, back).patches
    assert [lay(one)[0] for one in patches] == [SET, check_id(2)]
    assert patches[1].cleared_at is None
    # a set that is found again says nothing of its cover by itself
    lost = a_look(1, "2026-03-08 09:00", "lost")
    assert len(book_of(covered(), lost, a_look(2, "2026-03-09 09:00")).patches) == 1
    assert len(book_of(covered(), lost, back).patches) == 2


@pytest.mark.parametrize(
    "placing",
    [
        None,
        a_placing(FRIDAY),
        covered(cover_on_turf=False),
    ],
)
def test_without_a_cover_on_turf_there_is_no_patch(placing: Placing | None) -> None:
    book = book_of(placing, a_look(1, "2026-03-08 09:00", cover="shifted"))
    assert (book.patches, cover_deadlines(book)) == ([], [])


def test_what_does_not_count_for_the_set_does_not_for_its_cover() -> None:
    early = a_look(1, "2026-03-05 09:00", cover="lifted_off")
    monitor = a_look(2, "2026-03-07 09:00", checked_by="monitor", cover="lifted_off")
    pulled = a_look(3, "2026-03-09 12:00", "pulled")
    late = a_look(4, "2026-03-09 13:00", cover="shifted")
    (patch,) = book_of(covered(), late, pulled, monitor, early).patches
    assert lay(patch) == (SET, FRIDAY, local("2026-03-09 12:00"), "late")
    by_customer = a_look(5, "2026-03-08 09:00", checked_by="customer", cover="lifted_off")
    (patch,) = book_of(covered(), pulled, by_customer).patches
    assert patch.verdict == "in_time"


def test_the_house_policy_of_each_start_decides() -> None:
    stricter = HousePolicy(effective_from=local("2026-03-09 00:00").date(), calendar_days=1, cover_hours=4)
    place = a_place(LOS_ANGELES, HousePolicy(calendar_days=1, cover_hours=96), stricter)
    shifted = a_look(1, "2026-03-09 10:30", cover="shifted")
    first, second = book_of(covered(), shifted, place=place).patches
    assert first.due_at == FRIDAY + timedelta(hours=96)
    assert second.due_at == local("2026-03-09 14:30")


def test_a_repair_of_the_set_after_the_cover_came_off_is_told() -> None:
    repairs = tuple(
        a_mention("repair", fact_id=check_id(90 + day), at=local(f"2026-03-{day:02} 09:00"))
        for day in (7, 10, 11)
    )
    book = book_of(covered(), a_look(1, "2026-03-09 10:00", cover="lifted_off"), mentions=repairs)
    assert book.patches[0].repaired_at == local("2026-03-10 09:00")
    assert book_of(covered(), mentions=repairs).patches[0].repaired_at is None


# What was dug open ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("looks", "repaired", "closed_at"),
    [
        ([], None, None),
        ([("07 09", None)], None, None),
        ([("07 09", True)], None, "07 09"),
        ([("07 09", True), ("08 09", True)], None, "07 09"),
        ([("07 09", True), ("08 09", False)], None, None),
        ([("07 09", True), ("08 09", False), ("09 09", True)], None, "09 09"),
        ([("08 09", False)], "10 09", "10 09"),
        ([("08 09", False)], "08 09", "08 09"),
        ([("08 09", False)], "07 09", None),
        ([], "05 09", None),
    ],
)
def test_an_opening_is_closed_by_the_last_look_or_repair_that_speaks_of_it(
    looks: list[tuple[str, bool | None]], repaired: str | None, closed_at: str | None
) -> None:
    checks = [
        a_look(number, f"2026-03-{at}:00", opening_closed=said) for number, (at, said) in enumerate(looks, 1)
    ]
    mentions = () if repaired is None else (a_mention("repair", at=local(f"2026-03-{repaired}:00")),)
    state = book_of(covered(), *reversed(checks), mentions=mentions).state
    assert state is not None
    assert state.opening_closed_at == (None if closed_at is None else local(f"2026-03-{closed_at}:00"))


def test_a_new_set_that_was_moved_from_here_closes_nothing() -> None:
    moved = a_look(1, "2026-03-07 09:00", "moved")
    book = book_of(
        covered(), moved, mentions=(a_mention("set", fact_id=NEW_SET, at=local("2026-03-07 09:00")),)
    )
    assert book.state is not None
    assert book.state.opening_closed_at is None


# Whatever the order ---------------------------------------------------------------------------------------

instants = st.integers(-4, 30).map(lambda half_days: FRIDAY + half_days * timedelta(hours=12))
checks = st.builds(
    Check,
    id=st.uuids(),
    visit_id=st.uuids(),
    property_id=st.just(HOME),
    checked_at=instants,
    checked_by=st.sampled_from(["worker", "worker", "customer", "monitor"]),
    finding=st.sampled_from(["undisturbed", "missing"]),
    action=st.sampled_from(["left", "left", "left", "made_safe", "moved", "pulled", "lost"]),
    opening_closed=st.none() | st.booleans(),
    cover=st.sampled_from([None, "left", "shifted", "lifted_off"]),
)
repairs = st.lists(st.tuples(st.uuids(), instants), max_size=2, unique_by=lambda one: one[0]).map(
    lambda found: [a_mention("repair", fact_id=id_, at=at) for id_, at in found]
)
covered_sets = st.builds(
    SetFacts,
    set_id=st.just(SET),
    placing=st.booleans().map(lambda on_turf: covered(cover_on_turf=on_turf)),
    checks=st.lists(checks, max_size=8, unique_by=lambda one: one.id),
    mentions=repairs,
)


@given(covered_sets, st.randoms(use_true_random=False))
def test_any_order_of_the_same_facts_gives_the_same_patches(facts: SetFacts, order: Any) -> None:
    again = replace(
        facts,
        checks=order.sample(facts.checks, len(facts.checks)),
        mentions=order.sample(facts.mentions, len(facts.mentions)),
    )
    one, other = derive(facts, a_place()), derive(again, a_place())
    assert (one.patches, one.deadlines, one.state) == (other.patches, other.deadlines, other.state)


@given(covered_sets)
def test_patches_follow_one_another_and_agree_with_their_deadlines(facts: SetFacts) -> None:
    book = derive(facts, a_place())
    deadlines = cover_deadlines(book)
    assert [one.starting_fact_id for one in book.patches] == [one.starting_fact_id for one in deadlines]
    assert len({one.starting_fact_id for one in book.patches}) == len(book.patches)
    for patch, deadline in zip(book.patches, deadlines, strict=True):
        assert (patch.started_at, patch.due_at, patch.cleared_at) == (
            deadline.started_at,
            deadline.due_at,
            deadline.met_at,
        )
        assert patch.due_at == patch.started_at + timedelta(hours=72)
        assert (patch.cleared_at is None) == (patch.verdict == "still_lying") == (deadline.state == "open")
        assert deadline.outcome == (None if deadline.state == "open" else patch.verdict)
        assert patch.verdict in ("still_lying", "in_time" if deadline.state == "met" else "late")
    for before, after in zip(book.patches, book.patches[1:], strict=False):
        assert before.cleared_at is not None
        assert before.cleared_at <= after.started_at
    ended = fit(facts).ending
    assert ended is None or all(one.cleared_at is not None for one in book.patches)
