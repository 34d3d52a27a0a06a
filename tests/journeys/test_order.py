"""Six weeks of visits in any order, doubled and delayed, leave the book that they leave as the demo sends them."""

import random
from collections.abc import AsyncIterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import asyncpg
import httpx
import pytest
from litestar import Litestar

from fixtures.demo import PHONES, load, visit_lines
from service.deadlines.ticks import tick
from service.identity.actions import add_business
from service.kernel.db import Pool, open_pool
from tests.bodies import NOW
from tests.books import Book, book_of, differences, gaps, run_to, untrue
from tests.http import LOS_ANGELES, Api, Clock
from tests.relay import Exchange, relaying

# Long after all that happens here: every look is overdue, and no phone is waited for any more.
FAR = NOW + timedelta(days=30)
ORDERS = 4
# the last one that has ended at NOW, and in which the demo begins
MONTH = "2026-04"

Lines = list[dict[str, Any]]
# Lines with the instants at which they arrive.
Plan = list[tuple[datetime, dict[str, Any]]]


@dataclass
class Stage:
    """The app in this process with its clock, the clock's ticks, and a place where businesses are made."""

    client: httpx.AsyncClient
    clock: Clock
    pool: Pool
    clock_pool: Pool
    migrator: Pool

    async def business(self) -> Api:
        """One that has stated nothing yet."""
        business_id, key = await add_business(self.migrator, "Tamp & Flag Trapping", LOS_ANGELES, NOW)
        return Api(business_id, key.key, self.client)

    async def run_to(self, now: datetime) -> None:
        """All that is due by then."""
        await run_to(self.clock_pool, self.pool, now)


@pytest.fixture
async def stage(
    database: str, app: Litestar, clock: Clock, pool: Pool, clock_pool: Pool
) -> AsyncIterator[Stage]:
    """An empty database."""
    migrator = await open_pool(database, "migrator", 1)
    transport = httpx.ASGITransport(app)
    async with migrator, httpx.AsyncClient(transport=transport, base_url="http://setbook.test") as client:
        yield Stage(client, clock, pool, clock_pool, migrator)


def queued(lines: Lines, dice: random.Random) -> Plan:
    """All that the phones hold, in any order within three hours of today."""
    return [(NOW + timedelta(seconds=dice.randrange(3 * 3600)), line) for line in lines]


def delayed(lines: Lines, dice: random.Random) -> Plan:
    """Most visits at once, some after minutes or days without a signal; none before it was made or after today."""
    plan = []
    for line in lines:
        visit = line["visit"]
        made = datetime.fromisoformat(visit.get("left_at", visit["arrived_at"]))
        minutes = dice.choice([0, 0, 0, dice.randrange(90), dice.randrange(20 * 24 * 60)])
        plan.append((min(made + timedelta(minutes=minutes), NOW), line))
    return plan


def arrivals(plan: Plan, dice: random.Random) -> Plan:
    """The plan with doublings, by arrival; a version of a visit never comes before the one it amends."""
    latest: dict[str, datetime] = {}
    sent: Plan = []
    for planned, line in plan:
        at = latest[line["visit"]["id"]] = max(planned, latest.get(line["visit"]["id"], planned))
        sent.append((at, line))
        if dice.random() < 0.2:
            sent.append((at + timedelta(minutes=dice.randrange(3000)), line))
    # stable, so that versions that come at the same instant keep their order
    return sorted(sent, key=lambda one: one[0])


async def send(phone: Api, line: dict[str, Any], tags: dict[str, str]) -> None:
    """As a phone does: an amendment carries the tag that was given for the version before."""
    visit = line["visit"]
    if "amends" in line:
        visit = visit | {"amends": tags[visit["id"]]}
    answer = await phone.post("visits", visit, Prefer="return=minimal")
    assert answer.status_code in (200, 201), answer.text
    tags.setdefault(visit["id"], answer.json()["etag"])


async def replay(api: Api, exchanges: list[Exchange]) -> None:
    """What the office stated, once more for another business."""
    for one in exchanges:
        headers = one.headers | {"authorization": f"Bearer {api.key}"}
        answer = await api.client.request(one.method, one.path, content=one.asked, headers=headers)
        assert answer.status_code in (200, 201), answer.text


def of_office(exchanges: list[Exchange]) -> tuple[list[Exchange], list[Exchange]]:
    """What the office stated before the first visit, and after it."""
    first = next(place for place, one in enumerate(exchanges) if one.path.startswith("/v1/visits"))
    before, after = (
        [one for one in part if one.method in ("PUT", "PATCH")]
        for part in (exchanges[:first], exchanges[first:])
    )
    return before, after


async def issue_months(api: Api, homes: list[str]) -> None:
    """The office asks for the month before, of each of these properties; taken only once it has ended there."""
    for home in homes:
        answer = await api.post("service-records", {"property_id": home, "month": MONTH})
        assert answer.status_code in (200, 201, 409), answer.text


async def arrive(stage: Stage, api: Api, plan: Plan, homes: list[str], dice: random.Random) -> None:
    """Visits come when they come; in between the clock wakes now and then, and the office asks for a month."""
    phones = {name: await api.key_with("record", "read", name=name) for name in PHONES}
    tags: dict[str, str] = {}
    for at, line in plan:
        stage.clock.now = at
        await send(phones[line["phone"]], line, tags)
        if dice.random() < 0.3:
            await tick(stage.clock_pool, at)
        if dice.random() < 0.03:
            await stage.run_to(at)
        if dice.random() < 0.05:
            await issue_months(api, [dice.choice(homes)])


async def in_another_order(
    stage: Stage,
    seed: int,
    chosen: list[str],
    office: tuple[list[Exchange], list[Exchange]],
    dice: random.Random,
) -> Api:
    """A business of its own, to which the visits of these properties come in an order of their own."""
    opening, closing = office
    lines = [line for line in visit_lines(NOW) if line["visit"]["property_id"] in chosen]
    plan = (queued if seed < 2 else delayed)(lines, dice)
    stage.clock.now = NOW
    api = await stage.business()
    # a job that was closed before its visits came is closed all the same
    closes_first = seed % 3 == 0
    await replay(api, opening + closing if closes_first else opening)
    await arrive(stage, api, arrivals(plan, dice), chosen, dice)
    stage.clock.now = max(stage.clock.now, NOW)
    await issue_months(api, chosen)
    await replay(api, [] if closes_first else closing)
    await stage.run_to(FAR)
    return api


async def test_any_order_with_doublings_and_delays_leaves_the_same_book(
    stage: Stage, owner: "asyncpg.Connection[asyncpg.Record]"
) -> None:
    in_order = await stage.business()
    async with relaying(stage.client) as relay:
        await load(relay.url, in_order.key, None, NOW)
    visited = {line["visit"]["property_id"] for line in visit_lines(NOW)}
    stage.clock.now = NOW
    await issue_months(in_order, sorted(visited))
    await stage.run_to(FAR)
    expected = await book_of(owner, in_order.business_id)
    assert months_in(expected) == len(visited)
    assert await untrue(owner, in_order.business_id, FAR) == []
    assert await gaps(owner, in_order.business_id) == []
    office = of_office(relay.exchanges)
    # a permit's reports are at no property, and the same in every order
    homes = sorted(home for home in expected if home is not None)
    for seed in range(ORDERS):
        dice = random.Random(seed)  # noqa: S311 - an order that can be had again
        # two orders share the properties out between them, so that each stands in half of all orders
        if seed % 2 == 0:
            dice.shuffle(homes)
        chosen = homes[seed % 2 :: 2]
        api = await in_another_order(stage, seed, chosen, office, dice)
        found = await book_of(owner, api.business_id)
        assert differences(expected, found, [*chosen, None]) == [], f"seed {seed}"
        assert await untrue(owner, api.business_id, FAR) == [], f"seed {seed}"
        assert await gaps(owner, api.business_id) == [], f"seed {seed}"
    assert len(homes) == 14
    assert await alarms_taken_back(owner) > 0


def months_in(book: Book) -> int:
    """How many records of months the book holds."""
    return sum(
        record["content"]["kind"] == "month" for parts in book.values() for record in parts.get("record", [])
    )


async def alarms_taken_back(owner: "asyncpg.Connection[asyncpg.Record]") -> int:
    """Looks that were said to be overdue, and in time when a phone had brought them: the orders were hard ones."""
    taken_back: int = await owner.fetchval(
        "select count(*) from event where type = 'check.settled' and data ->> 'outcome' = 'met'"
    )
    return taken_back
