"""What fixtures/README.md promises of the demo is what the API shows after it was loaded."""

from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from fixtures.demo import FOLDER, visit_lines, zones
from service.contract.schemas import schemas
from tests.bodies import NOW
from tests.http import LOS_ANGELES, PUBLIC_URL
from tests.journeys.conftest import Demo

LONDON = "Europe/London"
DUE_NOW = [
    (4, "check"), (4, "check"), (4, "check"), (7, "lawn"), (9, "check"), (9, "check"), (14, "check"),
]  # fmt: skip


def at_property(number: int) -> str:
    """The id of a property by its number in the table."""
    return f"01980000-{number:04}-7003-8000-000000000001"


def number_of(row: dict[str, Any]) -> int:
    """The number of the property that a row names."""
    return int(row["property_id"][9:13])


def check_of(visit: dict[str, Any], finding: str) -> dict[str, Any]:
    """The one check of a visit with this finding."""
    (found,) = (one for one in visit["checks"] if one["finding"] == finding)
    return found


def begun_by(demo: Demo, check: dict[str, Any]) -> Any:
    """The deadline that a check began."""
    return demo.one("deadlines", starting_fact_id=check["id"])


def local_day(instant: str, zone: str) -> date:
    """The calendar day of an instant in a zone."""
    return datetime.fromisoformat(instant).astimezone(ZoneInfo(zone)).date()


def as_utc(instant: str) -> str:
    """The instant as it is answered."""
    return datetime.fromisoformat(instant).astimezone(UTC).isoformat().replace("+00:00", "Z")


def warned(demo: Demo, visit: dict[str, Any]) -> list[str]:
    """Of what the phone was warned when the visit first came."""
    return [one["code"] for one in demo.receipts(visit["id"])[0]["warnings"]]


# The load -------------------------------------------------------------------------------------------------
def test_every_line_is_taken(demo: Demo):
    outcomes = demo.summary.outcomes
    assert (outcomes["recorded"], outcomes["same"], outcomes["amended"]) == (299, 7, 1)
    assert len(demo.lists["visits"]) == len(demo.lists["service-records"]) == 299
    assert {number_of(one) for one in demo.lists["visits"]} == set(range(1, 15))


def test_every_word_of_the_file_is_explained_and_tested():
    words = {line["shows"] for line in visit_lines(NOW) if "shows" in line}
    explained = (FOLDER.parent / "README.md").read_text()
    tested = Path(__file__).read_text()
    assert [word for word in words if f"`{word}`" not in explained or f'"{word}"' not in tested] == []


@given(st.integers(0, 3 * 365 * 24).map(lambda hours: NOW + timedelta(hours=hours)))
@settings(max_examples=40, deadline=None)
def test_no_visit_is_of_today_or_ahead_whenever_it_is_loaded(now: datetime):
    zone_of = zones()
    for line in visit_lines(now):
        visit = line["visit"]
        zone = ZoneInfo(zone_of[visit["property_id"]])
        arrived, left = (datetime.fromisoformat(visit[name]) for name in ("arrived_at", "left_at"))
        assert arrived <= left
        assert left.astimezone(zone).date() < now.astimezone(zone).date()


def test_what_comes_doubled_changes_nothing(demo: Demo):
    twice = demo.visits("doubled")
    assert len(twice) == 7
    for visit in twice:
        assert [one["outcome"] for one in demo.receipts(visit["id"])] == ["recorded", "same"]
        assert demo.one("visits", id=visit["id"])["version"] == 1
        assert len(demo.told("visit.recorded", visit_id=visit["id"])) == 1


def test_every_event_is_as_its_schema_says(demo: Demo):
    kept, checker = schemas(), Draft202012Validator.FORMAT_CHECKER
    validators = {name: Draft202012Validator(schema, format_checker=checker) for name, schema in kept.items()}
    assert len({event["type"] for event in demo.log}) > 10
    for event in demo.log:
        validators["event"].validate(event)
        validators[event["type"]].validate(event["data"])
        assert event["dataschema"] == f"{PUBLIC_URL}/schema/v1/{event['type']}.json"


# What is due ----------------------------------------------------------------------------------------------
def test_what_is_overdue_now_is_said_and_nothing_else(demo: Demo):
    overdue = demo.find("deadlines", overdue=True)
    assert sorted((number_of(one), one["kind"]) for one in overdue) == DUE_NOW
    looked = [*demo.visits("overdue_now"), *demo.visits("left_out_and_overdue_now")]
    began = {check["id"] for visit in looked for check in visit["checks"]}
    began |= {sign["id"] for visit in demo.visits("lawn_overdue_now") for sign in visit["signs"]}
    assert {one["starting_fact_id"] for one in overdue} == began
    said = demo.told("check.overdue") + demo.told("lawn.overdue")
    assert {one["deadline_id"] for one in said} == {one["id"] for one in overdue}
    assert len(said) == len(overdue)
    assert all(one["known_late"] for one in said)
    assert demo.told("check.settled") == []


def test_what_was_looked_at_yesterday_is_due_when_today_ends(demo: Demo):
    open_yet = demo.find("deadlines", state="open", overdue=False)
    tonight = [one for one in open_yet if one["kind"] != "report"]
    assert {number_of(one) for one in tonight} == {2, 7, 11}
    (visit,) = demo.visits("due_tonight")
    tomorrow = local_day(NOW.isoformat(), LONDON) + timedelta(days=1)
    midnight = datetime.combine(tomorrow, time(), ZoneInfo(LONDON))
    for check in visit["checks"]:
        assert datetime.fromisoformat(begun_by(demo, check)["due_at"]) == midnight


def test_each_permit_is_reported_by_the_end_of_january(demo: Demo):
    reports = demo.find("deadlines", kind="report")
    assert [(one["due_at"], one["state"]) for one in reports] == [("2027-02-01T08:00:00Z", "open")] * 2


def test_a_set_that_stands_when_its_job_is_closed_is_left_out(demo: Demo):
    (visit,) = demo.visits("left_out_and_overdue_now")
    (left_out,) = demo.told("set.left_out")
    assert (number_of(left_out), left_out["set_id"]) == (14, visit["checks"][0]["set_id"])
    assert demo.one("sets", id=left_out["set_id"])["state"] == "standing"
    assert demo.one("jobs", id=left_out["job_id"])["end_reason"] == "customer_stopped"


def test_a_missed_look_is_late_for_ever(demo: Demo):
    (visit,) = demo.visits("missed_look")
    late = demo.find("deadlines", state="late", kind="check")
    missed = [one for one in late if one["met_by_fact_id"] in {check["id"] for check in visit["checks"]}]
    assert len(missed) == 2
    for one in missed:
        looked, started = (local_day(one[name], LOS_ANGELES) for name in ("met_at", "started_at"))
        assert (looked - started).days == 2
        assert one["why"].get("attempts", []) == []


def test_a_locked_gate_meets_nothing_and_shows_in_the_why(demo: Demo):
    (visit,) = demo.visits("locked_gate")
    tried = [one for one in demo.lists["deadlines"] if one["why"].get("attempts")]
    assert {one["state"] for one in tried} == {"late"}
    assert len(tried) == 2
    for one in tried:
        assert [attempt["visit_id"] for attempt in one["why"]["attempts"]] == [visit["id"]]
        assert one["why"]["attempts"][0]["reason"] == visit["no_access_reason"]
        assert "no access" in one["why"]["sentence"]


def test_no_other_look_was_late(demo: Demo):
    assert [number_of(one) for one in demo.find("deadlines", state="late")].count(5) == 4
    assert {number_of(one) for one in demo.find("deadlines", state="late")} == {5, 7}


def test_what_came_late_counts_as_if_it_had_come_in_time(demo: Demo):
    for word in ("late", "late_look", "late_and_out_of_order"):
        for visit in demo.visits(word):
            for check in visit["checks"]:
                (met,) = demo.find("deadlines", met_by_fact_id=check["id"])
                assert (met["state"], met["met_at"]) == ("met", as_utc(check["checked_at"]))


def test_the_state_is_that_of_the_right_order(demo: Demo):
    later, earlier, moving = demo.visits("late_and_out_of_order")
    assert later["arrived_at"] > earlier["arrived_at"]
    (placed,) = moving["sets"]
    moved = demo.one("sets", id=placed["moved_from_set_id"])
    assert (moved["state"], moved["moved_to_set_id"]) == ("moved", placed["id"])


def test_a_look_by_the_customer_meets_the_day_between(demo: Demo):
    (visit,) = demo.visits("look_by_the_customer")
    by_grower = [one for one in visit["checks"] if one.get("checked_by") == "customer"]
    assert len(by_grower) == 2
    for check in by_grower:
        assert demo.one("deadlines", met_by_fact_id=check["id"])["state"] == "met"


# Sets -----------------------------------------------------------------------------------------------------
def test_a_set_that_nobody_knew_is_awaited_and_then_all_is_as_if_in_order(demo: Demo):
    (looking,), (placing,) = (
        demo.visits(word) for word in ("check_of_an_awaited_set", "placing_arrives_after_its_check")
    )
    (placed,) = placing["sets"]
    (check,) = (one for one in looking["checks"] if one["set_id"] == placed["id"])
    assert "set_awaited" in warned(demo, looking)
    assert demo.one("deadlines", starting_fact_id=placed["id"])["met_by_fact_id"] == check["id"]
    assert demo.find("conflicts", kind="set_awaited") == []
    assert len(demo.told("set.placed", set_id=placed["id"])) == 1


def test_a_run_that_is_raised_again_gets_a_set(demo: Demo):
    (visit,) = demo.visits("run_in_use")
    (look,) = visit["looks"]
    run = demo.one("signs", id=look["sign_id"])
    assert run["in_use"]
    assert demo.one("deadlines", kind="run_look", sign_id=run["id"])["met_by_fact_id"] == look["id"]
    assert run["id"] in {placed.get("sign_id") for placed in visit["sets"]}


def test_first_calls_clear_what_nobody_knows_the_age_of(demo: Demo):
    calls = demo.visits("first_call")
    assert len(calls) == 6
    for visit in calls:
        for sign in visit["signs"]:
            patches = demo.find("lawn-patches", sign_id=sign["id"])
            assert len(patches) == sign["on_turf"]
            assert {(one["earliest_from"], one["verdict"]) for one in patches} <= {("unknown", "in_time")}


def test_over_a_made_safe_weekend_nothing_is_due(demo: Demo):
    fridays, mondays = demo.visits("made_safe_weekend"), demo.visits("armed_after_weekend")
    safe = [check for visit in fridays for check in visit["checks"] if check["action"] == "made_safe"]
    assert len(fridays) == 3
    for check in safe:
        assert demo.find("deadlines", starting_fact_id=check["id"]) == []
        (met,) = demo.find("deadlines", met_by_fact_id=check["id"])
        assert met["state"] == "met"
    for visit in fridays:
        assert demo.record(visit)["content"]["next_due"] == []
        assert {one["state"] for one in demo.record(visit)["content"]["sets"]} == {"made_safe"}
    for check in (check for visit in mondays for check in visit["checks"]):
        assert begun_by(demo, check)["state"] == "met"


def test_an_animal_that_goes_past_a_set_meets_another_mechanism(demo: Demo):
    (visit,) = demo.visits("bypassed_then_moved")
    (placed,) = visit["sets"]
    before, after = demo.one("sets", id=placed["moved_from_set_id"]), demo.one("sets", id=placed["id"])
    assert (before["state"], before["last_finding"]) == ("moved", "bypassed")
    assert (before["mechanism"], after["mechanism"]) == ("scissor_jaw", "choker_loop")
    assert before["moved_to_set_id"] == after["id"]
    (ended,) = demo.told("set.ended", set_id=before["id"])
    assert ended["ended_as"] == "moved"


def test_a_ground_that_was_searched_lets_the_finding_stand(demo: Demo):
    for word in ("sprung_empty", "sprung_empty_harpoon_ground_searched"):
        (visit,) = demo.visits(word)
        assert warned(demo, visit) == []
        check = check_of(visit, "sprung_empty")
        line = next(one for one in demo.record(visit)["content"]["checks"] if one["check_id"] == check["id"])
        assert (line["finding"], line["ground_searched"]) == ("sprung_empty", True)
    (visit,) = demo.visits("harpoon_ground_not_searched")
    assert warned(demo, visit) == ["ground_not_searched"]


def test_a_catch_may_lie_in_the_ground(demo: Demo):
    (visit,) = demo.visits("catch_in_the_ground")
    check = check_of(visit, "catch")
    caught = demo.one("catches", check_id=check["id"])
    assert (caught["mechanism"], caught["target"]) == ("harpoon", True)
    assert check["ground_searched"]


def test_a_missing_set_is_searched_for_and_found_or_lost(demo: Demo):
    (missed,), (found,), (lost,) = (demo.visits(word) for word in ("missing", "found_again", "lost"))
    missing = check_of(missed, "missing")
    search = demo.one("deadlines", kind="set_search", starting_fact_id=missing["id"])
    assert search["met_by_fact_id"] == check_of(found, "disturbed")["id"]
    assert search["state"] == "met"
    assert demo.find("deadlines", kind="check", starting_fact_id=missing["id"]) == []
    gone = check_of(lost, "missing")
    assert demo.one("sets", id=gone["set_id"])["state"] == "lost"
    assert demo.told("set.ended", set_id=gone["set_id"])[0]["ended_as"] == "lost"


def test_two_phones_at_one_set_are_a_conflict(demo: Demo):
    (first,), (second,) = (demo.visits(word) for word in ("two_phones_first_pull", "two_phones_later_look"))
    (conflict,) = demo.lists["conflicts"]
    (pull,) = first["checks"]
    assert (conflict["kind"], conflict["visit_id"]) == ("check_after_end", second["id"])
    assert conflict["subject_id"] == pull["set_id"]
    ended = demo.one("sets", id=pull["set_id"])
    assert (ended["state"], ended["ended_at"]) == ("pulled", as_utc(pull["checked_at"]))
    assert demo.find("deadlines", starting_fact_id=conflict["fact_id"]) == []
    assert "check_after_end" in warned(demo, second)


def test_the_trade_warns_and_stores(demo: Demo):
    (deep,), (unflagged,) = demo.visits("deep_without_ticket"), demo.visits("under_a_permit")
    assert "no_locate_ticket" in warned(demo, deep)
    assert max(one["depth_mm"] for one in deep["sets"]) == 320
    assert "not_flagged" in warned(demo, unflagged)


def test_a_job_under_a_permit_prints_it_and_a_flag_comes_a_day_later(demo: Demo):
    (first,), (second,) = demo.visits("under_a_permit"), demo.visits("flagged_at_the_next_look")
    assert demo.record(first)["issuer"]["permit"] is not None
    (flagged,) = (check for check in second["checks"] if check.get("flagged"))
    (placed,) = (one for one in first["sets"] if one["id"] == flagged["set_id"])
    assert (placed["foot_traffic"], placed["flagged"]) == ("path", False)
    assert warned(demo, second) == []


def test_hollow_paving_is_a_caution_on_the_record(demo: Demo):
    (visit,) = demo.visits("undermined_paving")
    assert any("Paving" in one["sentence"] for one in demo.record(visit)["content"]["cautions"])
    assert "cautions" in {one["what"] for one in demo.record(visit)["content"]["told"]}


def test_a_trap_that_does_not_work_is_put_right(demo: Demo):
    (visit,) = demo.visits("not_working")
    broken = check_of(visit, "not_working")
    assert broken["action"] == "reset"
    assert begun_by(demo, broken)["state"] == "met"


# Lawns ----------------------------------------------------------------------------------------------------
def test_a_mound_of_known_age_that_lies_four_days_is_late(demo: Demo):
    (seen,), (cleared,), (mended,) = (
        demo.visits(word) for word in ("mound_left_lying", "cleared_too_late", "thin_turf_reseeded")
    )
    (surveyed,) = demo.visits("survey_of_one_lawn")
    patch = demo.one("lawn-patches", sign_id=seen["signs"][0]["id"])
    assert (patch["verdict"], patch["turf"], patch["earliest_from"]) == ("late", "thin", "survey")
    assert patch["earliest_at"] == as_utc(surveyed["surveys"][0]["surveyed_at"])
    assert patch["cleared_at"] == as_utc(cleared["clearings"][0]["cleared_at"])
    assert [one["outcome"] for one in demo.told("lawn.settled", sign_id=patch["sign_id"])][-1] == "late"
    (repair,) = demo.record(mended)["content"]["repairs"]
    assert (repair["how"], repair["seed_treated"]) == ("reseeded", False)


def test_a_mound_cleared_within_three_days_of_a_mowing_is_in_time(demo: Demo):
    (visit,) = demo.visits("cleared_in_time")
    patch = demo.one("lawn-patches", sign_id=visit["clearings"][0]["sign_id"])
    assert (patch["verdict"], patch["earliest_from"], patch["turf"]) == ("in_time", "mowing", "sound")


def test_turf_that_was_dead_when_first_seen_is_not_our_loss(demo: Demo):
    (seen,), (looked,), (laid,) = (
        demo.visits(word) for word in ("found_late_first_seen", "found_late_dead_turf", "turf_laid")
    )
    patch = demo.one("lawn-patches", sign_id=looked["looks"][0]["sign_id"])
    assert patch["visit_id"] == seen["id"]
    assert (patch["verdict"], patch["turf"]) == ("found_late", "dead")
    assert [one["outcome"] for one in demo.told("lawn.settled", sign_id=patch["sign_id"])][-1] == "found_late"
    assert [one["how"] for one in demo.record(laid)["content"]["repairs"]] == ["turf_laid"]
    assert len(demo.find("lawn-patches", verdict="found_late")) == 1


def test_soil_lies_on_turf_now(demo: Demo):
    (visit,) = demo.visits("lawn_overdue_now")
    patch = demo.one("lawn-patches", verdict="still_lying")
    assert patch["sign_id"] == visit["signs"][0]["id"]


# Records --------------------------------------------------------------------------------------------------
def test_castor_oil_that_is_told_later_breaks_the_record_before(demo: Demo):
    (broken,), (telling,) = demo.visits("record_that_castor_oil_breaks"), demo.visits("castor_oil_told")
    record = demo.record(broken)
    assert (record["version"], record["replaces"]) == (2, f"{record['number']}.1")
    (issued,), (amended,) = (
        demo.told(kind, visit_id=broken["id"]) for kind in ("record.issued", "record.amended")
    )
    claims = ("pesticide_free_by_us", "pesticide_known_at_property")
    assert [issued[claim] for claim in claims] == [True, True]
    assert [amended[claim] for claim in claims] == [True, False]
    (breach,) = record["content"]["pesticide_known_at_property"]["broken_by"]
    assert breach["id"] == telling["treatments"][0]["id"]
    assert "castor oil" in record["content"]["statement"]


def test_the_amended_catch_is_amended_on_its_record(demo: Demo):
    (visit,) = demo.visits("amended")
    assert visit["amend_reason"] == "Sexed at the bench in the evening."
    assert [one["outcome"] for one in demo.receipts(visit["id"])] == ["recorded", "amended"]
    (caught,) = (catch for check in visit["checks"] for catch in check.get("catches", []))
    assert demo.one("catches", id=caught["id"])["sex"] == caught["sex"] == "male"
    (amended,) = demo.told("visit.amended", visit_id=visit["id"])
    assert (amended.get("added", []), amended.get("withdrawn", [])) == ([], [])
    assert caught["id"] in amended["changed"]
    assert demo.record(visit)["version"] == 2


@pytest.mark.parametrize(
    ("word", "fates"),
    [
        ("other_animal", ["dead_in_trap"]),
        ("other_animal_released", ["released_here", "released_here"]),
        ("escaped", ["escaped"]),
        ("live_catch_dispatched", ["dispatched"]),
    ],
)
def test_catches_keep_their_fates_and_by_catch_stands_apart(demo: Demo, word: str, fates: list[str]):
    for visit, fate in zip(demo.visits(word), fates, strict=True):
        (caught,) = (catch for check in visit["checks"] for catch in check.get("catches", []))
        row = demo.one("catches", id=caught["id"])
        assert (row["fate"], row["target"]) == (fate, not word.startswith("other_animal"))
        content = demo.record(visit)["content"]
        assert bool(content["other_animals"]) == word.startswith("other_animal")
        assert bool(content["catches"]) != word.startswith("other_animal")


def test_a_visit_before_there_was_a_job_is_unassigned(demo: Demo):
    (visit,) = demo.visits("unassigned_visit")
    assert demo.record(visit)["content"]["job_id"] is None
    others = [one for one in demo.lists["service-records"] if one["record"]["content"]["job_id"] is None]
    assert len(others) == 1


def test_records_of_one_address_name_its_owners(demo: Demo):
    (first,), (second,) = (demo.visits(word) for word in ("first_owner", "second_owner"))
    owners = [demo.record(visit)["content"]["customer_id"] for visit in (first, second)]
    assert [owner[-2:] for owner in owners] == ["12", "15"]
    assert {
        one["record"]["content"]["customer_id"]
        for one in demo.lists["service-records"]
        if one["record"]["content"]["property_id"] == at_property(12)
    } == set(owners)


def test_a_place_is_clear_and_its_animal_may_come_back(demo: Demo):
    for visit in demo.visits("clear"):
        assert all(survey["fresh_signs"] == 0 for survey in visit["surveys"])
        job = demo.one("jobs", id=demo.record(visit)["content"]["job_id"])
        assert job["end_reason"] == "clear"
    (again,) = demo.visits("callback")
    second = demo.one("jobs", id=demo.record(again)["content"]["job_id"])
    assert demo.one("jobs", id=second["callback_of_job_id"])["end_reason"] == "clear"


def test_the_market_garden_states_at_every_visit_that_nothing_was_applied(demo: Demo):
    records = [
        one["record"]["content"]
        for one in demo.lists["service-records"]
        if one["record"]["content"]["property_id"] == at_property(3)
    ]
    assert all(one["treatments_none"] and one["pesticide_known_at_property"]["free"] for one in records)


def test_no_pesticide_was_used_by_us_and_two_are_known(demo: Demo):
    records = [one["record"]["content"] for one in demo.lists["service-records"]]
    assert all(one["pesticide_free_by_us"]["free"] for one in records)
    broken = [one for one in records if not one["pesticide_known_at_property"]["free"]]
    assert sorted(number_of(one) for one in broken) == [6, 10]
