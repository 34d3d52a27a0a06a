"""What the clock remembers, says and takes back, as facts come in: sequences without a database."""

from datetime import datetime
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.json import decode
from msgspec.structs import asdict, replace

from service.deadlines.models import Derived, Kind, KnownBy, Stored, Why
from service.deadlines.said import as_said, explanation, reconcile, wake_of, withdrawn, word
from service.deadlines.words import DUE, SOON, CheckDueSoon, CheckOverdue, CheckSettled, LawnSettled
from service.events.models import Event
from service.kernel.ids import id_of_cause
from tests.deadlines.facts import DAY, DUE_AT, HOUR, MINUTE, MONDAY, PHONE

BUSINESS = UUID("0198f3a0-0000-7000-8000-000000000001")
SUBJECT = UUID("0198f3a0-0000-7000-8000-0000000000a1")
ROW = UUID("7da18571-1f39-599a-8272-86cd8c58da76")
OFFICE = KnownBy(worker_id=None, key_id=UUID(int=3))
WHY = Why(
    started_by="placed",
    started_at=MONDAY,
    zone="America/Los_Angeles",
    rules=[],
    winner="",
    sentence="…",
    notice="",
)


def derived(kind: Kind = "check", due_at: datetime = DUE_AT, **ended: object) -> Derived:
    """A deadline as it follows from the facts: open, or ended by `state`, `outcome`, `met_at`."""
    return Derived(
        kind=kind,
        subject_id=SUBJECT,
        starting_fact_id=UUID("0198f3a0-0000-7000-8000-0000000000b2"),
        property_id=UUID(int=7),
        started_at=MONDAY,
        due_at=due_at,
        why=WHY,
        **({"state": "open"} | ended),  # type: ignore[arg-type]
    )


def ended(state: str, kind: Kind = "check", due_at: datetime = DUE_AT, outcome: str | None = None) -> Derived:
    """A deadline that was met an hour before it was due, or an hour after."""
    met_at = due_at + (HOUR if state == "late" else -HOUR)
    return derived(
        kind, due_at, state=state, outcome=outcome or state, met_at=met_at, met_by_fact_id=UUID(int=9)
    )


class Clock:
    """One row's life: facts that come in, ticks that speak, and all that was said."""

    def __init__(self) -> None:
        self.row: Stored | None = None
        self.log: list[Event] = []
        self.causes: list[str] = []

    def learn(self, follows: Derived | None, now: datetime, by: KnownBy = PHONE) -> list[Event]:
        """What is told at once when this follows from the facts; None: no longer anything."""
        self.row = None if self.row is None else as_said(BUSINESS, self.row)
        if follows is None:
            assert self.row is not None
            follows = withdrawn(self.row)
        found = reconcile(ROW, self.row, follows, now, by)
        if found is None:
            return []
        self.row = found.row
        said = len(self.log)
        if found.overdue is not None:
            self.row = replace(
                self.row, announced_event_id=self.tell(found.overdue.event, found.overdue.cause)
            )
        if found.settled is not None:
            event_id = self.tell(found.settled.event, found.settled.cause)
            if self.row.settled_outcome is not None:
                self.row = replace(self.row, settled_event_id=event_id)
        return self.log[said:]

    def tell(self, event: Event, cause: str) -> UUID:
        """The id follows from the cause, and what has this cause already is not told again, as in the log."""
        if cause not in self.causes:
            self.causes.append(cause)
            self.log.append(event)
        return id_of_cause(BUSINESS, cause)

    def tick(self, now: datetime) -> list[Event]:
        """What the clock says by then, as queries.sql does: of the row it changes nothing but the wake."""
        said = len(self.log)
        while self.row is not None and self.row.wake_at is not None and self.row.wake_at <= now:
            if self.row.wake_type != DUE[self.row.kind].event_type and self.row.due_at > now:
                soon = word(SOON[self.row.kind][0], self.row)
                self.tell(soon.event, soon.cause)
                wake_type = DUE[self.row.kind].event_type
                self.row = replace(self.row, wake_at=self.row.due_at, wake_type=wake_type)
                continue
            due = word(DUE[self.row.kind], self.row)
            self.tell(due.event, due.cause)
            self.row = replace(self.row, wake_at=None, wake_type=None)
        return self.log[said:]

    @property
    def known(self) -> Stored:
        """The row there is."""
        assert self.row is not None
        return self.row

    @property
    def last_id(self) -> UUID:
        """The id of what was said last."""
        return id_of_cause(BUSINESS, self.causes[-1])


@pytest.fixture
def clock() -> Clock:
    """A row that nobody knows of yet."""
    return Clock()


def types(events: list[Event]) -> list[str]:
    """What kinds of events they are."""
    return [event.event_type for event in events]


def test_an_open_look_is_said_soon_and_at_its_instant(clock: Clock) -> None:
    assert clock.learn(derived(), MONDAY) == []
    assert (clock.known.wake_at, clock.known.wake_type) == (DUE_AT - 4 * HOUR, "check.due_soon")
    assert clock.tick(DUE_AT - 4 * HOUR - MINUTE) == []
    assert types(clock.tick(DUE_AT - 4 * HOUR)) == ["check.due_soon"]
    assert clock.tick(DUE_AT - MINUTE) == []
    assert types(clock.tick(DUE_AT)) == ["check.overdue"]
    assert clock.tick(DUE_AT + DAY) == []


@pytest.mark.parametrize(
    ("kind", "known_at", "wake_at", "wake_type"),
    [
        ("lawn", MONDAY, DUE_AT - 12 * HOUR, "lawn.due_soon"),
        ("lawn", DUE_AT - HOUR, DUE_AT - HOUR, "lawn.due_soon"),
        ("lawn_cover", MONDAY, DUE_AT - 12 * HOUR, "lawn.due_soon"),
        ("check", DUE_AT - HOUR, DUE_AT - HOUR, "check.due_soon"),
        ("check", DUE_AT, DUE_AT, "check.overdue"),
        ("check", DUE_AT + HOUR, DUE_AT + HOUR + 10 * MINUTE, "check.overdue"),
        ("run_look", MONDAY, DUE_AT, "run.look_due"),
        ("run_look", DUE_AT + HOUR, DUE_AT + HOUR + 10 * MINUTE, "run.look_due"),
        ("lawn_followup", MONDAY, DUE_AT, "lawn.followup_due"),
        ("set_search", MONDAY, DUE_AT, "set.search_due"),
        ("report", MONDAY - 30 * DAY, DUE_AT - 14 * DAY, "report.due"),
        ("report", MONDAY, MONDAY, "report.due"),
    ],
)
def test_the_first_word_depends_on_kind_and_on_when_it_became_known(
    clock: Clock, kind: Kind, known_at: datetime, wake_at: datetime, wake_type: str
) -> None:
    clock.learn(derived(kind), known_at)
    assert (clock.known.wake_at, clock.known.wake_type) == (wake_at, wake_type)
    assert (clock.known.known_at, clock.known.known_by_worker_id) == (known_at, PHONE.worker_id)


def test_a_wake_is_the_event_that_the_clock_writes(clock: Clock) -> None:
    clock.learn(derived(), MONDAY)
    wake = wake_of(BUSINESS, clock.known)
    assert wake is not None
    soon = word(SOON["check"][0], clock.known)
    assert (wake.type, wake.cause, wake.known_at) == ("check.due_soon", soon.cause, None)
    assert wake.event_id == id_of_cause(BUSINESS, soon.cause)
    assert decode(wake.data, type=CheckDueSoon) == soon.event
    # what is said at the due instant holds the same data
    assert decode(wake.data, type=CheckOverdue) == word(DUE["check"], clock.known).event
    clock.tick(DUE_AT)
    assert wake_of(BUSINESS, clock.known) is None


def test_a_wake_of_what_was_known_too_late_knows_by_whom(clock: Clock) -> None:
    clock.learn(derived(), DUE_AT + HOUR)
    wake = wake_of(BUSINESS, clock.known)
    assert wake is not None
    known = (DUE_AT + HOUR, PHONE.worker_id, PHONE.key_id)
    assert (wake.known_at, wake.known_by_worker_id, wake.known_by_key_id) == known
    assert decode(wake.data, type=CheckOverdue).known_late


def test_an_open_row_without_a_wake_was_spoken_of(clock: Clock) -> None:
    clock.learn(derived(), MONDAY)
    assert as_said(BUSINESS, clock.known) == clock.known
    clock.tick(DUE_AT)
    assert clock.known.announced_due_at is None
    said = as_said(BUSINESS, clock.known)
    assert (said.announced_due_at, said.announced_event_id) == (DUE_AT, clock.last_id)
    assert as_said(BUSINESS, said) == said


def test_a_look_in_time_says_nothing(clock: Clock) -> None:
    clock.learn(derived(), MONDAY)
    assert clock.learn(ended("met"), DUE_AT - HOUR) == []
    assert clock.known.wake_at is None
    assert clock.tick(DUE_AT + DAY) == []


def test_a_late_look_settles_what_was_overdue(clock: Clock) -> None:
    clock.learn(derived(), MONDAY)
    clock.tick(DUE_AT - HOUR)
    clock.tick(DUE_AT)
    (settled,) = clock.learn(ended("late"), DUE_AT + HOUR)
    assert settled == CheckSettled(
        deadline_id=ROW,
        property_id=UUID(int=7),
        started_at=MONDAY,
        due_at=DUE_AT,
        episode=1,
        why="…",
        explanation=explanation(WHY),
        set_id=SUBJECT,
        outcome="late",
        met_at=DUE_AT + HOUR,
    )
    assert clock.causes[-1] == f"check.settled/{SUBJECT}/{ROW}/2026-03-04T08:00:00.000000Z/late/1"


def test_a_look_that_arrives_days_later_settles_it_again_as_met(clock: Clock) -> None:
    # placed Monday, looks known of Tuesday and Thursday; on Friday a phone brings Wednesday's
    clock.learn(derived(), MONDAY)
    clock.tick(DUE_AT - HOUR)
    clock.tick(DUE_AT)
    clock.learn(ended("late"), DUE_AT + 34 * HOUR)
    late_id = clock.last_id
    (again,) = clock.learn(ended("met"), DUE_AT + 60 * HOUR)
    assert isinstance(again, CheckSettled)
    assert (again.outcome, again.replaces, again.episode) == ("met", late_id, 1)
    assert types(clock.log) == ["check.due_soon", "check.overdue", "check.settled", "check.settled"]


def test_what_comes_in_one_batch_after_the_fact_raises_no_alarm(clock: Clock) -> None:
    friday = DUE_AT + 60 * HOUR
    clock.learn(derived(), friday)
    assert (clock.known.wake_at, clock.known.wake_type) == (friday + 10 * MINUTE, "check.overdue")
    clock.learn(ended("late"), friday + MINUTE)
    clock.learn(ended("met"), friday + 2 * MINUTE)
    assert clock.tick(friday + DAY) == []


def test_what_became_known_too_late_and_stays_unmet_is_said_after_the_settling_time(clock: Clock) -> None:
    friday = DUE_AT + 60 * HOUR
    clock.learn(derived(), friday)
    assert clock.tick(friday + 9 * MINUTE) == []
    (overdue,) = clock.tick(friday + 10 * MINUTE)
    assert isinstance(overdue, CheckOverdue)
    assert (overdue.due_at, overdue.known_late) == (DUE_AT, True)


def test_what_a_sleeping_clock_missed_is_said_by_the_look_that_came_too_late(clock: Clock) -> None:
    clock.learn(derived(), MONDAY)
    overdue, settled = clock.learn(ended("late"), DUE_AT + HOUR)
    assert isinstance(overdue, CheckOverdue)
    assert isinstance(settled, CheckSettled)
    assert (overdue.due_at, overdue.known_late, settled.outcome) == (DUE_AT, False, "late")
    assert (clock.known.announced_due_at, clock.known.settled_outcome) == (DUE_AT, "late")


def test_a_sleeping_clock_raises_no_alarm_for_a_look_in_time(clock: Clock) -> None:
    clock.learn(derived(), MONDAY)
    assert clock.learn(ended("met"), DUE_AT + HOUR) == []


def test_facts_that_change_nothing_change_no_row(clock: Clock) -> None:
    clock.learn(derived(), MONDAY)
    assert reconcile(ROW, clock.row, derived(), MONDAY + DAY, OFFICE) is None
    clock.learn(None, MONDAY + DAY)
    assert reconcile(ROW, clock.known, withdrawn(clock.known), MONDAY + 2 * DAY, OFFICE) is None


def test_a_new_why_keeps_what_was_known_and_said(clock: Clock) -> None:
    clock.learn(derived(), MONDAY)
    clock.tick(DUE_AT)
    said = as_said(BUSINESS, clock.known)
    clock.learn(replace(derived(), why=replace(WHY, sentence="a gate was locked")), DUE_AT + HOUR, OFFICE)
    assert clock.known == replace(said, why=replace(WHY, sentence="a gate was locked"))


def test_a_due_that_moves_within_the_past_is_said_again_and_names_what_it_replaces(clock: Clock) -> None:
    clock.learn(derived(), MONDAY)
    clock.tick(DUE_AT)
    first_id = clock.last_id
    clock.learn(derived(due_at=DUE_AT + HOUR), DUE_AT + DAY, OFFICE)
    assert clock.known.known_at == DUE_AT + DAY
    assert clock.tick(DUE_AT + DAY + 9 * MINUTE) == []
    (again,) = clock.tick(DUE_AT + DAY + 10 * MINUTE)
    assert isinstance(again, CheckOverdue)
    assert (again.due_at, again.replaces, again.episode) == (DUE_AT + HOUR, first_id, 1)


def test_a_due_that_moves_back_is_said_a_third_time(clock: Clock) -> None:
    clock.learn(derived(), MONDAY)
    clock.tick(DUE_AT)
    clock.learn(derived(due_at=DUE_AT + HOUR), DUE_AT + DAY)
    clock.tick(DUE_AT + 2 * DAY)
    second_id = clock.last_id
    clock.learn(derived(), DUE_AT + 3 * DAY)
    (third,) = clock.tick(DUE_AT + 4 * DAY)
    assert isinstance(third, CheckOverdue)
    assert (third.due_at, third.replaces, third.episode) == (DUE_AT, second_id, 2)


def test_an_overdue_whose_due_moves_ahead_is_taken_back_and_starts_afresh(clock: Clock) -> None:
    clock.learn(derived(), MONDAY)
    clock.tick(DUE_AT)
    ahead = DUE_AT + 2 * DAY
    (taken_back,) = clock.learn(derived(due_at=ahead), DUE_AT + DAY)
    assert isinstance(taken_back, CheckSettled)
    assert (taken_back.outcome, taken_back.due_at, taken_back.episode) == ("withdrawn", DUE_AT, 1)
    assert (clock.known.episode, clock.known.state, clock.known.wake_at) == (2, "open", ahead - 4 * HOUR)
    # met in time now: nobody waits for a word on it
    assert clock.learn(ended("met", due_at=ahead), ahead - HOUR) == []


def test_a_due_moved_before_anything_was_said_moves_the_words(clock: Clock) -> None:
    clock.learn(derived(), MONDAY)
    clock.learn(derived(due_at=DUE_AT + DAY), MONDAY + HOUR, OFFICE)
    assert (clock.known.wake_at, clock.known.episode) == (DUE_AT + DAY - 4 * HOUR, 1)
    assert (clock.known.known_at, clock.known.known_by_key_id) == (MONDAY + HOUR, OFFICE.key_id)


def test_a_withdrawn_overdue_is_settled_and_a_new_one_opens_with_the_next_episode(clock: Clock) -> None:
    clock.learn(derived(), MONDAY)
    clock.tick(DUE_AT)
    (settled,) = clock.learn(None, DUE_AT + HOUR)
    assert isinstance(settled, CheckSettled)
    assert (settled.outcome, settled.replaces, settled.met_at) == ("withdrawn", None, None)
    withdrawn_id = clock.last_id
    assert clock.learn(derived(), DUE_AT + DAY) == []
    assert (clock.known.episode, clock.known.wake_at) == (2, DUE_AT + DAY + 10 * MINUTE)
    (overdue,) = clock.tick(DUE_AT + 2 * DAY)
    assert isinstance(overdue, CheckOverdue)
    assert (overdue.episode, overdue.replaces) == (2, withdrawn_id)


def test_what_was_withdrawn_and_opens_ahead_needs_no_further_word(clock: Clock) -> None:
    clock.learn(derived(), MONDAY)
    clock.tick(DUE_AT)
    clock.learn(None, DUE_AT + HOUR)
    assert clock.learn(derived(due_at=DUE_AT + 2 * DAY), DUE_AT + DAY) == []
    assert (clock.known.episode, clock.known.announced_due_at, clock.known.settled_outcome) == (2, None, None)


def test_a_withdrawn_deadline_that_nobody_heard_of_says_nothing(clock: Clock) -> None:
    clock.learn(derived(), MONDAY)
    assert clock.learn(None, MONDAY + HOUR) == []
    assert (clock.known.state, clock.known.outcome, clock.known.wake_at) == ("withdrawn", "withdrawn", None)


def test_a_settled_deadline_that_opens_again_is_overdue_again(clock: Clock) -> None:
    clock.learn(derived(), MONDAY)
    clock.tick(DUE_AT)
    clock.learn(ended("late"), DUE_AT + HOUR)
    late_id = clock.last_id
    # the visit with the look is withdrawn
    assert clock.learn(derived(), DUE_AT + DAY) == []
    (overdue,) = clock.tick(DUE_AT + DAY + 10 * MINUTE)
    assert isinstance(overdue, CheckOverdue)
    assert (overdue.episode, overdue.replaces) == (2, late_id)
    (settled,) = clock.learn(ended("late"), DUE_AT + 2 * DAY)
    assert isinstance(settled, CheckSettled)
    assert (settled.episode, settled.replaces) == (2, None)


def test_a_look_taken_away_and_brought_back_leaves_the_last_word_true(clock: Clock) -> None:
    clock.learn(derived(), MONDAY)
    clock.tick(DUE_AT)
    for n, outcome in enumerate(["late", "met", "late", "met", "late"], start=1):
        (settled,) = clock.learn(ended(outcome), DUE_AT + n * DAY)
        assert isinstance(settled, CheckSettled)
        assert settled.outcome == outcome
    # within one episode the outcome only gets better
    assert [one.episode for one in clock.log if isinstance(one, CheckSettled)] == [1, 1, 2, 2, 3]


def test_a_due_that_moves_after_the_end_settles_it_again(clock: Clock) -> None:
    clock.learn(derived(), MONDAY)
    clock.tick(DUE_AT)
    clock.learn(ended("late"), DUE_AT + HOUR)
    late_id = clock.last_id
    (again,) = clock.learn(ended("late", due_at=DUE_AT + HOUR), DUE_AT + DAY)
    assert isinstance(again, CheckSettled)
    assert (again.outcome, again.due_at, again.replaces) == ("late", DUE_AT + HOUR, late_id)


def test_every_verdict_on_a_lawn_is_told(clock: Clock) -> None:
    clock.learn(derived("lawn"), MONDAY)
    (first,) = clock.learn(ended("met", "lawn", outcome="in_time"), DUE_AT - HOUR)
    assert isinstance(first, LawnSettled)
    assert (first.outcome, first.sign_id, first.replaces) == ("in_time", SUBJECT, None)
    # a mowing becomes known a week later: another due instant, another verdict
    (second,) = clock.learn(ended("late", "lawn", DUE_AT - DAY, "late"), DUE_AT + 7 * DAY)
    assert isinstance(second, LawnSettled)
    assert (second.outcome, second.due_at) == ("late", DUE_AT - DAY)
    assert second.replaces == id_of_cause(BUSINESS, clock.causes[-2])


def test_every_verdict_on_a_cover_is_told_of_its_set(clock: Clock) -> None:
    (told,) = clock.learn(ended("met", "lawn_cover", outcome="in_time"), DUE_AT - HOUR)
    assert isinstance(told, LawnSettled)
    assert (told.outcome, told.set_id, told.sign_id) == ("in_time", SUBJECT, None)


def test_a_verdict_known_with_the_sign_is_told_at_once(clock: Clock) -> None:
    (told,) = clock.learn(ended("late", "lawn", outcome="found_late"), DUE_AT + DAY)
    assert isinstance(told, LawnSettled)
    assert (told.outcome, told.known_late) == ("found_late", True)
    assert clock.learn(ended("late", "lawn", outcome="found_late"), DUE_AT + 2 * DAY) == []


def test_a_lawn_not_cleared_after_all_takes_its_verdict_back(clock: Clock) -> None:
    clock.learn(derived("lawn"), MONDAY)
    clock.learn(ended("met", "lawn", outcome="in_time"), MONDAY + HOUR)
    verdict_id = clock.last_id
    (taken_back,) = clock.learn(derived("lawn"), MONDAY + 2 * HOUR)
    assert isinstance(taken_back, LawnSettled)
    assert (taken_back.outcome, taken_back.replaces) == ("withdrawn", verdict_id)
    assert clock.known.episode == 2
    (overdue,) = clock.tick(DUE_AT)
    assert overdue.event_type == "lawn.overdue"


def test_a_withdrawn_sign_takes_its_verdict_back(clock: Clock) -> None:
    clock.learn(ended("met", "lawn", outcome="in_time"), MONDAY)
    (taken_back,) = clock.learn(None, MONDAY + HOUR)
    assert isinstance(taken_back, LawnSettled)
    assert taken_back.outcome == "withdrawn"


@pytest.mark.parametrize("kind", ["run_look", "lawn_followup", "set_search"])
def test_other_looks_have_one_word_and_no_settling(clock: Clock, kind: Kind) -> None:
    clock.learn(derived(kind), MONDAY)
    assert types(clock.tick(DUE_AT)) == [DUE[kind].event_type]
    assert clock.learn(ended("late", kind), DUE_AT + HOUR) == []
    assert clock.learn(None, DUE_AT + 2 * HOUR) == []
    clock.learn(derived(kind), DUE_AT + 3 * HOUR)
    (again,) = clock.tick(DUE_AT + 4 * HOUR)
    assert asdict(again)["episode"] == 2


def fold(log: list[Event], kind: Kind) -> tuple[str | None, datetime | None]:
    """What somebody knows who reads the log from the start: overdue, or how it ended, and the due instant."""
    outcome, due_at = None, None
    for event in log:
        data = asdict(event)
        if event.event_type == DUE[kind].event_type:
            outcome, due_at = "overdue", data["due_at"]
        elif event.event_type.endswith(".settled"):
            outcome, due_at = data["outcome"], data["due_at"]
    return outcome, due_at


some_facts = st.builds(
    lambda state, hours: (state, DUE_AT + hours * HOUR),
    st.sampled_from(["open", "met", "late", "withdrawn"]),
    st.integers(-2, 2),
)


@pytest.mark.parametrize("kind", ["check", "lawn", "lawn_cover"])
@given(
    some_facts.filter(lambda fact: fact[0] != "withdrawn"),
    st.lists(st.tuples(some_facts, st.booleans(), st.integers(0, 3))),
)
def test_whoever_folds_the_log_knows_how_it_stands(
    kind: Kind, first: tuple[str, datetime], steps: list[tuple[tuple[str, datetime], bool, int]]
) -> None:
    names = {} if kind == "check" else {"met": "in_time"}

    def follows(fact: tuple[str, datetime]) -> Derived | None:
        state, due_at = fact
        return {
            "open": lambda: derived(kind, due_at),
            "withdrawn": lambda: None,
        }.get(state, lambda: ended(state, kind, due_at, names.get(state)))()

    clock, now = Clock(), DUE_AT - 3 * HOUR
    clock.learn(follows(first), now)
    for fact, is_ticking, hours in steps:
        now += hours * HOUR
        if is_ticking:
            clock.tick(now)
        clock.learn(follows(fact), now)
    now += 12 * HOUR
    clock.tick(now)
    known = fold(clock.log, kind)
    if clock.known.state == "open":
        assert known == ("overdue", clock.known.due_at)
    elif known == (None, None):
        assert kind == "check" or clock.known.state == "withdrawn"
    elif clock.known.episode == 1 or known[0] != "withdrawn":
        assert known == (clock.known.outcome, clock.known.due_at)
