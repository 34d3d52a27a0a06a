"""A permit's reports over HTTP and by the clock: what is due, what is told and when. Our own arithmetic."""

from datetime import datetime, timedelta
from typing import Any
from uuid import UUID, uuid5

import asyncpg
import pytest

from service.deadlines.rules import deadline_id
from service.deadlines.ticks import tick
from service.events.outbox import entry
from service.kernel.db import Db, Pool
from service.replay.actions import replay
from service.work import ticks as work
from service.work.door import every_permit_anew
from tests.bodies import an_id
from tests.books import HANDLERS
from tests.http import LOS_ANGELES, Api, Clock, pointers
from tests.permits.builders import CONNECTICUT

PERMIT = an_id(60)
PATH = f"permits/{PERMIT}"
SECOND, MINUTE, DAY = timedelta(seconds=1), timedelta(minutes=1), timedelta(days=1)
# A permit that is reported by half-years, to a business whose days are those of Los Angeles. It is 14 May 2026.
HALVES = [{"ends": "06-30", "due": "07-31"}, {"ends": "12-31", "due": "01-31"}]
BODY: dict[str, Any] = {
    "number": "17",
    "authority": "State",
    # a code that ISO 3166 leaves to its users: no text of the package is of there
    "region": "XX",
    "from_on": "2026-02-01",
    "report_periods": HALVES,
}
# the end of 31 July, and of 31 January
DUE_AT, NEXT_DUE_AT = (
    datetime.fromisoformat("2026-08-01T07:00:00Z"),
    datetime.fromisoformat("2027-02-01T08:00:00Z"),
)
TWO_WEEKS_BEFORE = DUE_AT - 14 * DAY


@pytest.fixture
async def permitted(api: Api) -> Api:
    """A business with that permit."""
    await api.made(PATH, BODY)
    return api


@pytest.fixture
def wake(clock: Clock, pool: Pool, clock_pool: Pool) -> Any:
    """The clock wakes once at an instant: work first, then what is due."""

    async def wake_at(now: datetime) -> None:
        clock.now = now
        await work.run(clock_pool, pool, now, HANDLERS)
        await tick(clock_pool, now)

    return wake_at


async def due(api: Api) -> list[tuple[str, str]]:
    """When reports are due and how they stand."""
    return [(one["due_at"], one["state"]) for one in await api.items("deadlines?kind=report")]


async def sent(api: Api, ended: str, sent_on: str) -> Any:
    """A report is stated as sent, and no other."""
    tag = (await api.get(PATH)).headers["etag"]
    told = {"reports_sent": [{"period_ends_on": ended, "sent_on": sent_on, "reference": "R-1"}]}
    return await api.patch(PATH, told, If_Match=tag)


async def post_pack(api: Api) -> str:
    """A text becomes the business's own pack; its address."""
    stated = {"name": "a-text", "verified_on": "2026-05-01", "state": "law", **CONNECTICUT, "region": "XX"}
    answer = await api.post("rule-packs", stated)
    assert answer.status_code == 201, answer.text
    return f"rule-packs/{answer.json()['id']}"


async def test_a_report_is_a_deadline_of_its_permit(permitted: Api) -> None:
    (shown,) = await permitted.items("deadlines?kind=report")
    started_by = uuid5(UUID(PERMIT), "2026-06-30")
    assert {name: each for name, each in shown.items() if name != "why"} == {
        "id": str(deadline_id(permitted.business_id, "report", UUID(PERMIT), started_by)),
        "kind": "report",
        "permit_id": PERMIT,
        "starting_fact_id": str(started_by),
        "started_at": "2026-07-01T07:00:00Z",
        "due_at": "2026-08-01T07:00:00Z",
        "state": "open",
        "overdue": False,
        "known_at": "2026-05-14T18:00:00Z",
        "episode": 1,
    }
    assert shown["why"]["sentence"].startswith(
        "Report by Sat 1 Aug 2026 00:00 (America/Los_Angeles): period 1 Feb 2026 to 30 Jun 2026 over "
        "Wed 1 Jul 00:00; Permit 17: reports by its own reporting year"
    )
    assert shown["why"]["zone"] == LOS_ANGELES
    assert (await permitted.get(f"deadlines/{shown['id']}")).json() == shown


async def test_reports_are_found_by_permit_and_by_the_days_of_the_business(permitted: Api) -> None:
    (shown,) = await permitted.items("deadlines")
    assert await permitted.items(f"deadlines?subject_id={PERMIT}") == [shown]
    assert await permitted.items(f"deadlines?subject_id={an_id(61)}") == []
    # due at the start of 1 August there, which is 07:00 in UTC
    assert await permitted.items("deadlines?since=2026-08-01&until=2026-08-02") == [shown]
    assert await permitted.items("deadlines?until=2026-08-01") == []
    assert await permitted.items("deadlines?since=2026-08-02") == []


async def test_the_clock_says_once_two_weeks_ahead_that_a_report_is_due(permitted: Api, wake: Any) -> None:
    await wake(TWO_WEEKS_BEFORE - SECOND)
    assert await permitted.told("report.due") == []
    for now in (TWO_WEEKS_BEFORE, TWO_WEEKS_BEFORE + DAY, DUE_AT - SECOND, DUE_AT, DUE_AT + DAY):
        await wake(now)
    (shown, _) = await permitted.items("deadlines?kind=report")
    (event,) = await permitted.told("report.due")
    assert (event["subject"], event["time"]) == (PERMIT, "2026-07-18T07:00:00Z")
    assert {name: each for name, each in event["data"].items() if name != "explanation"} == {
        "deadline_id": shown["id"],
        "permit_id": PERMIT,
        "started_at": "2026-07-01T07:00:00Z",
        "due_at": "2026-08-01T07:00:00Z",
        "episode": 1,
        "why": shown["why"]["sentence"],
    }
    assert [one["permit_id"] for one in await permitted.items("deadlines?overdue=true")] == [PERMIT]


async def test_of_a_report_that_was_sent_before_nothing_is_said(
    permitted: Api, clock: Clock, wake: Any
) -> None:
    clock.now = datetime.fromisoformat("2026-07-02T18:00:00Z")
    amended = await sent(permitted, "2026-06-30", "2026-07-01")
    assert (amended.status_code, amended.json()["reports_sent"]) == (
        200,
        [{"period_ends_on": "2026-06-30", "sent_on": "2026-07-01", "reference": "R-1"}],
    )
    (met,) = await permitted.items("deadlines?state=met")
    assert (met["met_at"], met["outcome"]) == ("2026-07-01T07:00:00Z", "met")
    await wake(TWO_WEEKS_BEFORE)
    await wake(DUE_AT + DAY)
    assert await permitted.told("report.due") == []


async def test_a_report_sent_after_its_day_was_late(permitted: Api, wake: Any) -> None:
    await wake(DUE_AT + DAY)
    assert await due(permitted) == [("2026-08-01T07:00:00Z", "open"), ("2027-02-01T08:00:00Z", "open")]
    await sent(permitted, "2026-06-30", "2026-08-01")
    assert await due(permitted) == [("2026-08-01T07:00:00Z", "late"), ("2027-02-01T08:00:00Z", "open")]
    # it was sent on the last day after all: the amendment is what counts
    await sent(permitted, "2026-06-30", "2026-07-31")
    assert (await due(permitted))[0] == ("2026-08-01T07:00:00Z", "met")


async def test_a_report_taken_back_is_due_again_and_said_anew(
    permitted: Api, clock: Clock, wake: Any
) -> None:
    clock.now = datetime.fromisoformat("2026-07-02T18:00:00Z")
    await sent(permitted, "2026-06-30", "2026-07-01")
    await permitted.patch(PATH, {"reports_sent": None}, If_Match='"2"')
    (shown, _) = await permitted.items("deadlines")
    assert (shown["state"], shown["episode"], shown.get("met_at")) == ("open", 2, None)
    await wake(TWO_WEEKS_BEFORE)
    (event,) = await permitted.told("report.due")
    assert event["data"]["episode"] == 2


async def test_what_was_due_already_when_the_permit_came_waits_for_the_office_to_go_quiet(
    api: Api, clock: Clock, wake: Any
) -> None:
    """From 1 July 2025: the half-year to December was due on 31 January, the one to June is not yet."""
    entered = clock.now
    await api.made(PATH, {**BODY, "from_on": "2025-07-01"})
    await wake(entered + 10 * MINUTE - SECOND)
    assert await api.told("report.due") == []
    await wake(entered + 10 * MINUTE)
    (event,) = await api.told("report.due")
    assert (event["data"]["due_at"], event["data"]["known_late"]) == ("2026-02-01T08:00:00Z", True)


async def test_what_is_sent_within_that_time_raises_no_alarm(api: Api, clock: Clock, wake: Any) -> None:
    entered = clock.now
    await api.made(PATH, {**BODY, "from_on": "2025-07-01"})
    clock.now = entered + MINUTE
    await sent(api, "2025-12-31", "2026-01-20")
    await wake(entered + DAY)
    assert await api.told("report.due") == []
    assert await due(api) == [("2026-02-01T08:00:00Z", "met"), ("2026-08-01T07:00:00Z", "open")]


async def test_the_next_period_is_known_when_it_begins(permitted: Api, wake: Any) -> None:
    begins = datetime.fromisoformat("2026-07-01T07:00:00Z")
    await wake(begins - SECOND)
    assert len(await due(permitted)) == 1
    await wake(begins)
    assert await due(permitted) == [("2026-08-01T07:00:00Z", "open"), ("2027-02-01T08:00:00Z", "open")]
    # the clock was away: what began meanwhile is known when it is back
    await wake(datetime.fromisoformat("2027-09-01T00:00:00Z"))
    assert len(await due(permitted)) == 4
    assert [one["data"]["due_at"] for one in await permitted.told("report.due")] == [
        "2026-08-01T07:00:00Z", "2027-02-01T08:00:00Z",
    ]  # fmt: skip
    await wake(datetime.fromisoformat("2027-09-01T00:10:00Z"))
    late = (await permitted.told("report.due"))[-1]["data"]
    assert (late["due_at"], late["known_late"]) == ("2027-08-01T07:00:00Z", True)


async def test_a_permit_that_ended_is_taken_up_no_more(
    api: Api, wake: Any, owner: "asyncpg.Connection[asyncpg.Record]"
) -> None:
    await api.made(PATH, {**BODY, "until_on": "2026-07-01"})
    assert await owner.fetch("select * from work where kind = 'permit_anew'") == []
    await wake(datetime.fromisoformat("2027-09-01T00:00:00Z"))
    assert await due(api) == [("2026-08-01T07:00:00Z", "open")]


async def test_another_reporting_year_withdraws_the_old_one(permitted: Api) -> None:
    yearly = {"report_periods": [{"ends": "09-30", "due": "10-31"}]}
    await permitted.patch(PATH, yearly, If_Match='"1"')
    assert await due(permitted) == [
        ("2026-08-01T07:00:00Z", "withdrawn"), ("2026-11-01T07:00:00Z", "open"),
    ]  # fmt: skip
    await permitted.patch(PATH, {"report_periods": None}, If_Match='"2"')
    assert {state for _, state in await due(permitted)} == {"withdrawn"}


async def test_a_permit_of_which_nobody_says_when_leaves_nothing_due(api: Api) -> None:
    await api.made(PATH, {name: each for name, each in BODY.items() if name != "report_periods"})
    assert await api.items("deadlines") == []


async def test_a_pack_of_the_business_speaks_once_the_queue_is_done(
    api: Api, clock: Clock, wake: Any
) -> None:
    """RCSA 26-47-1: the year to 30 November, by 31 December, also where nothing was taken."""
    await api.made(PATH, {name: each for name, each in BODY.items() if name != "report_periods"})
    pack = await post_pack(api)
    await wake(clock.now)
    (shown,) = await api.items("deadlines")
    assert (shown["due_at"], shown["started_at"]) == ("2027-01-01T08:00:00Z", "2026-12-01T08:00:00Z")
    (rule,) = shown["why"]["rules"]
    assert (rule["pack"], rule["rule_name"], rule["citation"], rule["inputs"]["nil"]) == (
        "a-text", "a-text/yearly-report", "RCSA 26-47-1", "yes",
    )  # fmt: skip
    assert shown["why"]["sentence"].startswith("Report, also where nothing was taken, by Fri 1 Jan 2027")
    assert (await api.delete(pack, If_Match='"1"')).status_code == 200
    (waiting,) = await api.items("deadlines")
    assert waiting["being_worked_out_anew"] is True
    await wake(clock.now)
    (gone,) = await api.items("deadlines")
    assert (gone["state"], gone.get("being_worked_out_anew")) == ("withdrawn", None)


async def test_a_pack_of_another_business_says_nothing(api: Api, two: tuple[Api, Api]) -> None:
    await post_pack(two[1])
    await api.made(PATH, {name: each for name, each in BODY.items() if name != "report_periods"})
    assert await api.items("deadlines") == []


async def test_another_zone_of_the_business_moves_what_is_due(
    permitted: Api, clock: Clock, wake: Any
) -> None:
    answer = await permitted.patch("business", {"zone": "America/New_York"}, If_Match='"1"')
    assert answer.status_code == 200, answer.text
    await wake(clock.now)
    assert await due(permitted) == [("2026-08-01T04:00:00Z", "open")]


async def test_a_replay_says_that_a_report_is_queued_only_while_it_is(
    permitted: Api, pool: Pool, clock: Clock
) -> None:
    """The row that waits for the next period is no word against the book."""
    first, *_ = await permitted.items("deadlines")

    async def is_queued() -> bool:
        found = await replay(Db(pool), permitted.business_id, UUID(first["id"]), clock.now)
        return found.entered.is_being_worked_out_anew

    assert not await is_queued()
    async with entry(pool, permitted.business_id, clock.now) as book:
        await every_permit_anew(book)
    assert await is_queued()


async def test_a_report_that_cannot_have_been_sent_is_refused_and_changes_nothing(permitted: Api) -> None:
    of_no_period = await sent(permitted, "2026-05-31", "2026-05-14")
    assert (of_no_period.status_code, pointers(of_no_period)) == (
        422,
        [("#/reports_sent/0/period_ends_on", "no_such_period")],
    )
    assert of_no_period.json()["detail"] == (
        "No reporting period of this permit ends on 2026-05-31; the nearest ends on 2026-06-30."
    )
    ahead = await sent(permitted, "2026-06-30", "2026-06-30")
    assert pointers(ahead) == [("#/reports_sent/0/sent_on", "in_future")]
    assert (await permitted.get(PATH)).headers["etag"] == '"1"'
    assert await due(permitted) == [("2026-08-01T07:00:00Z", "open")]


@pytest.mark.parametrize(
    ("members", "expected"),
    [
        ({"report_periods": [{"ends": "02-30", "due": "07-31"}]}, ("#/report_periods/0/ends", "wrong_form")),
        ({"report_periods": [{"ends": "06-30"}]}, ("#/report_periods/0/due", "missing")),
        ({"report_due_on": "2026-07-31"}, ("#/report_due_on", "unknown_field")),
        ({"reports_sent": [{"period_ends_on": "2026-06-30"}]}, ("#/reports_sent/0/sent_on", "missing")),
    ],
)
async def test_a_body_that_is_wrong_says_where(
    api: Api, members: dict[str, Any], expected: tuple[str, str]
) -> None:
    refused = await api.put(PATH, {**BODY, **members})
    assert (refused.status_code, pointers(refused)) == (422, [expected])


async def test_a_month_is_read_beside_a_report_that_is_overdue(permitted: Api, wake: Any) -> None:
    await wake(DUE_AT + DAY)
    answer = await permitted.get("months/2026-08")
    assert (answer.status_code, answer.json()["figures"]) == (200, [])


async def test_another_business_finds_no_report(permitted: Api, other: Api) -> None:
    (shown,) = await permitted.items("deadlines")
    assert await other.items(f"deadlines?subject_id={PERMIT}") == []
    assert (await other.get(f"deadlines/{shown['id']}")).status_code == 404
