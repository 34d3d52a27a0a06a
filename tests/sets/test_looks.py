"""Whose look meets what is owed to a set, and what a monitor's or a customer's word does."""

from datetime import date
from uuid import UUID

from service.deadlines.models import Place
from service.packs.models import CalendarDay, Elapsed, Rule, SinceWord, WhoMayLook
from tests.deadlines.builders import a_pack
from tests.deadlines.builders import a_place as a_place_with
from tests.sets.builders import LOS_ANGELES, a_check, a_placing, book_of, check_id, local, looks_due

SETTER, OTHER = UUID(int=0x51), UUID(int=0x52)
MONDAY = local("2026-03-02 09:00")
DAY = CalendarDay(id="daily", sentence="A look on every local calendar day.")
BY_SETTER = WhoMayLook(id="setter", sentence="By the one who set it.", accepts=["setter"])


def under(*rules: Rule, **members: object) -> Place:
    """The property with one pack and without a house policy."""
    return a_place_with(LOS_ANGELES, a_pack(*rules), **members)  # type: ignore[arg-type]


def test_a_look_that_no_rule_accepts_meets_nothing_and_shows_in_the_why() -> None:
    placing = a_placing(MONDAY, worker_ids=[SETTER])
    stranger = a_check(1, local("2026-03-03 10:00"), worker_ids=[OTHER])
    customer = a_check(2, local("2026-03-03 12:00"), checked_by="customer", worker_ids=[SETTER])
    book = book_of(placing, stranger, customer, place=under(DAY, BY_SETTER))
    assert looks_due(book) == [("open", local("2026-03-04 00:00"))]
    (owed,) = book.deadlines
    assert [(one.check_id, one.by) for one in owed.why.contacts] == [
        (check_id(1), "worker"),
        (check_id(2), "customer"),
    ]
    assert "look by the customer Tue 3 Mar 12:00, which does not count" in owed.why.sentence
    setter = a_check(3, local("2026-03-03 13:00"), worker_ids=[OTHER, SETTER])
    met = book_of(placing, stranger, customer, setter, place=under(DAY, BY_SETTER))
    assert looks_due(met) == [("met", local("2026-03-04 00:00")), ("open", local("2026-03-05 00:00"))]


def test_who_looked_is_asked_by_the_rules_of_the_day_on_which_the_clock_started() -> None:
    setter_until_tuesday = a_pack(DAY, BY_SETTER, effective_until=date(2026, 3, 3))
    later = a_pack(DAY, effective_from=date(2026, 3, 3))
    place = a_place_with(LOS_ANGELES, setter_until_tuesday, later)
    by_customer = [a_check(n, local(f"2026-03-0{2 + n} 10:00"), checked_by="customer") for n in (1, 2)]
    assert looks_due(book_of(a_placing(MONDAY), *by_customer, place=place)) == [
        ("open", local("2026-03-04 00:00"))
    ]
    by_setter = a_check(3, local("2026-03-03 09:00"), worker_ids=[SETTER])
    assert looks_due(
        book_of(a_placing(MONDAY, worker_ids=[SETTER]), by_setter, *by_customer, place=place)
    ) == [
        ("met", local("2026-03-04 00:00")),
        ("met", local("2026-03-05 00:00")),
        ("met", local("2026-03-05 00:00")),
        ("open", local("2026-03-06 00:00")),
    ]


def test_whoever_takes_a_set_out_of_work_ends_what_is_owed() -> None:
    for action in ("made_safe", "pulled", "lost"):
        check = a_check(1, local("2026-03-03 10:00"), "undisturbed", action, checked_by="customer")
        book = book_of(a_placing(MONDAY, worker_ids=[SETTER]), check, place=under(DAY, BY_SETTER))
        assert looks_due(book) == [("met", local("2026-03-04 00:00"))]


def test_a_set_armed_by_anybody_is_owed_a_look() -> None:
    safe = a_check(1, local("2026-03-02 16:00"), "undisturbed", "made_safe")
    armed = a_check(2, local("2026-03-05 08:00"), "undisturbed", "armed", checked_by="customer")
    book = book_of(a_placing(MONDAY), safe, armed, place=under(DAY, BY_SETTER))
    assert looks_due(book)[-1] == ("open", local("2026-03-07 00:00"))


def test_an_alarm_moves_what_is_owed_and_the_look_after_it_meets_that() -> None:
    alarm = SinceWord(
        id="alarm", sentence="Within 24 hours of the alarm.", word="alarm", hours=24, instead_of=["daily"]
    )
    contact = SinceWord(
        id="contact",
        sentence="Within 24 hours of the last contact.",
        word="last_contact",
        hours=24,
        instead_of=["daily"],
    )
    place = under(DAY, alarm, contact)
    words = [
        a_check(1, local("2026-03-02 20:00"), checked_by="monitor"),
        a_check(2, local("2026-03-03 19:00"), checked_by="monitor"),
        a_check(3, local("2026-03-04 06:00"), "sprung_empty", "left", checked_by="monitor"),
    ]
    assert looks_due(book_of(a_placing(MONDAY), *words, place=place)) == [("open", local("2026-03-05 06:00"))]
    in_time = a_check(4, local("2026-03-05 05:59"), "catch", "reset")
    late = a_check(4, local("2026-03-05 06:01"), "catch", "reset")
    for look, state in ((in_time, "met"), (late, "late")):
        found = looks_due(book_of(a_placing(MONDAY), *words, look, place=place))
        # once somebody has looked, the monitor's silence since leaves the day's rule
        assert found == [(state, local("2026-03-05 06:00")), ("open", local("2026-03-07 00:00"))]


def test_a_customer_who_tells_of_a_capture_and_leaves_it_gives_notice() -> None:
    notice = SinceWord(id="notice", sentence="Within 24 hours of notice.", word="notice", hours=24)
    place = under(Elapsed(id="each-48-h", sentence="A look within 48 hours.", hours=48), notice)
    told = a_check(1, local("2026-03-03 10:00"), "catch", "left", checked_by="customer")
    assert looks_due(book_of(a_placing(MONDAY), told, place=place)) == [
        ("met", local("2026-03-04 09:00")),
        ("open", local("2026-03-04 10:00")),
    ]
    pulled = a_check(1, local("2026-03-03 10:00"), "catch", "pulled", checked_by="customer")
    assert looks_due(book_of(a_placing(MONDAY), pulled, place=place)) == [("met", local("2026-03-04 09:00"))]
