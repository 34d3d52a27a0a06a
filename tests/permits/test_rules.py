"""Which reports a permit asks for and when they are due, by texts that were read and by what a permit says itself."""

from datetime import date, datetime
from itertools import permutations
from typing import Any
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.deadlines.models import Derived
from service.packs.models import NewPack, ReportDue
from service.packs.rules import shipped
from service.permits.models import Reporting
from service.permits.rules import periods_of, report_faults, reports
from tests.permits.builders import (
    CONNECTICUT,
    LOS_ANGELES,
    NEW_YORK,
    OREGON,
    a_pack,
    a_permit,
    a_rule,
    utc,
)

MARCH = utc("2026-03-01T12:00:00")
OWN = [{"ends": "06-30", "due": "07-15"}]


def due(permit: Reporting, now: datetime, *packs: NewPack) -> list[str]:
    """When its reports are due, in UTC."""
    return [f"{one.due_at:%Y-%m-%dT%H:%M:%SZ}" for one in reports(permit, packs, now).deadlines]


def only(permit: Reporting, now: datetime, *packs: NewPack) -> Derived:
    """The one deadline that there is."""
    (one,) = reports(permit, packs, now).deadlines
    return one


def test_a_year_begun_in_december_is_due_at_the_end_of_the_next() -> None:
    """RCSA 26-47-1; New York is at UTC-5 in winter, so its days end at 05:00."""
    found = reports(a_permit(), [a_pack(CONNECTICUT)], MARCH)
    (one,) = found.deadlines
    assert (one.started_at, one.due_at) == (utc("2026-12-01T05:00:00"), utc("2027-01-01T05:00:00"))
    assert (one.kind, one.state, one.subject_id, one.property_id) == ("report", "open", a_permit().id, None)
    # RFC 9562 section 5.5, worked out by sha1sum: the permit's id as 16 bytes, then 2026-11-30
    assert one.starting_fact_id == UUID("735ff676-4647-59d7-8e29-a0b4562ef5f2")
    assert found.next_at == utc("2026-12-01T05:00:00")
    assert one.why.sentence.startswith(
        "Report, also where nothing was taken, by Fri 1 Jan 2027 00:00 (America/New_York): "
        "period 1 Dec 2025 to 30 Nov 2026 over Tue 1 Dec 00:00; Wildlife authority of Connecticut: "
        "A report of the year to 30 November by 31 December, also where nothing was taken"
    )
    assert one.why.notice.startswith("Local codes and licensed practice come first.")
    (rule,) = one.why.rules
    assert (rule.kind, rule.rule_name, rule.pack, rule.citation, rule.state) == (
        "report_due", "a-text/yearly-report", "a-text", "RCSA 26-47-1", "law",
    )  # fmt: skip
    assert (rule.authority, rule.verified_on) == ("Wildlife authority of Connecticut", date(2026, 5, 1))
    assert rule.inputs == {
        "period_first_on": "2025-12-01",
        "period_last_on": "2026-11-30",
        "due_on": "2026-12-31",
        "nil": "yes",
    }


def test_a_period_is_known_from_its_first_instant_on() -> None:
    begins, pack = utc("2026-12-01T05:00:00"), a_pack(CONNECTICUT)
    just_before = utc("2026-12-01T04:59:59")
    assert due(a_permit(), just_before, pack) == ["2027-01-01T05:00:00Z"]
    assert due(a_permit(), begins, pack) == ["2027-01-01T05:00:00Z", "2028-01-01T05:00:00Z"]
    assert reports(a_permit(), [pack], begins).next_at == utc("2027-12-01T05:00:00")


def test_half_years_are_due_by_summer_and_winter_time() -> None:
    """OAR 635-435-0055; Los Angeles is at UTC-7 in August and at UTC-8 in February."""
    permit = a_permit(region="US-OR", zone=LOS_ANGELES, from_on=date(2026, 2, 1))
    found = reports(permit, [a_pack(OREGON)], utc("2026-09-01T00:00:00"))
    assert [one.due_at for one in found.deadlines] == [utc("2026-08-01T07:00:00"), utc("2027-02-01T08:00:00")]
    assert found.next_at == utc("2027-01-01T08:00:00")


def test_a_permit_that_ends_within_a_period_is_reported_on_the_day_of_that_period() -> None:
    # WAC 220-440-120: by 20 April; that it speaks of the calendar year before is ours
    pack = a_pack(a_rule(CONNECTICUT, periods=[{"ends": "12-31", "due": "04-20"}]))
    permit = a_permit(from_on=date(2026, 1, 10), until_on=date(2026, 7, 1))
    found = reports(permit, [pack], utc("2026-08-01T00:00:00"))
    (one,) = found.deadlines
    assert (one.started_at, one.due_at) == (utc("2026-07-01T04:00:00"), utc("2027-04-21T04:00:00"))
    assert one.why.started_by == "period 10 Jan 2026 to 30 Jun 2026 over"
    assert found.next_at is None


def test_no_report_is_due_of_a_time_in_which_the_permit_does_not_hold() -> None:
    pack = a_pack(OREGON)
    permit = a_permit(region="US-OR", from_on=date(2026, 7, 1), until_on=date(2027, 1, 1))
    assert due(permit, utc("2026-06-30T12:00:00"), pack) == []
    assert reports(permit, [pack], utc("2026-06-30T12:00:00")).next_at == utc("2026-07-01T04:00:00")
    assert due(permit, utc("2030-01-01T00:00:00"), pack) == ["2027-02-01T05:00:00Z"]


def test_a_day_that_a_zone_leaves_out_ends_where_the_next_one_begins() -> None:
    # tz: Samoa went from 29 December 2011 to the 31st, which began there at 10:00 UTC on the 30th
    for day, due_at in (("12-30", "2011-12-30T10:00:00"), ("12-31", "2011-12-31T10:00:00")):
        permit = a_permit(
            zone="Pacific/Apia", from_on=date(2011, 6, 1), report_periods=[{"ends": "12-29", "due": day}]
        )
        one = only(permit, utc("2011-12-01T00:00:00"))
        assert (one.started_at, one.due_at) == (utc("2011-12-30T10:00:00"), utc(due_at))


@pytest.mark.parametrize(
    ("sent", "state", "met_at"),
    [
        ([], "open", None),
        (["2026-12-31"], "met", "2026-12-31T05:00:00"),
        (["2027-01-01"], "late", "2027-01-01T05:00:00"),
        (["2027-02-03", "2026-12-05"], "met", "2026-12-05T05:00:00"),
    ],
)
def test_a_report_sent_on_the_day_is_in_time_and_the_first_one_counts(
    sent: list[str], state: str, met_at: str | None
) -> None:
    told = [{"period_ends_on": "2026-11-30", "sent_on": day} for day in sent]
    one = only(a_permit(reports_sent=told), MARCH, a_pack(CONNECTICUT))
    assert (one.state, one.met_at) == (state, None if met_at is None else utc(met_at))
    assert one.outcome == (None if state == "open" else state)


def test_a_report_meets_its_own_period_alone() -> None:
    told = [{"period_ends_on": "2026-06-30", "sent_on": "2026-07-02"}]
    permit = a_permit(region="US-OR", from_on=date(2026, 1, 1), reports_sent=told)
    found = reports(permit, [a_pack(OREGON)], utc("2026-08-01T00:00:00")).deadlines
    assert [one.state for one in found] == ["met", "open"]


@pytest.mark.parametrize("ended", ["2026-06-30", "2026-12-31"])
def test_the_report_of_a_permit_that_ended_names_its_own_last_day_or_that_of_the_period(ended: str) -> None:
    permit = a_permit(
        from_on=date(2026, 1, 1),
        until_on=date(2026, 7, 1),
        report_periods=[{"ends": "12-31", "due": "01-31"}],
        reports_sent=[{"period_ends_on": ended, "sent_on": "2026-07-03"}],
    )
    assert only(permit, MARCH).state == "met"
    assert report_faults([], permit, [], utc("2026-07-04T00:00:00")) == []


def test_what_the_permit_itself_says_wins() -> None:
    one = only(a_permit(from_on=date(2026, 1, 1), report_periods=OWN), MARCH, a_pack(CONNECTICUT))
    assert one.due_at == utc("2026-07-16T04:00:00")
    (rule,) = one.why.rules
    assert (rule.rule_name, rule.pack, rule.authority, rule.citation) == (
        "permit/report_due", None, "State", "Permit 17",
    )  # fmt: skip
    # of nil reports it says nothing, so the pack's word holds
    assert rule.inputs["nil"] == "yes"


@pytest.mark.parametrize(
    ("own", "of_pack", "said"),
    [
        (None, True, "Report, also where nothing was taken, by"),
        (None, False, "Report, where animals were taken, by"),
        (False, True, "Report, where animals were taken, by"),
        (True, False, "Report, also where nothing was taken, by"),
    ],
)
def test_the_permits_word_on_nil_reports_wins(own: bool | None, of_pack: bool, said: str) -> None:
    one = only(a_permit(report_nil=own), MARCH, a_pack(a_rule(CONNECTICUT, nil=of_pack)))
    assert one.why.sentence.startswith(said)
    assert one.why.rules[0].inputs["nil"] == ("yes" if "nothing" in said else "no")


def test_where_nobody_says_it_nothing_is_said_of_nil_reports() -> None:
    one = only(a_permit(from_on=date(2026, 1, 1), report_periods=OWN), MARCH)
    assert one.why.sentence.startswith("Report by Thu 16 Jul 2026 00:00")
    assert one.why.rules[0].inputs["nil"] is None


SCOPES: dict[str, tuple[dict[str, Any], dict[str, Any], bool]] = {
    "same region": ({}, {}, True),
    "part of the pack's region": ({"region": "US"}, {}, True),
    "the pack's region is a part": ({}, {"region": "US"}, False),
    "another region": ({}, {"region": "US-MA"}, False),
    "a county only": ({"sub_areas": ["Hartford"]}, {}, False),
    "its genus": (a_rule(CONNECTICUT, species=["Scalopus"]), {"species": ["Scalopus aquaticus"]}, True),
    "another genus": (a_rule(CONNECTICUT, species=["Scalopus"]), {"species": ["Thomomys bottae"]}, False),
    "one of two": (
        a_rule(CONNECTICUT, species=["Scalopus"]),
        {"species": ["Thomomys bottae", "Scalopus aquaticus"]},
        True,
    ),
    "a subspecies of its": (
        a_rule(CONNECTICUT, species=["Scalopus aquaticus machrinus"]),
        {"species": ["Scalopus aquaticus"]},
        True,
    ),
    "a permit for all animals": (a_rule(CONNECTICUT, species=["Scalopus"]), {}, True),
    "a rule for all animals": ({}, {"species": ["Thomomys bottae"]}, True),
    "its mechanism": (a_rule(CONNECTICUT, mechanisms=["box"]), {"mechanisms": ["box", "snap"]}, True),
    "another mechanism": (a_rule(CONNECTICUT, mechanisms=["box"]), {"mechanisms": ["harpoon"]}, False),
    "over already": ({"effective_until": "2026-11-30"}, {}, False),
    "in force on the last day": ({"effective_from": "2026-11-30"}, {}, True),
    "not in force yet": ({"effective_from": "2026-12-01"}, {}, False),
    "no day is known": (a_rule(CONNECTICUT, periods=[]), {}, False),
}


@pytest.mark.parametrize("name", SCOPES)
def test_a_pack_speaks_within_its_scope(name: str) -> None:
    text, members, speaks = SCOPES[name]
    found = due(a_permit(**members), MARCH, a_pack({**CONNECTICUT, **text}))
    assert found == (["2027-01-01T05:00:00Z"] if speaks else [])


EXEMPTION = {"kind": "exemption", "id": "moles", "sentence": "Moles are left out.", "species": ["Scalopus"]}


@pytest.mark.parametrize(
    ("members", "exemption", "is_due"),
    [
        ({"species": ["Scalopus aquaticus"]}, EXEMPTION, False),
        ({"species": ["Scalopus aquaticus", "Thomomys bottae"]}, EXEMPTION, True),
        ({}, EXEMPTION, True),
        ({"species": ["Scalopus aquaticus"]}, {**EXEMPTION, "of": ["yearly-report"]}, False),
        ({"species": ["Scalopus aquaticus"]}, {**EXEMPTION, "of": ["another"]}, True),
        ({"species": ["Scalopus aquaticus"]}, {**EXEMPTION, "mechanisms": ["box"]}, True),
        (
            {"species": ["Scalopus aquaticus"], "mechanisms": ["box"]},
            {**EXEMPTION, "mechanisms": ["box"]},
            False,
        ),
    ],
)
def test_an_exemption_takes_out_a_permit_that_it_leaves_nothing_of(
    members: dict[str, Any], exemption: dict[str, Any], is_due: bool
) -> None:
    pack = a_pack({**CONNECTICUT, "rules": [*CONNECTICUT["rules"], exemption]})  # type: ignore[misc]
    assert bool(due(a_permit(**members), MARCH, pack)) is is_due


def test_what_sets_no_instant_is_shown_beside_what_does() -> None:
    regularly = a_pack(
        a_rule(CONNECTICUT, id="often", periods=[], sentence="Report regularly."), name="b-text"
    )
    exempt = a_pack({**CONNECTICUT, "rules": [*CONNECTICUT["rules"], EXEMPTION]}, name="c-text")  # type: ignore[misc]
    permit = a_permit(species=["Scalopus aquaticus"])
    one = only(permit, MARCH, a_pack(CONNECTICUT), regularly, exempt)
    assert [(rule.rule_name, rule.due_at is None, rule.exempted_by) for rule in one.why.rules] == [
        ("a-text/yearly-report", False, None),
        ("b-text/often", True, None),
        ("c-text/yearly-report", True, "c-text/moles"),
    ]


def test_of_two_texts_on_one_period_the_earlier_day_is_due_in_whatever_order_they_come() -> None:
    packs = [
        a_pack(CONNECTICUT),
        a_pack(a_rule(CONNECTICUT, periods=[{"ends": "11-30", "due": "12-15"}]), name="b-text"),
        a_pack(a_rule(CONNECTICUT, periods=[{"ends": "05-31", "due": "06-15"}]), name="c-text"),
    ]
    # midnight of 16 June is at UTC-4
    assert {tuple(due(a_permit(), MARCH, *order)) for order in permutations(packs)} == {
        ("2026-06-16T04:00:00Z", "2026-12-16T05:00:00Z")
    }


def test_a_text_that_is_in_force_years_ahead_is_not_forgotten() -> None:
    pack = a_pack(CONNECTICUT, effective_from="2032-01-01")
    found = reports(a_permit(), [pack], MARCH)
    # its first year is the one that ends in force: 1 December 2031 to 30 November 2032
    assert (found.deadlines, found.next_at) == ([], utc("2031-12-01T05:00:00"))


@pytest.mark.parametrize(
    ("sent", "codes"),
    [
        ({"period_ends_on": "2026-11-30", "sent_on": "2026-12-02"}, []),
        ({"period_ends_on": "2026-11-30", "sent_on": "2026-12-03"}, ["in_future"]),
        ({"period_ends_on": "2026-12-31", "sent_on": "2026-12-01"}, ["no_such_period"]),
        ({"period_ends_on": "2025-11-30", "sent_on": "2025-12-01"}, ["no_such_period"]),
        ({"period_ends_on": "2199-12-31", "sent_on": "2199-12-31"}, ["in_future", "no_such_period"]),
    ],
)
def test_a_report_that_cannot_have_been_sent_is_named(sent: dict[str, str], codes: list[str]) -> None:
    """At 11:00 UTC on 1 December it is the 2nd already in Kiritimati."""
    permit = a_permit(reports_sent=[sent])
    now = utc("2026-12-01T11:00:00")
    faults = report_faults([], permit, [a_pack(CONNECTICUT)], now)
    assert [one.code for one in faults] == codes
    assert report_faults(permit.reports_sent, permit, [a_pack(CONNECTICUT)], now) == []
    for one in faults:
        if one.code == "no_such_period":
            assert "the nearest ends on " in one.detail
            assert "-11-30." in one.detail
            assert one.pointer == "#/reports_sent/0/period_ends_on"
    # where no text says when, any period may have been reported
    assert [one.code for one in report_faults([], permit, [], now)] == [
        code for code in codes if code == "in_future"
    ]


def test_periods_are_shown_cut_to_the_permit_with_the_day_of_sending() -> None:
    told = [{"period_ends_on": "2026-06-30", "sent_on": "2026-07-02"}]
    permit = a_permit(region="US-OR", from_on=date(2026, 3, 1), until_on=date(2026, 11, 1), reports_sent=told)
    found = periods_of(permit, [a_pack(OREGON)], date(2026, 6, 30), date(2026, 7, 2))
    assert [(f"{one.first_on}", f"{one.last_on}", f"{one.due_on}", one.sent_on) for one in found] == [
        ("2026-03-01", "2026-06-30", "2026-07-31", date(2026, 7, 2)),
        ("2026-07-01", "2026-10-31", "2027-01-31", None),
    ]
    assert periods_of(permit, [a_pack(OREGON)], date(2026, 11, 1), date(2027, 1, 1)) == []


def test_a_shipped_text_that_names_days_is_heard_in_its_region() -> None:
    for pack in shipped():
        for rule in pack.rules:
            if isinstance(rule, ReportDue) and rule.periods and not (pack.sub_areas or pack.places):
                permit = a_permit(region=pack.region, from_on=date(2026, 1, 1))
                found = reports(permit, shipped(), utc("2026-12-31T12:00:00")).deadlines
                assert any(
                    f"{pack.name}/{rule.id}" == one.rule_name for each in found for one in each.why.rules
                )


@given(st.datetimes(datetime(2026, 1, 1), datetime(2036, 1, 1)), st.sampled_from([NEW_YORK, "Pacific/Apia"]))  # noqa: DTZ001 the zone comes next
def test_what_has_begun_stays_and_the_next_is_known_when_it_begins(at: datetime, zone: str) -> None:
    """A deadline that is known now is known at every later instant, and none appears before `next_at`."""
    permit, packs = a_permit(region="US-OR", zone=zone), [a_pack(OREGON)]
    now = utc(at.isoformat())
    found = reports(permit, packs, now)
    assert found.next_at is not None
    assert found.next_at > now
    later = reports(permit, packs, found.next_at).deadlines
    assert later[:-1] == found.deadlines
    assert later[-1].starting_fact_id not in {one.starting_fact_id for one in found.deadlines}
