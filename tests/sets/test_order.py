"""Whatever is stated of a set, and in whatever order it comes, the same follows. Our own arithmetic."""

from datetime import timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from service.deadlines.rules import deadline_id
from service.identity.models import HousePolicy
from service.kernel.days import local_date
from service.sets.fitting import fit
from service.sets.models import Check, Known, SetBook, SetEnded, SetFacts, SetPlaced, SetRestored, TrapFinding
from service.sets.rules import derive, home_of, told
from tests.sets.builders import ELSEWHERE, HOME, LOS_ANGELES, SET, a_mention, a_place, a_placing, local

MONDAY = local("2026-03-02 09:00")
FINDINGS = ["undisturbed", "bypassed", "sprung_empty", "catch", "plugged", "missing"]
ACTIONS = ["left", "left", "reset", "made_safe", "armed", "moved", "pulled", "lost"]

# Few instants, so that many facts share one; some before the placing, some across the change of clocks.
instants = st.integers(-12, 30).map(lambda half_days: MONDAY + half_days * timedelta(hours=12))
trap_findings = st.builds(TrapFinding, no=st.integers(1, 4), finding=st.sampled_from(FINDINGS))
checks = st.builds(
    Check,
    id=st.uuids(),
    visit_id=st.uuids(),
    property_id=st.sampled_from([HOME, HOME, HOME, ELSEWHERE]),
    checked_at=instants,
    checked_by=st.sampled_from(["worker", "worker", "customer", "agent", "monitor"]),
    finding=st.sampled_from(FINDINGS),
    action=st.sampled_from(ACTIONS),
    traps=st.lists(trap_findings, max_size=2),
    caught_in=st.lists(st.none() | st.integers(1, 4), max_size=2),
)
placings = st.integers(1, 3).map(lambda traps: a_placing(MONDAY, traps))
new_sets = st.lists(st.uuids(), max_size=2, unique=True)
facts_of_a_set = st.builds(
    SetFacts,
    set_id=st.just(SET),
    placing=st.none() | placings,
    checks=st.lists(checks, max_size=8, unique_by=lambda one: one.id),
    mentions=new_sets.map(lambda ids: [a_mention(fact_id=one) for one in ids]),
)
placed_sets = st.builds(replace, facts_of_a_set, placing=placings)


def book_of(facts: SetFacts) -> SetBook:
    """What follows, at the property that the facts name."""
    home = home_of(facts)
    return derive(facts, None if home is None else replace(a_place(), property_id=home))


@given(facts_of_a_set, st.randoms())
def test_any_order_of_the_same_facts_gives_the_same_book(facts, order):
    shuffled = replace(
        facts,
        checks=order.sample(facts.checks, len(facts.checks)),
        mentions=order.sample(facts.mentions, len(facts.mentions)),
    )
    first, second = book_of(facts), book_of(shuffled)
    assert (first.state, first.ended_by, first.deadlines) == (
        second.state,
        second.ended_by,
        second.deadlines,
    )
    assert {(one.kind, one.fact_id): one for one in first.conflicts} == {
        (one.kind, one.fact_id): one for one in second.conflicts
    }


@given(placed_sets)
def test_a_fact_that_does_not_count_changes_nothing_but_the_list_of_conflicts(facts):
    fitting = fit(facts)
    with_all, with_few = book_of(facts), book_of(replace(facts, checks=[*fitting.looks, *fitting.words]))
    assert (with_all.state, with_all.deadlines) == (with_few.state, with_few.deadlines)


@given(facts_of_a_set)
def test_what_is_due_is_a_look_at_a_standing_set_or_a_search_for_a_missing_one(facts):
    book = book_of(facts)
    kinds = [one.kind for one in book.deadlines if one.state == "open"]
    due = {"standing": ["check"], "missing": ["set_search"]}
    if book.state is None:
        assert kinds == []
    elif book.state.state == "awaited":
        assert len(kinds) <= 1
        assert kinds == [] or book.state.ended_at is None
    else:
        assert kinds == due.get(book.state.state, [])
    assert book.state is None or book.state.ended_at is None or not book.state.fishing


@given(placed_sets)
def test_no_deadline_runs_on_across_a_look_that_leaves_the_set_safe_missing_or_ended(facts):
    quiet = {
        look.checked_at
        for look in fit(facts).looks
        if look.action in ("made_safe", "pulled", "moved", "lost") or look.finding == "missing"
    }
    for one in book_of(facts).deadlines:
        if one.kind == "check":
            assert not any(one.started_at < at and (one.met_at is None or at < one.met_at) for at in quiet)


@given(facts_of_a_set)
def test_every_deadline_has_one_starting_fact_of_the_set_and_an_id_of_its_own(facts):
    book = book_of(facts)
    started = {SET, *(one.id for one in facts.checks)}
    business = UUID(int=5)
    ids = [deadline_id(business, one.kind, one.subject_id, one.starting_fact_id) for one in book.deadlines]
    assert {one.starting_fact_id for one in book.deadlines} <= started
    assert len(set(ids)) == len(ids)
    for one in book.deadlines:
        assert (one.state == "open") == (one.met_at is None) == (one.met_by_fact_id is None)
        assert one.met_at is None or one.started_at <= one.met_at


@given(
    placed_sets,
    st.sampled_from(
        [HousePolicy(calendar_days=1), HousePolicy(calendar_days=3), HousePolicy(elapsed_hours=30)]
    ),
)
def test_a_later_look_is_never_followed_by_an_earlier_due_instant(facts, policy):
    for kind in ("check", "set_search"):
        found = [one for one in derive(facts, a_place(LOS_ANGELES, policy)).deadlines if one.kind == kind]
        in_order = sorted(found, key=lambda one: one.started_at)
        dues = [one.due_at for one in in_order]
        assert dues == sorted(dues)


@given(facts_of_a_set)
def test_effort_lies_between_nothing_and_all_traps_on_all_nights(facts):
    book = book_of(facts)
    if book.state is None or facts.placing is None or book.state.last_looked_at is None:
        assert book.state is None or book.state.trap_half_nights == 0
        return
    zone = ZoneInfo(LOS_ANGELES)
    nights = (local_date(book.state.last_looked_at, zone) - local_date(MONDAY, zone)).days
    assert 0 <= book.state.trap_half_nights <= 2 * nights * len(facts.placing.trap_nos)


@given(facts_of_a_set)
def test_a_conflict_is_one_of_its_kind_for_its_fact(facts):
    found = [(one.kind, one.fact_id) for one in book_of(facts).conflicts]
    assert len(set(found)) == len(found)


@given(placed_sets, st.randoms())
def test_what_was_told_adds_up_to_the_set_as_it_is_however_the_facts_came(facts, order):
    arrivals = order.sample([facts.placing, *facts.checks], len(facts.checks) + 1)
    known, so_far, standing, ended = None, SetFacts(set_id=SET, mentions=facts.mentions), False, None
    for arrived in arrivals:
        if isinstance(arrived, Check):
            so_far = replace(so_far, checks=[*so_far.checks, arrived])
        else:
            so_far = replace(so_far, placing=arrived)
        book = book_of(so_far)
        for event in told(so_far, known, book):
            match event:
                case SetPlaced():
                    assert not standing
                    standing, ended = True, None
                case SetEnded():
                    standing, ended = False, (event.ended_as, event.ended_at)
                case SetRestored():
                    assert not standing
                    standing, ended = True, None
        state = book.state
        known = state and Known(state=state.state, placed_at=state.placed_at, ended_at=state.ended_at)
    final = book_of(facts).state
    assert final is not None
    assert standing == (final.ended_at is None)
    assert ended == (None if final.ended_at is None else (final.state, final.ended_at))
