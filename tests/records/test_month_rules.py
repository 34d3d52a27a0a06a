"""The content of a month's record: one property in Los Angeles, May 2026; dates and counts are our own arithmetic."""

from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.claims.models import Presence
from service.facts.models import TrapFinding
from service.kernel.errors import Refused
from service.records.facts import Around, Attended, Month, MonthFacts
from service.records.lines import RepairLine, ToldLine
from service.records.models import LicenceLine
from service.records.month_rules import (
    month_content,
    month_from,
    note_of,
    permits_of,
    workers_of,
)
from service.records.rules import bytes_of, check_ended, following
from tests.records.book import (
    CUSTOMER,
    MATE,
    TARGET,
    WORKER,
    a_check,
    a_set,
    an_animal,
    an_id,
    castor_oil,
    head_of,
    la,
    soil,
    visit,
)

ZONE = ZoneInfo("America/Los_Angeles")
MAY = month_from(date(2026, 5, 1), ZONE)
LAST_OF_APRIL = visit(11, la(1, 10) - timedelta(days=1), 40)
FIRST, SECOND = visit(12, la(8, 10), 30), visit(13, la(31, 23, 40), 30)
FIRST_OF_JUNE = visit(14, la(1, 9) + timedelta(days=31), 20)


def attended(one: Presence, **more: Any) -> Attended:
    stated = {
        "outcome": "done",
        "worker_id": WORKER,
        "with_worker_ids": [],
        "customer_note": None,
        "job_id": None,
        "target": None,
        "permit": None,
    }
    return Attended(**msgspec.structs.asdict(one), **stated | more)


def month_of(visits: list[Presence], month: Month = MAY, **more: Any) -> MonthFacts:
    head = msgspec.structs.asdict(head_of(FIRST))
    lists: dict[str, Any] = {
        name: [] for name in ("applied", "placings", "checks", "caught", "clearings", "repairs", "told")
    }
    return MonthFacts(
        around=Around(**{name: head[name] for name in Around.__struct_fields__}),
        month=month,
        customer_id=CUSTOMER,
        visits=[one if isinstance(one, Attended) else attended(one) for one in visits],
        **lists | more,
    )


def test_a_month_is_a_local_one_from_its_first_instant_to_its_last():
    assert (MAY.from_at, MAY.until_at) == (la(1, 0), la(31, 24) - timedelta(microseconds=1))
    march = month_from(date(2026, 3, 1), ZONE)
    # the clocks go forward in March: the month is an hour shorter
    assert march.until_at - march.from_at + timedelta(microseconds=1) == timedelta(days=31, hours=-1)
    # on 1 October 2017 the clocks of Asunción went from midnight to one, three hours behind UTC from then on
    october = month_from(date(2017, 10, 1), ZoneInfo("America/Asuncion"))
    assert october.from_at == datetime(2017, 10, 1, 4, tzinfo=UTC)
    assert following(date(2026, 12, 1)) == date(2027, 1, 1)


def test_a_month_without_any_visit_has_a_record_that_says_on_how_many_it_rests():
    stated = month_content(month_of([]))
    assert (stated.month, stated.service_on, stated.visits) == ("2026-05", date(2026, 5, 31), [])
    assert (stated.pesticide_free_by_us.free, stated.pesticide_free_by_us.visit_ids) == (True, [])
    assert stated.treatments_said == "none_known"
    assert stated.statement.startswith(
        "No pesticide was used by us, and none is known to have been used by anybody, at this property "
        "from 2026-05-01 00:00 to 2026-05-31 23:59 (America/Los_Angeles); this rests on 0 visits, "
        "of which 0 state that no treatment was made."
    )


@pytest.mark.parametrize(
    ("at", "is_inside"),
    [
        (MAY.from_at, True),
        (MAY.from_at - timedelta(microseconds=1), False),
        (MAY.until_at, True),
        (MAY.until_at + timedelta(microseconds=1), False),
    ],
)
def test_a_fact_belongs_to_the_month_of_its_own_instant(at, is_inside):
    trap = a_set(31, FIRST, at)
    stated = month_content(
        month_of(
            [FIRST], applied=[castor_oil(at)], placings=[trap], clearings=[soil(71, an_id(61), FIRST, at)]
        )
    )
    assert stated.pesticide_known_at_property.free is not is_inside
    assert stated.pesticide_free_by_us.free
    assert [one.set_id for one in stated.sets if one.done] == ([trap.set_id] if is_inside else [])
    assert stated.mounds_cleared == (5 if is_inside else 0)


def test_that_nothing_was_used_is_stated_where_every_visit_of_the_month_states_it():
    one, other = visit(12, la(8, 10), 30, states_none=True), visit(13, la(9, 10), 30)
    assert month_content(month_of([one])).treatments_said == "none_stated"
    stated = month_content(month_of([one, other]))
    assert stated.treatments_said == "none_known"
    assert stated.pesticide_free_by_us.visits_stating_none == 1


def test_a_month_counts_the_trap_nights_of_the_looks_in_it_and_no_night_twice():
    """Two traps placed on 28 April, looked at on the 30th, the 2nd and the 4th: 4 trap-nights, 4, and 4 less 1 for
    the one that was found sprung after two nights (Nelson and Clark 1973)."""
    placed = la(1, 9) - timedelta(days=3)
    trap = a_set(31, LAST_OF_APRIL, placed)
    checks = [
        a_check(41, trap.set_id, LAST_OF_APRIL, la(1, 9) - timedelta(days=1)),
        a_check(42, trap.set_id, FIRST, la(2, 9)),
        a_check(
            43,
            trap.set_id,
            FIRST,
            la(4, 9),
            finding="sprung_empty",
            action="pulled",
            traps=[TrapFinding(no=1, finding="sprung_empty")],
        ),
    ]
    april = month_from(date(2026, 4, 1), ZONE)
    found = [month_content(month_of([], month, placings=[trap], checks=checks)) for month in (april, MAY)]
    assert [one.trap_nights for one in found] == ["4", "7"]
    assert [(line.done, line.state) for one in found for line in one.sets] == [
        (["placed", "checked"], "standing"),
        (["checked", "pulled"], "pulled"),
    ]
    assert [len(one.next_due) for one in found] == [1, 0]
    june = month_content(month_of([], month_from(date(2026, 6, 1), ZONE), placings=[trap], checks=checks))
    assert (june.trap_nights, june.sets) == ("0", [])


def test_an_animal_is_a_target_by_its_set_else_by_the_job_of_its_visit():
    vole = "Microtus californicus"
    caught = [
        an_animal(51, vole, job_target=TARGET),
        an_animal(52, vole, job_target=vole),
        an_animal(53, vole, set_id=an_id(31), job_target=TARGET),
        an_animal(54, job_target=TARGET),
    ]
    trap = a_set(31, FIRST, la(8, 10), target=vole)
    stated = month_content(month_of([FIRST], placings=[trap], caught=caught))
    assert [(one.species, one.count) for one in stated.catches] == [(vole, 2), (TARGET, 1)]
    assert [(one.species, one.count) for one in stated.other_animals] == [(vole, 1)]


def full_month() -> MonthFacts:
    """Facts of every kind around May."""
    trap, other = a_set(31, LAST_OF_APRIL, la(1, 9) - timedelta(days=1)), a_set(32, FIRST, la(8, 10, 5))
    return month_of(
        [attended(FIRST, with_worker_ids=[MATE], customer_note="Gate open."), SECOND],
        applied=[castor_oil(la(5, 12)), castor_oil(la(6, 9), id=an_id(901), method="mesh")],
        placings=[trap, other],
        checks=[
            a_check(41, trap.set_id, FIRST, la(8, 10, 1)),
            a_check(42, other.set_id, SECOND, la(31, 23, 50), action="reset"),
            a_check(43, other.set_id, FIRST_OF_JUNE, la(1, 9) + timedelta(days=31), action="pulled"),
        ],
        caught=[an_animal(51), an_animal(52, "Microtus californicus", job_target=TARGET)],
        clearings=[
            soil(71, an_id(61), FIRST, la(8, 10, 9)),
            soil(72, an_id(61), LAST_OF_APRIL, la(1, 0), count=1),
        ],
        repairs=[
            RepairLine(
                repair_id=an_id(81), repaired_at=la(8, 11), how="levelled", area_m2="1", seed_treated=None
            ),
            RepairLine(
                repair_id=an_id(80), repaired_at=la(8, 11), how="levelled", area_m2="2", seed_treated=None
            ),
        ],
        told=[ToldLine(told_id=an_id(85), told_at=la(8, 10, 9), what="next_look")],
    )


@settings(deadline=None)
@given(st.randoms(use_true_random=False))
def test_the_order_of_the_facts_does_not_matter(random):
    facts = full_month()
    lists = ["visits", "applied", "placings", "checks", "caught", "clearings", "repairs", "told"]
    shuffled = msgspec.structs.replace(
        facts, **{name: random.sample(getattr(facts, name), len(getattr(facts, name))) for name in lists}
    )
    assert bytes_of(month_content(shuffled)) == bytes_of(month_content(facts))


@settings(deadline=None)
@given(st.timedeltas(timedelta(microseconds=1), timedelta(days=400)))
def test_nothing_after_the_month_changes_what_its_record_states(later):
    facts = full_month()
    at = MAY.until_at + later
    more = msgspec.structs.replace(
        facts,
        placings=[*facts.placings, a_set(39, FIRST_OF_JUNE, at)],
        checks=[*facts.checks, a_check(49, an_id(31), FIRST_OF_JUNE, at, action="pulled")],
        clearings=[*facts.clearings, soil(79, an_id(61), FIRST_OF_JUNE, at)],
        applied=[*facts.applied, castor_oil(at, id=an_id(902), applied_by="us")],
    )
    assert month_content(more) == month_content(facts)


def test_a_month_that_has_not_ended_there_is_refused_with_when_it_will_have():
    """May 2026 ends in Los Angeles, seven hours behind UTC, on 1 June at seven."""
    ends_at = datetime(2026, 6, 1, 7, tzinfo=UTC)
    says = r"2026-05 has not ended in America/Los_Angeles; seal it from 2026-06-01T00:00:00-07:00 on\."
    with pytest.raises(Refused, match=says) as refused:
        check_ended(date(2026, 5, 1), ZONE, ends_at - timedelta(microseconds=1), "seal it")
    assert refused.value.kind == "conflict"
    check_ended(date(2026, 5, 1), ZONE, ends_at, "seal it")


def test_the_persons_and_permits_of_a_month_are_those_of_its_visits_each_once():
    permits = [LicenceLine(number=number, authority="Department") for number in ("A-1", "B-2")]
    visits = [
        attended(SECOND, permit=permits[0], worker_id=MATE, customer_note="Gate closed."),
        attended(FIRST, permit=permits[1], with_worker_ids=[MATE], customer_note="Gate open."),
        attended(visit(15, la(9, 10), 5), permit=permits[0]),
    ]
    assert permits_of(visits) == permits
    assert workers_of(visits) == [WORKER, MATE]
    assert note_of(visits, ZONE) == "2026-05-08: Gate open.\n2026-05-31: Gate closed."
    assert note_of([attended(FIRST)], ZONE) is None
