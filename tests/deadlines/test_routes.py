"""Deadlines as they are read, after visits as a phone sends them: our own arithmetic for May 2026."""

from datetime import datetime
from typing import Any
from uuid import UUID

import asyncpg
import pytest

from service.deadlines.rules import deadline_id
from service.deadlines.ticks import tick
from tests.bodies import a_check, a_pack, a_set, a_sign, a_visit, an_id
from tests.http import LOS_ANGELES, PROPERTY, Api, Clock, a_property

SET, SIGN = an_id(30), an_id(20)


def at(text: str) -> str:
    """A day and time of May 2026 in Los Angeles."""
    return f"2026-05-{text}:00-07:00"


def utc(text: str) -> datetime:
    """An instant."""
    return datetime.fromisoformat(text)


async def placed(api: Api, clock: Clock, number: int = 3, **members: Any) -> None:
    """A set that was placed on Monday the 11th at 09:00, and is known at once."""
    clock.now = utc(at("11T09:05"))
    sets = [a_set(placed_at=at("11T09:00"), **members)]
    await api.made(f"visits/{an_id(number)}", a_visit(arrived_at=at("11T08:50"), sets=sets))


async def looked(api: Api, number: int, checked_at: str, **members: Any) -> None:
    """A look at that set."""
    checks = [a_check(id=an_id(100 + number), checked_at=checked_at, **members)]
    await api.made(f"visits/{an_id(number)}", a_visit(arrived_at=checked_at, checks=checks))


def expected_id(api: Api, started_by: str) -> str:
    """The id that anybody can work out."""
    return str(deadline_id(api.business_id, "check", UUID(SET), UUID(started_by)))


async def test_a_deadline_shows_when_and_why_it_is_due(api: Api, clock: Clock) -> None:
    await placed(api, clock)
    (shown,) = await api.items("deadlines")
    rule = "House policy: one look on every local calendar day"
    assert shown == {
        "id": expected_id(api, SET),
        "kind": "check",
        "set_id": SET,
        "property_id": PROPERTY,
        "starting_fact_id": SET,
        "started_at": "2026-05-11T16:00:00Z",
        "due_at": "2026-05-13T07:00:00Z",
        "state": "open",
        "overdue": False,
        "known_at": "2026-05-11T16:05:00Z",
        "episode": 1,
        "why": {
            "started_by": "placed",
            "started_at": "2026-05-11T16:00:00Z",
            "zone": LOS_ANGELES,
            "rules": [
                {
                    "rule": rule,
                    "rule_name": "house_policy/calendar-day",
                    "kind": "calendar_day",
                    "state": "practice",
                    "inputs": {"days": 1},
                    "due_at": "2026-05-13T07:00:00Z",
                }
            ],
            "winner": "house_policy/calendar-day",
            "sentence": "Look by Wed 13 May 2026 00:00 (America/Los_Angeles): placed Mon 11 May 09:00;"
            " House policy: one look on every local calendar day.",
            "notice": "Local codes and licensed practice come first. No rule pack sets a look in US-ID: the"
            " house policy decides; look up the local code.",
        },
    }
    assert (await api.get(f"deadlines/{shown['id']}")).json() == shown


async def test_overdue_follows_the_clock_and_ends_with_a_look(api: Api, clock: Clock) -> None:
    await placed(api, clock)
    clock.now = utc("2026-05-13T06:59:59+00:00")
    assert await api.items("deadlines?overdue=true") == []
    assert len(await api.items("deadlines?overdue=false")) == 1
    clock.now = utc("2026-05-13T07:00:00+00:00")
    (overdue,) = await api.items("deadlines?overdue=true")
    assert (overdue["state"], overdue["overdue"]) == ("open", True)
    await looked(api, 4, at("12T17:00"))
    assert await api.items("deadlines?overdue=true") == []
    first, following = await api.items("deadlines")
    assert (first["state"], first["met_at"], first["met_by_fact_id"]) == (
        "met", "2026-05-13T00:00:00Z", an_id(104),
    )  # fmt: skip
    assert (following["id"], following["due_at"]) == (expected_id(api, an_id(104)), "2026-05-14T07:00:00Z")


async def test_a_locked_gate_shows_in_the_why_and_meets_nothing(api: Api, clock: Clock) -> None:
    await placed(api, clock)
    clock.now = utc(at("12T12:00"))
    gate = a_visit(arrived_at=at("12T11:00"), outcome="no_access", no_access_reason="the gate was locked")
    await api.made(f"visits/{an_id(4)}", gate)
    (shown,) = await api.items("deadlines")
    assert (shown["state"], shown["due_at"]) == ("open", "2026-05-13T07:00:00Z")
    assert shown["why"]["attempts"] == [
        {"visit_id": an_id(4), "arrived_at": "2026-05-12T18:00:00Z", "reason": "the gate was locked"}
    ]
    assert "no access Tue 12 May 11:00, which meets nothing" in shown["why"]["sentence"]
    assert "locked" not in shown["why"]["sentence"]


async def test_an_event_and_the_deadline_say_the_same(
    api: Api, clock: Clock, clock_pool: "asyncpg.Pool[asyncpg.Record]"
) -> None:
    await placed(api, clock)
    clock.now = utc("2026-05-13T08:00:00+00:00")
    assert await tick(clock_pool, clock.now) == 1
    (shown,) = await api.items("deadlines?overdue=true")
    (event,) = await api.told("check.overdue")
    assert event["data"] == {
        "deadline_id": shown["id"],
        "property_id": PROPERTY,
        "started_at": shown["started_at"],
        "due_at": shown["due_at"],
        "episode": 1,
        "why": shown["why"].pop("sentence"),
        "explanation": {name: said for name, said in shown["why"].items() if name != "started_at"},
        "set_id": SET,
    }
    assert (event["subject"], event["time"]) == (SET, "2026-05-13T08:00:00Z")


async def test_an_event_names_nobody_who_reviewed_a_text(
    api: Api, clock: Clock, clock_pool: "asyncpg.Pool[asyncpg.Record]"
) -> None:
    answer = await api.post("rule-packs", a_pack(reviewed_by="Q. Sample"))
    assert answer.status_code == 201, answer.text
    assert answer.json()["reading"].endswith(", reviewed.")
    await placed(api, clock)
    clock.now = utc("2026-05-14T08:00:00+00:00")
    assert await tick(clock_pool, clock.now) == 1
    (shown,) = await api.items("deadlines?overdue=true")
    assert [one.get("reviewed_by") for one in shown["why"]["rules"]] == ["Q. Sample", None]
    (event,) = await api.told("check.overdue")
    assert [one["rule_name"] for one in event["data"]["explanation"]["rules"]] == [
        one["rule_name"] for one in shown["why"]["rules"]
    ]
    assert "Q. Sample" not in str(event)


async def test_a_withdrawn_deadline_can_still_be_read(api: Api, clock: Clock) -> None:
    await placed(api, clock)
    answer = await api.delete(f"visits/{an_id(3)}", If_Match='"1"')
    assert answer.status_code == 200
    (gone,) = await api.items("deadlines?state=withdrawn")
    assert (gone["outcome"], gone["set_id"], gone["overdue"]) == ("withdrawn", SET, False)
    assert await api.items("deadlines?state=open") == []


async def test_lists_are_narrowed(api: Api, clock: Clock) -> None:
    clock.now = utc(at("11T08:00"))
    elsewhere, job = an_id(50), an_id(51)
    await api.made(f"properties/{elsewhere}", a_property(zone="America/New_York"))
    opened = {"property_id": elsewhere, "target": "Scapanus latimanus", "opened_at": at("10T09:00")}
    await api.made(f"jobs/{job}", opened)
    await placed(api, clock)
    other_set = a_set(id=an_id(31), placed_at=at("11T09:00"))
    mound = a_sign(seen_at=at("11T09:00"), on_turf=True)
    visit = a_visit(property_id=elsewhere, arrived_at=at("11T09:00"), sets=[other_set], signs=[mound])
    await api.made(f"visits/{an_id(4)}", visit)
    await looked(api, 5, at("11T09:04"))

    async def found(query: str) -> list[tuple[str, str]]:
        return [
            (one["kind"], one.get("set_id") or one["sign_id"])
            for one in await api.items(f"deadlines?{query}")
        ]

    here, there, lawn = ("check", SET), ("check", an_id(31)), ("lawn", SIGN)
    # the mound is due at the end of the 11th in New York, the other set there at the start of the 13th
    assert await found("state=open") == [lawn, there, here]
    assert await found("") == [lawn, there, here, here]
    assert await found(f"property_id={PROPERTY}&state=met") == [here]
    assert await found(f"property_id={elsewhere}") == [lawn, there]
    assert await found(f"job_id={job}") == [lawn, there]
    assert await found(f"job_id={an_id(99)}") == []
    assert await found(f"subject_id={SIGN}") == [lawn]
    assert await found("kind=check&state=open") == [there, here]
    assert await found("since=2026-05-12&until=2026-05-13") == [lawn]
    assert await found("since=2026-05-13&state=open") == [there, here]
    assert await found("until=2026-05-12") == []
    wrong = await api.get("deadlines?state=overdue")
    assert wrong.status_code == 400


@pytest.mark.parametrize("limit", [1, 2, 3])
async def test_pages_hold_every_row_once_in_order_of_due(api: Api, clock: Clock, limit: int) -> None:
    clock.now = utc(at("14T12:00"))
    sets = [
        a_set(id=an_id(number), placed_at=at(f"{day}T09:00"))
        for number, day in ((30, 13), (31, 11), (32, 13))
    ]
    await api.made(f"visits/{an_id(3)}", a_visit(arrived_at=at("11T08:50"), sets=sets))
    found: list[dict[str, Any]] = []
    query = f"deadlines?limit={limit}"
    while query:
        answer = await api.get(query)
        found += answer.json()["items"]
        query = answer.links["next"]["url"] if "Link" in answer.headers else ""
    assert [(one["due_at"], one["id"]) for one in found] == sorted(
        (one["due_at"], one["id"]) for one in found
    )
    assert {one["set_id"] for one in found} == {an_id(30), an_id(31), an_id(32)}
    assert len(found) == 3


async def test_the_tag_is_weak_and_changes_when_the_instant_comes(api: Api, clock: Clock) -> None:
    await placed(api, clock)
    path = f"deadlines/{expected_id(api, SET)}"
    tag = (await api.get(path)).headers["ETag"]
    assert tag.startswith('W/"')
    assert (await api.get(path, If_None_Match=tag)).status_code == 304
    clock.now = utc("2026-05-13T07:00:00+00:00")
    assert (await api.get(path, If_None_Match=tag)).json()["overdue"] is True


async def test_another_business_finds_nothing(api: Api, other: Api, clock: Clock) -> None:
    await placed(api, clock)
    assert await other.items("deadlines") == []
    answer = await other.get(f"deadlines/{expected_id(api, SET)}")
    assert (answer.status_code, answer.json()["type"]) == (404, "/problems/not_found")
