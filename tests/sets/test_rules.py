"""Looks, states, effort and conflicts of a set. Figures without a source are our own arithmetic."""

from uuid import UUID

import pytest
from msgspec.structs import replace

from service.deadlines.models import Attempt
from service.identity.models import HousePolicy
from service.sets.models import Known, SetFacts, TrapFinding
from service.sets.rules import derive, told
from tests.sets.builders import (
    ELSEWHERE,
    NEW_SET,
    SET,
    a_check,
    a_mention,
    a_place,
    a_placing,
    book_of,
    check_id,
    conflict_kinds,
    local,
    looks_due,
    still_open,
    utc,
)

MONDAY = local("2026-03-02 09:00")

# When to look next ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("zone", "placed", "due"),
    [
        ("America/Los_Angeles", "2026-03-02 09:00", "2026-03-04T08:00:00Z"),
        ("America/Los_Angeles", "2026-03-02 23:50", "2026-03-04T08:00:00Z"),
        # clocks go forward on the Sunday between
        ("America/Los_Angeles", "2026-03-07 10:00", "2026-03-09T07:00:00Z"),
        # that Friday has no midnight: it begins at 01:00+03:00
        ("Africa/Cairo", "2026-04-22 10:00", "2026-04-23T22:00:00Z"),
    ],
)
def test_a_placed_set_is_due_at_the_end_of_the_next_local_day(zone: str, placed: str, due: str) -> None:
    (deadline,) = book_of(a_placing(local(placed, zone)), place=a_place(zone)).deadlines
    assert (deadline.kind, deadline.starting_fact_id, deadline.state) == ("check", SET, "open")
    assert deadline.due_at == utc(due)


def test_a_local_day_that_never_was_is_passed_over() -> None:
    look = a_check(1, local("2011-12-29 23:00", "Pacific/Apia"))
    book = book_of(a_placing(local("2011-12-28 09:00", "Pacific/Apia")), look, place=a_place("Pacific/Apia"))
    assert looks_due(book)[-1] == ("open", utc("2011-12-31T10:00:00Z"))


def test_a_look_meets_what_was_due_and_starts_the_next() -> None:
    book = book_of(a_placing(MONDAY), a_check(1, local("2026-03-03 17:00")))
    assert looks_due(book) == [("met", utc("2026-03-04T08:00:00Z")), ("open", utc("2026-03-05T08:00:00Z"))]
    assert [one.met_by_fact_id for one in book.deadlines] == [check_id(1), None]
    assert [one.outcome for one in book.deadlines] == ["met", None]


def test_a_look_at_the_due_instant_itself_is_late() -> None:
    book = book_of(a_placing(MONDAY), a_check(1, utc("2026-03-04T08:00:00Z")))
    assert looks_due(book)[0] == ("late", utc("2026-03-04T08:00:00Z"))


def test_a_look_that_becomes_known_later_takes_the_lateness_away() -> None:
    tuesday, thursday = a_check(1, local("2026-03-03 17:00")), a_check(2, local("2026-03-05 10:00"))
    before = book_of(a_placing(MONDAY), tuesday, thursday)
    assert [state for state, _ in looks_due(before)] == ["met", "late", "open"]
    after = book_of(a_placing(MONDAY), tuesday, thursday, a_check(3, local("2026-03-04 16:00")))
    assert looks_due(after)[1:3] == [
        ("met", utc("2026-03-05T08:00:00Z")),
        ("met", utc("2026-03-06T08:00:00Z")),
    ]


def test_nothing_is_due_while_a_set_is_made_safe() -> None:
    friday = a_placing(local("2026-03-06 09:00"))
    safe = a_check(1, local("2026-03-06 16:00"), "undisturbed", "made_safe")
    seen = a_check(2, local("2026-03-07 12:00"))
    over_the_weekend = book_of(friday, safe, seen)
    assert over_the_weekend.state is not None
    assert (over_the_weekend.state.state, over_the_weekend.state.fishing) == ("made_safe", False)
    assert still_open(over_the_weekend) == []
    armed = book_of(friday, safe, seen, a_check(3, local("2026-03-09 08:00"), "undisturbed", "armed"))
    assert [one.due_at for one in still_open(armed)] == [local("2026-03-11 00:00")]


def test_a_missing_set_is_searched_for_and_looked_at_again_once_found() -> None:
    missing = a_check(1, local("2026-03-03 10:00"), "missing", "left")
    still = a_check(2, local("2026-03-04 10:00"), "missing", "left")
    found = a_check(3, local("2026-03-05 10:00"), "undisturbed", "reset")
    gone = book_of(a_placing(MONDAY), missing, still)
    assert gone.state is not None
    assert (gone.state.state, gone.state.fishing) == ("missing", False)
    assert [(one.kind, one.due_at) for one in still_open(gone)] == [("set_search", local("2026-03-05 00:00"))]
    book = book_of(a_placing(MONDAY), missing, still, found)
    assert [(one.kind, one.state, one.due_at) for one in book.deadlines] == [
        ("check", "met", local("2026-03-04 00:00")),
        ("set_search", "late", local("2026-03-05 00:00")),
        ("check", "open", local("2026-03-07 00:00")),
    ]


def test_a_search_ends_when_the_set_is_given_up() -> None:
    missing = a_check(1, local("2026-03-03 10:00"), "missing", "left")
    book = book_of(a_placing(MONDAY), missing, a_check(2, local("2026-03-04 10:00"), "missing", "lost"))
    assert [(one.kind, one.state) for one in book.deadlines] == [("check", "met"), ("set_search", "met")]


def test_a_set_found_again_while_made_safe_is_not_due() -> None:
    safe = a_check(1, local("2026-03-02 16:00"), "undisturbed", "made_safe")
    missing = a_check(2, local("2026-03-03 10:00"), "missing", "left")
    book = book_of(a_placing(MONDAY), safe, missing, a_check(3, local("2026-03-04 10:00")))
    assert book.state is not None
    assert book.state.state == "made_safe"
    assert still_open(book) == []


def test_an_attempt_at_a_locked_gate_shows_in_the_why_and_meets_nothing() -> None:
    gate = Attempt(visit_id=UUID(int=9), arrived_at=local("2026-03-03 11:00"), reason="gate locked")
    (deadline,) = book_of(a_placing(MONDAY), place=a_place(attempts=(gate,))).deadlines
    assert (deadline.state, deadline.why.attempts) == ("open", [gate])


def test_where_no_rule_computes_an_instant_nothing_is_due() -> None:
    off = HousePolicy()
    assert book_of(a_placing(MONDAY), place=a_place("America/Los_Angeles", off)).deadlines == []


# States ---------------------------------------------------------------------------------------------------


def test_two_phones_pulled_one_set_and_the_first_pull_holds() -> None:
    pulled = a_check(1, local("2026-03-03 10:00"), "undisturbed", "pulled")
    left = a_check(2, local("2026-03-03 15:00"))
    again = a_check(3, local("2026-03-03 16:00"), "catch", "pulled", caught_in=[1])
    book = book_of(a_placing(MONDAY), again, left, pulled)
    assert book.state is not None
    assert (book.state.state, book.state.ended_at) == ("pulled", pulled.checked_at)
    assert (book.state.looks, book.state.catches, book.state.fishing) == (1, 0, False)
    assert book.ended_by == pulled
    assert still_open(book) == []
    assert conflict_kinds(book) == [("check_after_end", left.id), ("ended_twice", again.id)]


def test_a_check_before_the_placing_changes_nothing() -> None:
    early = a_check(1, local("2026-03-02 08:59"), "catch", "pulled", caught_in=[1])
    book = book_of(a_placing(MONDAY), early)
    assert book.state == book_of(a_placing(MONDAY)).state
    assert book.deadlines == book_of(a_placing(MONDAY)).deadlines
    assert conflict_kinds(book) == [("check_before_placing", early.id)]


def test_the_placing_is_first_at_an_equal_instant() -> None:
    book = book_of(a_placing(MONDAY, visit_id=UUID(int=2**100)), a_check(1, MONDAY, visit_id=UUID(int=1)))
    assert [one.state for one in book.deadlines] == ["met", "open"]
    assert book.conflicts == []


def test_a_lost_set_has_ended_until_somebody_looks_at_it() -> None:
    lost = a_check(1, local("2026-03-03 10:00"), "missing", "lost")
    book = book_of(a_placing(MONDAY), lost)
    assert book.state is not None
    assert (book.state.state, book.state.ended_at) == ("lost", lost.checked_at)
    assert still_open(book) == []
    found = book_of(a_placing(MONDAY), lost, a_check(2, local("2026-03-05 10:00")))
    assert found.state is not None
    assert (found.state.state, found.state.ended_at, found.state.fishing) == ("standing", None, True)
    assert [one.due_at for one in still_open(found)] == [local("2026-03-07 00:00")]
    assert found.conflicts == []


def test_a_set_whose_placing_is_not_known_is_awaited_and_looked_after_all_the_same() -> None:
    look = a_check(1, local("2026-03-03 17:00"))
    book = book_of(None, look)
    assert book.state is not None
    assert (book.state.state, book.state.placed_at, book.state.trap_half_nights) == ("awaited", None, 0)
    assert looks_due(book) == [("open", utc("2026-03-05T08:00:00Z"))]
    assert conflict_kinds(book) == [("set_awaited", look.id)]


def test_nothing_is_left_of_a_set_that_no_placing_and_no_check_states() -> None:
    mentions = [a_mention("repair", fact_id=UUID(int=7)), a_mention()]
    book = derive(SetFacts(set_id=SET, mentions=mentions), None)
    assert (book.state, book.deadlines) == (None, [])
    assert conflict_kinds(book) == [("set_awaited", UUID(int=7)), ("set_awaited", NEW_SET)]


def test_a_monitor_is_no_look() -> None:
    word = a_check(1, local("2026-03-03 17:00"), "catch", "pulled", checked_by="monitor", caught_in=[1])
    book, without = book_of(a_placing(MONDAY), word), book_of(a_placing(MONDAY))
    assert (book.state, book.ended_by, book.conflicts) == (without.state, None, [])
    (heard,), (quiet,) = book.deadlines, without.deadlines
    assert [one.words for one in heard.why.contacts] == [["alarm", "last_contact"]]
    assert replace(heard, why=quiet.why) == quiet


def test_a_move_wants_its_new_set_and_a_new_set_its_move() -> None:
    moved = a_check(1, local("2026-03-03 10:00"), "bypassed", "moved")
    assert conflict_kinds(book_of(a_placing(MONDAY), moved)) == [("move_without_new_set", moved.id)]
    whole = book_of(a_placing(MONDAY), moved, mentions=(a_mention(),))
    assert whole.state is not None
    assert (whole.state.state, whole.state.moved_to_set_id, whole.conflicts) == ("moved", NEW_SET, [])
    standing = book_of(a_placing(MONDAY), mentions=(a_mention(), a_mention("repair")))
    assert conflict_kinds(standing) == [("new_set_without_move", NEW_SET)]


def test_a_check_at_another_property_counts_and_is_listed() -> None:
    away = a_check(1, local("2026-03-03 17:00"), property_id=ELSEWHERE)
    book = book_of(a_placing(MONDAY), away)
    assert [one.state for one in book.deadlines] == ["met", "open"]
    assert conflict_kinds(book) == [("other_property", away.id)]


def test_left_after_a_sprung_finding_it_stays_sprung() -> None:
    sprung = a_check(1, local("2026-03-03 10:00"), "sprung_empty", "left")
    seen = a_check(2, local("2026-03-04 10:00"))
    reset = a_check(3, local("2026-03-05 10:00"), "sprung_empty", "reset")
    states = [book_of(a_placing(MONDAY), *checks).state for checks in [(sprung, seen), (sprung, seen, reset)]]
    assert [(state.state, state.fishing) for state in states if state] == [
        ("standing", False),
        ("standing", True),
    ]


# Effort ---------------------------------------------------------------------------------------------------


def half_nights(trap_count: int, *checks: tuple[str, str, str], **members: object) -> int:
    """Twice the trap-nights of a set placed on Monday 2 March at 09:00; `members` are the last check's."""
    found = [a_check(number, local(at), *said) for number, (at, *said) in enumerate(checks[:-1])]
    at, *said = checks[-1]
    state = book_of(a_placing(MONDAY, trap_count), *found, a_check(99, local(at), *said, **members)).state
    assert state is not None
    return state.trap_half_nights


TUESDAY, WEDNESDAY, THURSDAY, FRIDAY = (f"2026-03-0{day} 10:00" for day in (3, 4, 5, 6))


def test_a_sprung_trap_loses_half_its_interval() -> None:
    # 2 traps: Monday to Wednesday is 4 trap-nights, less half of the last one of trap 1
    assert (
        half_nights(
            2,
            (TUESDAY, "undisturbed", "left"),
            (WEDNESDAY, "sprung_empty", "pulled"),
            traps=[TrapFinding(no=1, finding="sprung_empty")],
        )
        == 7
    )
    # and where nobody looked on Tuesday, half of two nights of the trap that holds the catch
    assert half_nights(2, (WEDNESDAY, "catch", "pulled"), caught_in=[2]) == 6
    # nobody says which one it was: one of them
    assert half_nights(2, (WEDNESDAY, "catch", "pulled"), caught_in=[None]) == 6


def test_a_trap_left_sprung_does_not_fish() -> None:
    assert (
        half_nights(
            1,
            (TUESDAY, "sprung_empty", "left"),
            (THURSDAY, "sprung_empty", "reset"),
            (FRIDAY, "undisturbed", "pulled"),
        )
        == 3
    )
    # of a pair the other one goes on: 2 x 1 less a half, then 1, then 1 again
    assert (
        half_nights(
            2,
            (TUESDAY, "sprung_empty", "left"),
            (WEDNESDAY, "sprung_empty", "left"),
            (THURSDAY, "undisturbed", "pulled"),
        )
        == 7
    )


def test_a_trap_made_safe_does_not_fish() -> None:
    assert (
        half_nights(
            1,
            ("2026-03-02 16:00", "undisturbed", "made_safe"),
            (THURSDAY, "undisturbed", "armed"),
            (FRIDAY, "undisturbed", "pulled"),
        )
        == 2
    )


def test_a_missing_trap_fished_for_half_the_interval_and_not_until_it_is_found() -> None:
    looks = [
        (TUESDAY, "missing", "left"),
        (THURSDAY, "undisturbed", "left"),
        (FRIDAY, "undisturbed", "pulled"),
    ]
    assert half_nights(1, *looks) == 3


def test_of_a_pair_only_the_trap_that_is_missing_stops() -> None:
    named = [TrapFinding(no=1, finding="undisturbed"), TrapFinding(no=2, finding="missing")]
    state = book_of(a_placing(MONDAY, 2), a_check(1, local(TUESDAY), "missing", "left", traps=named)).state
    assert state is not None
    assert (state.state, state.fishing, state.trap_half_nights) == ("missing", True, 3)


def test_placed_and_pulled_on_one_day_is_no_effort() -> None:
    assert half_nights(1, ("2026-03-02 23:59", "undisturbed", "pulled")) == 0


# What is told ---------------------------------------------------------------------------------------------


def kinds_told(facts: SetFacts, before: Known | None) -> list[str]:
    """The types of what is told when the stored state was `before`."""
    return [event.event_type for event in told(facts, before, derive(facts, a_place()))]


def known(facts: SetFacts) -> Known | None:
    """The state that these facts leave in the book."""
    state = derive(facts, a_place()).state
    return state and Known(state=state.state, placed_at=state.placed_at, ended_at=state.ended_at)


def test_placing_ending_and_restoring_are_told_once() -> None:
    pull = a_check(1, local(TUESDAY), "undisturbed", "pulled")
    earlier = a_check(2, local("2026-03-03 08:00"), "catch", "pulled")
    placed = SetFacts(set_id=SET, placing=a_placing(MONDAY))
    pulled = SetFacts(set_id=SET, placing=a_placing(MONDAY), checks=[pull])
    pulled_before = SetFacts(set_id=SET, placing=a_placing(MONDAY), checks=[pull, earlier])
    awaited = SetFacts(set_id=SET, checks=[pull])
    assert kinds_told(awaited, None) == []
    assert kinds_told(placed, None) == ["set.placed"]
    assert kinds_told(placed, known(placed)) == []
    assert kinds_told(pulled, known(placed)) == ["set.ended"]
    assert kinds_told(pulled, known(pulled)) == []
    assert kinds_told(pulled_before, known(pulled)) == ["set.ended"]
    assert kinds_told(placed, known(pulled)) == ["set.restored"]
    assert kinds_told(pulled, known(awaited)) == ["set.placed", "set.ended"]
    assert kinds_told(awaited, known(pulled)) == []


def test_the_end_is_told_with_the_look_that_brought_it() -> None:
    pull = a_check(1, local(TUESDAY), "catch", "pulled")
    facts = SetFacts(set_id=SET, placing=a_placing(MONDAY), checks=[pull])
    (event,) = told(facts, known(SetFacts(set_id=SET, placing=a_placing(MONDAY))), derive(facts, a_place()))
    assert (event.check_id, event.visit_id, event.ended_as, event.ended_at) == (
        pull.id,
        pull.visit_id,
        "pulled",
        pull.checked_at,
    )
