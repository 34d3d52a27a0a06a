"""The claim over a period: worked cases of our own, dates by the clock on a wall in Los Angeles.

Which methods break it, and on which ground: FIFRA § 2(u), 40 CFR 152.25(f), 152.500, 7 CFR 205.206. That traps and
hand removal are the practice of an organic or pesticide-free lawn is common practice, not law.
"""

from datetime import UTC, date, datetime, timedelta
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.claims.models import Applied, Claim, Period, Presence
from service.claims.rules import claims, period_of, statement, treatments
from service.facts.models import Treatment
from service.methods.models import NewMethod
from service.methods.rules import class_of, shipped
from service.treatments.models import NewTreatment
from tests.records.book import an_id, castor_oil, la, visit

ZONE = ZoneInfo("America/Los_Angeles")
FIRST, SECOND, THIRD = visit(11, la(1, 10), 40), visit(12, la(8, 10), 30), visit(13, la(12, 9), 20)
LATE = visit(14, la(4, 10), 15)
OIL = castor_oil(la(5, 12), visit_id=THIRD.id)
METHODS = st.sampled_from(["castor_oil", "mesh", "bait", "gas cartridge", "never heard of", "by hand"])


def of(
    one: Presence,
    visits: list[Presence],
    applied: list[Applied],
    own: tuple[NewMethod, ...] = (),
    tenure_from: date | None = None,
) -> tuple[Claim, Claim]:
    """(by us, known) of the record of a visit."""
    period = period_of(one, visits)
    return claims(period, visits, treatments(applied, period, own), ZONE, tenure_from)


def test_c1_told_later_it_breaks_the_record_whose_period_holds_it_and_no_other():
    visits = [FIRST, SECOND, THIRD]
    by_us, known = of(SECOND, visits, [OIL])
    assert (known.from_at, known.until_at) == (la(1, 10), la(8, 10, 30))
    assert (by_us.free, known.free) == (True, False)
    assert [(one.id, one.method) for one in known.broken_by] == [(OIL.id, "castor_oil")]
    for other in (FIRST, THIRD):
        assert of(other, visits, [OIL]) == of(other, visits, [])


def test_c2_a_late_visit_shortens_the_period_and_has_a_true_record():
    visits = [FIRST, LATE, SECOND, THIRD]
    _, known = of(SECOND, visits, [OIL])
    assert known.from_at == la(4, 10)
    assert not known.free
    assert [one.free for one in of(LATE, visits, [OIL])] == [True, True]


def test_c3_without_the_visit_that_told_of_it_both_hold():
    assert [one.free for one in of(SECOND, [FIRST, SECOND], [])] == [True, True]


def test_c4_it_never_says_none_without_the_count():
    visits = [FIRST, visit(15, la(5, 10), 10, states_none=True), SECOND]
    period = Period(from_at=la(1, 10), until_at=la(8, 10, 30))
    by_us, known = claims(period, visits, [], ZONE, None)
    assert (len(known.visit_ids), known.visits_stating_none) == (3, 1)
    assert "this rests on 3 visits, of which 1 states that no treatment was made" in statement(
        by_us, known, ZONE
    )


def test_why_names_the_treatment_its_class_and_the_ground_in_one_sentence():
    by_us, known = of(SECOND, [FIRST, SECOND], [OIL])
    assert by_us.why is None
    assert known.why == (
        "The claim does not hold because of castor oil (minimum-risk pesticide) on 2026-05-05 12:00 by the customer "
        f"[{class_of('castor_oil').ground}]."
    )


def test_the_statement_says_that_free_of_pesticide_is_not_free_of_licence():
    """California Food and Agricultural Code § 11403."""
    assert statement(*of(SECOND, [FIRST, SECOND], []), ZONE).endswith(shipped().notice)


def test_a_treatment_before_the_customers_tenure_breaks_it_and_says_so():
    """The local day decides: half past eleven in the evening of 7 May is 8 May in UTC."""
    late = castor_oil(la(7, 23, 30))
    _, known = of(SECOND, [FIRST, SECOND], [late], tenure_from=date(2026, 5, 8))
    assert [one.before_tenure for one in known.broken_by] == [True]
    assert known.why is not None
    assert "before this customer's time" in known.why
    _, known = of(SECOND, [FIRST, SECOND], [late], tenure_from=date(2026, 5, 7))
    assert [one.before_tenure for one in known.broken_by] == [False]


@pytest.mark.parametrize(
    ("at", "is_inside"),
    [
        (la(1, 10), True),
        (la(8, 10, 30), True),
        (la(1, 10) - timedelta(microseconds=1), False),
        (la(8, 10, 30) + timedelta(microseconds=1), False),
    ],
)
def test_both_ends_belong_to_the_period(at: datetime, is_inside: bool):
    assert of(SECOND, [FIRST, SECOND], [castor_oil(at)])[1].free is not is_inside


def test_over_the_hour_that_a_clock_shows_twice_the_period_goes_by_instants():
    """In 2026 the clocks of Los Angeles go back on 1 November at 09:00 UTC (tz database)."""
    before = datetime(2026, 11, 1, 8, 30, tzinfo=UTC)
    ended = visit(22, before, 15)
    assert before.astimezone(ZONE).hour == (before + timedelta(hours=1)).astimezone(ZONE).hour == 1
    assert of(ended, [ended], [castor_oil(before + timedelta(minutes=10))])[1].free is False
    assert of(ended, [ended], [castor_oil(before + timedelta(hours=1, minutes=10))])[1].free


def test_where_nobody_says_by_whom_a_visit_speaks_of_us_and_a_word_on_its_own_of_others():
    """The strict side in a visit: what a worker states without more breaks the claim of us too."""
    in_visit = Treatment(id=an_id(1), method="bait", applied_at=la(5, 12)).applied_by
    alone = NewTreatment(property_id=an_id(1), method="bait", applied_at=la(5, 12)).applied_by
    held = [of(SECOND, [FIRST, SECOND], [castor_oil(la(5, 12), applied_by=by)]) for by in (in_visit, alone)]
    assert [(by_us.free, known.free) for by_us, known in held] == [(False, False), (True, False)]


@pytest.mark.parametrize(
    ("noun", "method", "is_free"),
    [
        ("repair", "treated_seed", False),
        ("catch", "by hand", True),
        ("catch", "net", True),
        ("catch", "gas cartridge", False),
        ("catch", "a neighbour's ferret", False),
        ("treatment", "mesh", True),
        ("treatment", "carbon monoxide", False),
    ],
)
def test_treated_seed_and_ways_of_catching_count_too(noun: Any, method: str, is_free: bool):
    used = castor_oil(la(5, 12), noun=noun, method=method, applied_by="us")
    assert [one.free for one in of(SECOND, [FIRST, SECOND], [used])] == [is_free, is_free]


def test_what_the_business_classed_counts_with_its_ground():
    used = castor_oil(la(5, 12), method="Owl box", applied_by="us")
    ground = "7 CFR 205.206(a), (b): habitat, no substance"
    own = NewMethod(name="owl-box", method_class="exclusion", ground=ground)
    assert of(SECOND, [FIRST, SECOND], [used])[0].free is False
    assert of(SECOND, [FIRST, SECOND], [used], (own,))[0].free
    [line] = treatments([used], period_of(SECOND, [FIRST, SECOND]), [own])
    assert (line.method_class, line.ground) == ("exclusion", ground)


@pytest.mark.parametrize("method", ["mesh", "by hand", "habitat change"])
def test_what_was_stated_with_a_registration_breaks_it_whatever_its_method_is_called(method: str):
    """40 CFR 156.10(e): a pesticide bears its registration number; 152.500(b): a device is not registered."""
    used = castor_oil(la(5, 12), method=method, registration="EPA Reg. No. 00000-00")
    [line] = treatments([used], period_of(SECOND, [FIRST, SECOND]))
    assert (line.method_class, line.breaks_claim) == ("registered_pesticide", True)
    assert "40 CFR 152.500(b)" in line.ground
    assert of(SECOND, [FIRST, SECOND], [used])[1].free is False
    none = castor_oil(la(5, 12), method=method, registration="none")
    assert of(SECOND, [FIRST, SECOND], [none])[1].free is True


@st.composite
def books(draw: Any) -> tuple[list[Presence], list[Applied]]:
    """Visits and treatments of a week."""
    hours = draw(st.lists(st.integers(0, 167), min_size=1, max_size=5, unique=True))
    visits = [
        visit(number, la(1, 0) + hour * timedelta(hours=1), 30) for number, hour in enumerate(hours, 11)
    ]
    made = draw(
        st.lists(st.tuples(st.integers(0, 340), METHODS, st.sampled_from(["us", "customer", "other"])))
    )
    return visits, [
        castor_oil(la(1, 0) + half * timedelta(minutes=30), id=an_id(number), method=method, applied_by=by)
        for number, (half, method, by) in enumerate(made, 900)
    ]


@settings(deadline=None)  # what else the machine does must not fail it
@given(books(), st.randoms())
def test_the_order_of_arrival_never_matters(book: tuple[list[Presence], list[Applied]], random: Random):
    visits, applied = book
    straight = [of(one, visits, applied) for one in visits]
    mixed = (random.sample(visits, len(visits)), random.sample(applied, len(applied)))
    assert [of(one, *mixed) for one in visits] == straight


@settings(deadline=None)
@given(books(), st.integers(0, 340), METHODS, st.sampled_from(["us", "customer", "other"]))
def test_a_further_treatment_never_makes_a_claim_true(
    book: tuple[list[Presence], list[Applied]], half: int, method: str, by: Any
):
    visits, applied = book
    more = castor_oil(la(1, 0) + half * timedelta(minutes=30), id=an_id(999), method=method, applied_by=by)
    for one in visits:
        before, after = of(one, visits, applied), of(one, visits, [*applied, more])
        assert all(now.free <= was.free for was, now in zip(before, after, strict=True))
        assert before[1].free <= before[0].free
