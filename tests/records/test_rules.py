"""The content of a visit's record; claim cases and counts are our own arithmetic, the form RFC 8785."""

import hashlib
import json
from datetime import date, timedelta
from typing import Any

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.facts.models import TrapFinding
from service.identity.models import Licence
from service.records.accounts import rested_on
from service.records.lines import Animals, NextDue, RepairLine, ToldLine
from service.records.models import LicenceLine, Party, VisitContent
from service.records.rules import (
    bytes_of,
    content,
    content_digest,
    duration,
    in_force,
    party_hash,
    scope_of,
    withdrawn,
)
from tests.records.book import (
    MATE,
    a_check,
    a_set,
    an_animal,
    an_id,
    castor_oil,
    facts_of,
    head_of,
    la,
    soil,
    visit,
)

FIRST = visit(11, la(1, 10), 40)
SECOND = visit(12, la(8, 10), 30)
THIRD = visit(13, la(12, 9), 20)
LATE = visit(14, la(4, 10), 15)
ON_THE_5TH = castor_oil(la(5, 12), visit_id=THIRD.id)


def records(visits: list[Any], applied: list[Any]) -> dict[Any, VisitContent]:
    """By visit, the content of each record."""
    return {one.id: content(facts_of(one, visits, applied)) for one in visits}


# The claim ------------------------------------------------------------------------------------------------
def test_a_treatment_told_later_breaks_what_is_known_in_the_period_that_holds_it():
    before = records([FIRST, SECOND, THIRD], [])
    after = records([FIRST, SECOND, THIRD], [ON_THE_5TH])
    second = after[SECOND.id]
    assert (second.pesticide_free_by_us.from_at, second.pesticide_free_by_us.until_at) == (
        la(1, 10),
        la(8, 10, 30),
    )
    assert second.pesticide_free_by_us.free
    assert not second.pesticide_known_at_property.free
    assert [one.method for one in second.pesticide_known_at_property.broken_by] == ["castor_oil"]
    assert "castor oil (minimum-risk pesticide) on 2026-05-05 12:00 by the customer" in second.statement
    assert after[FIRST.id] == before[FIRST.id]
    assert after[THIRD.id] == before[THIRD.id]


def test_a_visit_that_arrives_late_shortens_the_period_and_has_a_true_record_of_its_own():
    after = records([FIRST, SECOND, THIRD, LATE], [ON_THE_5TH])
    assert after[SECOND.id].pesticide_known_at_property.from_at == la(4, 10)
    assert not after[SECOND.id].pesticide_known_at_property.free
    assert after[LATE.id].pesticide_known_at_property.free
    assert after[LATE.id].pesticide_free_by_us.free
    assert after[LATE.id].pesticide_free_by_us.from_at == la(1, 10)


def test_without_the_visit_that_told_of_it_both_hold_again():
    second = records([FIRST, SECOND], [])[SECOND.id]
    assert second.pesticide_free_by_us.free
    assert second.pesticide_known_at_property.free


def test_the_claim_says_on_how_many_visits_it_rests_and_how_many_state_it():
    stating = visit(15, la(8, 10, 5), 10, states_none=True)
    second = content(facts_of(SECOND, [FIRST, SECOND, stating]))
    assert second.pesticide_free_by_us.free
    assert second.pesticide_free_by_us.visit_ids == [FIRST.id, SECOND.id, stating.id]
    assert second.pesticide_free_by_us.visits_stating_none == 1
    assert "3 visits, of which 1 states that no treatment was made" in second.statement


def test_the_first_visit_claims_from_its_own_arrival():
    claim = content(facts_of(FIRST, [FIRST, SECOND])).pesticide_free_by_us
    assert (claim.from_at, claim.until_at) == (FIRST.arrived_at, FIRST.ended_at)
    assert claim.visit_ids == [FIRST.id]


@pytest.mark.parametrize(
    ("at", "is_inside"),
    [
        (la(1, 10), True),
        (la(1, 10) - timedelta(microseconds=1), False),
        (la(8, 10, 30), True),
        (la(8, 10, 30) + timedelta(microseconds=1), False),
    ],
)
def test_both_ends_of_the_period_belong_to_it(at, is_inside):
    stated = content(facts_of(SECOND, [FIRST, SECOND], [castor_oil(at)]))
    assert stated.pesticide_known_at_property.free is not is_inside
    assert [one.id for one in stated.treatments] == ([an_id(900)] if is_inside else [])


@pytest.mark.parametrize(
    ("stated", "free_by_us", "free_known"),
    [
        ({"applied_by": "us"}, False, False),
        ({"applied_by": "customer"}, True, False),
        ({"applied_by": "other"}, True, False),
        ({"applied_by": "us", "method": "mesh"}, True, True),
        ({"applied_by": "us", "method": "never heard of"}, False, False),
        ({"applied_by": "us", "method": "treated_seed", "noun": "repair"}, False, False),
        ({"applied_by": "us", "method": "by hand", "noun": "catch"}, True, True),
        ({"applied_by": "us", "method": "never heard of", "noun": "catch"}, False, False),
        ({"applied_by": "us", "method": "gas cartridge", "noun": "catch"}, False, False),
    ],
)
def test_by_us_is_broken_by_what_we_applied_and_known_by_anything(stated, free_by_us, free_known):
    record = content(facts_of(SECOND, [FIRST, SECOND], [castor_oil(la(5, 12), **stated)]))
    assert record.pesticide_free_by_us.free is free_by_us
    assert record.pesticide_known_at_property.free is free_known


@settings(deadline=None)  # what else the machine does must not fail it
@given(st.sampled_from(["us", "customer", "other"]) | st.none(), st.booleans(), st.booleans())
def test_the_statement_never_stands_without_the_count(by, first_states, second_states):
    visits = [
        visit(11, la(1, 10), 40, states_none=first_states),
        visit(12, la(8, 10), 30, states_none=second_states),
    ]
    applied = [castor_oil(la(5, 12), applied_by=by)] if by else []
    stated = content(facts_of(visits[1], visits, applied))
    stating = first_states + second_states
    assert f"this rests on 2 visits, of which {stating} state" in stated.statement
    assert ("No pesticide was used by us" in stated.statement) is stated.pesticide_free_by_us.free


# Sets, animals, soil ----------------------------------------------------------------------------------------
def test_a_set_says_what_was_done_with_it_and_how_it_stood_at_the_end():
    trap = a_set(31, SECOND, la(8, 10, 5))
    line = content(facts_of(SECOND, [SECOND], placings=[trap])).sets[0]
    assert (line.done, line.state, line.traps, line.trap_nights) == (["placed"], "standing", 2, "0")
    assert (line.longitude_e7, line.latitude_e7) == (-1224512345, 375500001)


def test_looks_of_others_up_to_the_end_count_and_later_ones_do_not():
    trap = a_set(31, FIRST, la(1, 10))
    sprung = a_check(41, trap.set_id, SECOND, la(8, 10, 5), finding="sprung_empty", action="made_safe")
    pulled = a_check(42, trap.set_id, THIRD, la(12, 9, 5), action="pulled")
    stated = content(facts_of(SECOND, [FIRST, SECOND, THIRD], placings=[trap], checks=[pulled, sprung]))
    assert [one.check_id for one in stated.checks] == [sprung.id]
    assert [(one.done, one.state) for one in stated.sets] == [(["checked", "made_safe"], "made_safe")]
    assert stated.next_due == []
    first = content(facts_of(FIRST, [FIRST, SECOND, THIRD], placings=[trap], checks=[pulled, sprung]))
    assert [one.state for one in first.sets] == ["standing"]
    third = content(facts_of(THIRD, [FIRST, SECOND, THIRD], placings=[trap], checks=[pulled, sprung]))
    assert [(one.done, one.state) for one in third.sets] == [(["checked", "pulled"], "pulled")]


def test_the_next_look_is_due_by_the_facts_up_to_the_end():
    """One look on every local calendar day (common practice): set on the 8th, due as the 10th begins."""
    trap = a_set(31, SECOND, la(8, 10, 5))
    later = a_check(41, trap.set_id, THIRD, la(9, 9))
    stated = content(facts_of(SECOND, [SECOND, THIRD], placings=[trap], checks=[later]))
    assert stated.next_due == [NextDue(set_id=trap.set_id, kind="check", due_at=la(10, 0))]


def test_the_next_look_is_due_by_the_packs_of_the_place_and_the_notice_says_how_old_they_are():
    """New York: once in each 24 hours (ECL 11-1105, text as of 2014, read on 2026-11-25)."""
    trap = a_set(31, SECOND, la(8, 10, 5))
    stated = content(facts_of(SECOND, [SECOND], placings=[trap], head=head_of(SECOND, region="US-NY")))
    assert stated.next_due == [NextDue(set_id=trap.set_id, kind="check", due_at=la(9, 10, 5))]
    assert stated.notice.endswith("ECL 11-1105: text as of 2014, read on 2026-11-25, not reviewed.")


def test_a_set_that_ended_before_and_was_not_touched_is_left_out():
    trap = a_set(31, FIRST, la(1, 10))
    pulled = a_check(41, trap.set_id, LATE, la(4, 10, 5), action="pulled")
    assert content(facts_of(SECOND, [FIRST, LATE, SECOND], placings=[trap], checks=[pulled])).sets == []


def test_an_awaited_set_shows_with_what_is_known_of_it():
    look = a_check(41, an_id(39), SECOND, la(8, 10, 5))
    stated = content(facts_of(SECOND, [SECOND], checks=[look]))
    assert [(one.set_id, one.state, one.mechanism) for one in stated.sets] == [(an_id(39), "awaited", None)]
    assert stated.methods == []


def test_methods_are_the_mechanisms_worked_with_and_their_class():
    placed = a_set(31, SECOND, la(8, 10, 5), mechanism="harpoon")
    looked = a_set(32, FIRST, la(1, 10), mechanism="live_tunnel")
    standing = a_set(33, FIRST, la(1, 10), mechanism="snap")
    stated = content(
        facts_of(
            SECOND,
            [FIRST, SECOND],
            placings=[placed, looked, standing],
            checks=[a_check(41, looked.set_id, SECOND, la(8, 10, 6))],
        )
    )
    found = [(one.method, one.method_class, one.breaks_claim) for one in stated.methods]
    assert found == [("harpoon", "mechanical_trap", False), ("live_tunnel", "live_capture", False)]
    assert [one.set_id for one in stated.sets] == [placed.set_id, looked.set_id, standing.set_id]


def test_trap_nights_are_those_of_the_sets_in_the_record():
    """Two traps, two nights, one of them sprung at the second look: 4 - 1/2 (Nelson and Clark 1973)."""
    start, middle, end = visit(21, la(4, 9), 30), visit(22, la(5, 9), 30), visit(23, la(6, 9), 30)
    trap = a_set(31, start, la(4, 9))
    looks = [
        a_check(41, trap.set_id, middle, la(5, 9)),
        a_check(
            42,
            trap.set_id,
            end,
            la(6, 9),
            finding="sprung_empty",
            action="pulled",
            traps=[TrapFinding(no=1, finding="sprung_empty")],
        ),
    ]
    stated = content(facts_of(end, [start, middle, end], placings=[trap], checks=looks))
    assert (stated.trap_nights, stated.sets[0].trap_nights) == ("3.5", "3.5")


def test_catches_are_counted_by_kind_and_others_told_apart_by_the_target():
    vole = {"species": "Microtus californicus", "fate": "released_here"}
    caught = [
        an_animal(51, sex="male"),
        an_animal(52, sex="male"),
        an_animal(53, "Scapanus latimanus parvus"),
        an_animal(54, **vole),
        an_animal(55, set_id=an_id(31), **vole),
    ]
    trap = a_set(31, FIRST, la(1, 10), target="Microtus californicus")
    stated = content(facts_of(SECOND, [FIRST, SECOND], placings=[trap], caught=caught))
    kinds = {"age_class": "unknown", "fate": "dead_in_trap"}
    assert stated.catches == [
        Animals(**vole, sex="unknown", age_class="unknown", count=1),
        Animals(species="Scapanus latimanus", sex="male", count=2, **kinds),
        Animals(species="Scapanus latimanus parvus", sex="unknown", count=1, **kinds),
    ]
    assert stated.other_animals == [Animals(**vole, sex="unknown", age_class="unknown", count=1)]


def test_mounds_cleared_are_ours_and_a_clearing_without_a_count_takes_what_is_left():
    sign, run = an_id(61), an_id(62)
    clearings = [
        soil(71, sign, SECOND, la(8, 10, 9)),
        soil(72, sign, FIRST, la(1, 10, 9), count=3),
        soil(73, run, SECOND, la(8, 10, 9), is_mound=False),
        soil(74, an_id(63), SECOND, la(8, 10, 9), by_us=False),
        soil(75, an_id(64), SECOND, la(8, 10, 9), sign_count=None, is_mound=None),
    ]
    assert content(facts_of(SECOND, [FIRST, SECOND], clearings=clearings)).mounds_cleared == 2 + 1


# The form -----------------------------------------------------------------------------------------------
def full_facts() -> Any:
    """Facts of every kind around the second visit."""
    trap, other = a_set(31, FIRST, la(1, 10)), a_set(32, SECOND, la(8, 10, 5))
    return facts_of(
        SECOND,
        [FIRST, LATE, SECOND, THIRD],
        [ON_THE_5TH, castor_oil(la(6, 9), id=an_id(901), method="mesh", product="steel")],
        head=head_of(SECOND, with_worker_ids=[MATE]),
        placings=[trap, other],
        checks=[
            a_check(41, trap.set_id, LATE, la(4, 10, 1)),
            a_check(42, trap.set_id, SECOND, la(8, 10, 6), action="reset"),
            a_check(43, other.set_id, THIRD, la(12, 9, 1), action="pulled"),
        ],
        caught=[an_animal(51), an_animal(52, "Microtus californicus")],
        clearings=[
            soil(71, an_id(61), SECOND, la(8, 10, 9)),
            soil(72, an_id(61), LATE, la(4, 10, 9), count=1),
        ],
        repairs=[
            RepairLine(
                repair_id=an_id(81),
                repaired_at=la(8, 10, 8),
                how="reseeded",
                area_m2="0.25",
                seed_treated=None,
            ),
            RepairLine(
                repair_id=an_id(80), repaired_at=la(8, 10, 8), how="levelled", area_m2="1", seed_treated=None
            ),
        ],
        told=[
            ToldLine(told_id=an_id(86), told_at=la(8, 10, 9), what="cautions"),
            ToldLine(told_id=an_id(85), told_at=la(8, 10, 9), what="next_look"),
        ],
    )


@settings(deadline=None)
@given(st.randoms(use_true_random=False))
def test_the_order_of_the_facts_does_not_matter(random):
    facts = full_facts()
    lists = ["visits", "applied", "placings", "checks", "caught", "clearings", "repairs", "told"]
    shuffled = msgspec.structs.replace(
        facts, **{name: random.sample(getattr(facts, name), len(getattr(facts, name))) for name in lists}
    )
    assert content_digest(content(shuffled)) == content_digest(content(facts))


@settings(deadline=None)
@given(st.timedeltas(timedelta(microseconds=1), timedelta(days=400)))
def test_nothing_after_the_end_changes_what_the_record_states(later):
    facts = full_facts()
    next_one = visit(19, SECOND.ended_at + later, 30, states_none=True)
    at = next_one.arrived_at
    more = msgspec.structs.replace(
        facts,
        visits=[*facts.visits, next_one],
        applied=[*facts.applied, castor_oil(at, id=an_id(902), applied_by="us")],
        placings=[*facts.placings, a_set(39, next_one, at)],
        checks=[*facts.checks, a_check(49, an_id(31), next_one, at, action="pulled")],
        clearings=[*facts.clearings, soil(79, an_id(61), next_one, at)],
    )
    assert content(more) == content(facts)


def test_no_float_no_name_and_no_note_stands_in_the_bytes():
    facts = full_facts()

    def floats(value: object) -> list[object]:
        if isinstance(value, dict):
            return [found for member in value.values() for found in floats(member)]
        if isinstance(value, list):
            return [found for member in value for found in floats(member)]
        return [value] if isinstance(value, float) else []

    written = bytes_of(content(facts))
    assert floats(json.loads(written)) == []
    assert floats(msgspec.to_builtins(content(facts))) == []
    for private in (facts.head.customer_note, facts.head.address):
        assert private not in written.decode()


def test_the_visits_that_brought_what_is_stated_are_what_it_rests_on():
    facts = full_facts()
    unused = a_set(38, visit(18, la(2, 9), 5), la(2, 9))
    pulled = a_check(48, unused.set_id, visit(17, la(3, 9), 5), la(3, 9), action="pulled")
    more = msgspec.structs.replace(facts, placings=[*facts.placings, unused], checks=[*facts.checks, pulled])
    assert rested_on(scope_of(more.head), more, content(more)) == {FIRST.id, LATE.id, SECOND.id, THIRD.id}


def test_the_party_block_is_bound_by_the_hash_of_its_canonical_form():
    """SHA-256 worked out from the text beside it, which is the block's RFC 8785 form."""
    party = Party(
        addresses=["12 Sample Row"],
        customer_name="Alder Court School",
        customer_note="Gate closed again.",
        salt="AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8",
        worker_names=["R. Example"],
    )
    form = (
        b'{"addresses":["12 Sample Row"],"customer_name":"Alder Court School",'
        b'"customer_note":"Gate closed again.","salt":"AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8",'
        b'"worker_names":["R. Example"]}'
    )
    assert bytes_of(party) == form
    assert party_hash(party) == hashlib.sha256(form).hexdigest()
    assert party_hash(party) == "3578bc7cda016521238f20ebcdc112a91f9448c1423bf707249533bbf3508592"


def test_a_withdrawn_visit_leaves_a_record_that_takes_everything_back():
    stated = withdrawn(head_of(SECOND), None)
    members = json.loads(bytes_of(stated))
    assert (members["kind"], members["service_on"]) == ("withdrawn", "2026-05-08")
    assert "void" in members["statement"]
    assert content_digest(stated) != content_digest(content(full_facts()))


def test_licences_are_printed_where_they_hold_until_the_day_they_expire():
    def licence(number: str, expires_on: date | None = None, region: str = "US-CA") -> Licence:
        return Licence(number=number, authority="Board", region=region, expires_on=expires_on)

    kept = [licence("1", None), licence("2", date(2026, 5, 8)), licence("3", date(2026, 5, 7))]
    printed = [LicenceLine(number=number, authority="Board") for number in "12"]
    elsewhere = [licence("4", region="GB"), licence("5", region="US-C"), licence("6", region="US-CA-X")]
    assert in_force(kept + elsewhere, date(2026, 5, 8), "US-CA") == printed
    assert in_force([licence("7", region="US")], date(2026, 5, 8), "US-CA") != []


@pytest.mark.parametrize(
    ("seconds", "text"), [(0, "PT0H0M0S"), (-90, "PT0H0M0S"), (3725, "PT1H2M5S"), (360000, "PT100H0M0S")]
)
def test_lateness_is_an_iso_8601_duration_and_never_negative(seconds, text):
    assert duration(seconds) == text
