"""The order in which visits arrive, and how often, changes nothing that follows from them."""

import random
from collections.abc import AsyncIterator, Iterator
from datetime import timedelta
from typing import Any

import asyncpg
import httpx
import pytest

from service.deadlines.rules import deadline_id
from service.deadlines.ticks import tick
from service.identity.actions import add_business
from service.kernel.db import Pool, open_pool
from tests.bodies import NOW, an_id
from tests.http import LOS_ANGELES, PROPERTY, WORKER, Api, Clock, a_property, furnish

LAWN, OTHER_FIELD, JOB = an_id(5), an_id(9), an_id(8)
FIRST, MOVED, THIRD, NOWHERE = an_id(30), an_id(31), an_id(32), an_id(33)
MOUND, RUN, FRESH, TAKEN_BACK = an_id(20), an_id(21), an_id(22), an_id(23)

# Each is what one phone sends of one visit, in its order: a body, a body that replaces it, or a withdrawal.
Message = dict[str, Any]


def at(day: int, clock: str = "09:00") -> str:
    """A local instant in May 2026."""
    return f"2026-05-{day:02}T{clock}:00-07:00"


def check(number: int, set_id: str, when: str, finding: str, action: str, **more: Any) -> dict[str, Any]:
    """A look at a set."""
    base = {"id": an_id(number), "set_id": set_id, "checked_at": when, "finding": finding, "action": action}
    return {**base, **more}


def visit(number: int, when: str, **members: Any) -> Message:
    """A visit at the property, or at the one that is given."""
    return {
        "id": an_id(number),
        "property_id": PROPERTY,
        "worker_id": WORKER,
        "arrived_at": when,
        **members,
    }


def season() -> list[list[Message]]:
    """Ten days at a school: what each visit's messages are, in the order of that visit."""
    sign = {"kind": "mound", "on_turf": True, "feature_id": LAWN, "length_mm": 430, "width_mm": 400}
    two_traps = {"mechanism": "scissor_jaw", "traps": [{"no": 1}, {"no": 2}]}
    board = {"cover": "board", "cover_length_mm": 600, "cover_width_mm": 400, "cover_on_turf": True}
    bucket = {"cover": "bucket", "cover_length_mm": 300, "cover_width_mm": 300, "cover_on_turf": True}
    mole = {"species": "Scapanus latimanus", "fate": "dead_in_trap"}
    first = visit(
        100,
        at(4),
        surveys=[{"id": an_id(10), "surveyed_at": at(4), "fresh_signs": 0}],
        signs=[
            {**sign, "id": MOUND, "seen_at": at(4, "09:10"), "count": 2},
            {"id": RUN, "kind": "surface_run", "on_turf": False, "seen_at": at(4, "09:12")},
        ],
        tampings=[{"id": an_id(24), "sign_id": RUN, "tamped_at": at(4, "09:15")}],
        sets=[
            {**two_traps, **board, "id": FIRST, "placed_at": at(4, "09:30"), "sign_id": MOUND},
            {**two_traps, **bucket, "id": THIRD, "placed_at": at(4, "09:40"), "sign_id": RUN},
        ],
    )
    second = visit(
        101,
        at(5),
        checks=[
            check(40, FIRST, at(5), "bypassed", "moved"),
            check(41, THIRD, at(5), "missing", "left"),
        ],
        sets=[
            {
                **board,
                "id": MOVED,
                "placed_at": at(5),
                "moved_from_set_id": FIRST,
                "mechanism": "choker_loop",
                "traps": [{"no": 1}],
            }
        ],
        looks=[{"id": an_id(25), "sign_id": RUN, "looked_at": at(5, "09:20"), "raised_again": True}],
    )
    third = visit(
        102,
        at(7),
        checks=[
            check(
                42,
                MOVED,
                at(7),
                "catch",
                "reset",
                cover="shifted",
                catches=[{**mole, "id": an_id(50), "trap_no": 1}],
            ),
            check(43, THIRD, at(7), "undisturbed", "reset", cover="left"),
        ],
        clearings=[{"id": an_id(60), "sign_id": MOUND, "cleared_at": at(7), "count": 1}],
    )
    fourth = visit(
        103,
        at(8),
        checks=[
            check(44, MOVED, at(8), "sprung_empty", "made_safe", cover="lifted_off", opening_closed=False),
            check(45, THIRD, at(8), "missing", "lost"),
        ],
        clearings=[{"id": an_id(61), "sign_id": MOUND, "cleared_at": at(8), "count": 1}],
        upkeep=[{"id": an_id(63), "kind": "mown", "at": at(8, "12:00")}],
    )
    fifth = visit(
        104,
        at(11),
        checks=[
            check(46, MOVED, at(11), "undisturbed", "armed", cover="left"),
            check(47, THIRD, at(11), "undisturbed", "left", cover="shifted"),
        ],
        signs=[{**sign, "id": FRESH, "seen_at": at(11), "count": 1}],
        looks=[{"id": an_id(26), "sign_id": MOUND, "looked_at": at(11), "fresh_soil": True, "turf": "thin"}],
    )
    sixth = visit(
        105, at(13), checks=[check(48, MOVED, at(13), "undisturbed", "pulled")], left_at=at(13, "09:30")
    )
    # at the very instant of the visit before: the id of the visit decides
    other_phone = visit(
        106,
        at(13),
        checks=[
            check(49, MOVED, at(13), "undisturbed", "left"),
            check(70, NOWHERE, at(13, "15:10"), "undisturbed", "left"),
        ],
    )
    locked = visit(107, at(6, "17:00"), outcome="no_access", no_access_reason="locked gate")
    told = visit(
        108,
        at(12),
        repairs=[
            {"id": an_id(67), "set_id": MOVED, "repaired_at": at(12), "how": "levelled", "area_m2": "0.2"},
            {"id": an_id(68), "sign_id": MOUND, "repaired_at": at(12), "how": "reseeded", "area_m2": "0.2"},
        ],
        treatments=[
            {"id": an_id(64), "method": "repellent", "applied_at": at(6, "08:00"), "applied_by": "customer"}
        ],
    )
    wrong_field = visit(
        109, at(9), property_id=OTHER_FIELD, upkeep=[{"id": an_id(65), "kind": "mown", "at": at(9)}]
    )
    mended = {**wrong_field, "property_id": PROPERTY, "amends": '"1"'}
    mistaken = visit(
        110,
        at(6),
        signs=[{**sign, "id": TAKEN_BACK, "seen_at": at(6)}],
        clearings=[{"id": an_id(66), "sign_id": MOUND, "cleared_at": at(5, "10:00")}],
        checks=[check(71, FIRST, at(4, "18:00"), "undisturbed", "pulled")],
    )
    return [
        [first, {**first, "left_at": at(4, "10:30"), "amends": '"1"'}],
        [second],
        [third],
        [fourth],
        [fifth],
        [sixth],
        [other_phone],
        [locked],
        [told],
        [wrong_field, mended],
        [mistaken, {"withdraw": mistaken["id"]}],
    ]


def shuffled(dice: random.Random) -> Iterator[Message]:
    """The season's messages in some order that keeps each visit's own; some come again, now or later."""
    queues, sent = season(), []
    while any(queues):
        queue = dice.choice([one for one in queues if one])
        sent.append(queue.pop(0))
        yield sent[-1]
        while dice.random() < 0.3:
            yield dice.choice(sent)


async def send(api: Api, message: Message) -> None:
    """As a phone does: what was taken once is the same when it comes again."""
    if "withdraw" in message:
        path = f"visits/{message['withdraw']}"
        answer = await api.delete(path, If_Match=(await api.get(path)).headers["etag"])
    else:
        answer = await api.post("visits", message)
    assert answer.status_code in (200, 201), answer.text


async def book_of(api: Api, owner: "asyncpg.Connection[asyncpg.Record]") -> dict[str, Any]:
    """All that follows from the visits; rows that were withdrawn are history."""
    derived = {
        "set_state": "to_jsonb(r) - 'business_id'",
        "sign_state": "to_jsonb(r) - 'business_id'",
        "lawn_patch": "to_jsonb(r) - 'business_id' - 'id'",
        "conflict": "to_jsonb(r) - 'business_id' - 'id'",
        "visit_job": "to_jsonb(r) - 'business_id'",
    }
    book = {
        table: await owner.fetchval(
            f"select jsonb_agg(row order by row) from (select {row} as row from {table} r where business_id = $1) x",  # noqa: S608
            api.business_id,
        )
        for table, row in derived.items()
    }
    deadlines = await owner.fetch(
        "select id, kind, subject_id, starting_fact_id, property_id, started_at, due_at, state, met_at,"
        " met_by_fact_id, outcome, why::text from deadline where business_id = $1 and state <> 'withdrawn'"
        " order by kind, subject_id, started_at, starting_fact_id",
        api.business_id,
    )
    for row in deadlines:
        assert row["id"] == deadline_id(
            api.business_id, row["kind"], row["subject_id"], row["starting_fact_id"]
        )
    book["deadline"] = [tuple(row)[1:] for row in deadlines]
    visits = [
        {name: value for name, value in one.items() if name not in {"received_at", "first_received_at"}}
        for one in await api.items("visits")
    ]
    return {**book, "visits": visits}


async def net_effect(api: Api) -> tuple[set[str], set[str]]:
    """The log folded: facts that are stated, sets that stand."""
    facts: set[str] = set()
    standing: set[str] = set()
    for one in await api.told():
        data = one["data"]
        facts |= {*data.get("fact_ids", []), *data.get("added", [])}
        facts -= set(data.get("withdrawn", []))
        if one["type"] in {"set.placed", "set.restored"}:
            standing.add(data["set_id"])
        elif one["type"] == "set.ended":
            standing.discard(data["set_id"])
    return facts, standing


@pytest.fixture
async def books(database: str) -> AsyncIterator[Pool]:
    """Where further businesses are made."""
    migrator = await open_pool(database, "migrator", 1)
    yield migrator
    await migrator.close()


async def a_book(migrator: Pool, client: httpx.AsyncClient) -> Api:
    """A business with two properties and a job, and no visit."""
    business_id, key = await add_business(migrator, "Greenway Trapping", LOS_ANGELES, NOW)
    api = await furnish(Api(business_id, key.key, client))
    lawn = {"name": "Front lawn", "kind": "lawn"}
    job = {"property_id": PROPERTY, "target": "Scapanus latimanus", "opened_at": at(1)}
    await api.made(f"properties/{PROPERTY}/features/{LAWN}", lawn)
    await api.made(f"properties/{OTHER_FIELD}", a_property(name="Second field"))
    await api.made(f"jobs/{JOB}", job)
    return api


async def test_any_order_with_doublings_leaves_the_same_book(
    books: Pool,
    two: tuple[Api, Api],
    clock: Clock,
    clock_pool: Pool,
    owner: "asyncpg.Connection[asyncpg.Record]",
) -> None:
    client = two[0].client
    in_order = await a_book(books, client)
    for messages in season():
        for message in messages:
            await send(in_order, message)
    expected = await book_of(in_order, owner)
    states = {one["set_id"]: one["state"] for one in expected["set_state"]}
    assert states == {FIRST: "moved", MOVED: "pulled", THIRD: "standing", NOWHERE: "awaited"}
    assert {one["kind"] for one in expected["conflict"]} == {"check_after_end", "set_awaited"}
    assert {row[0] for row in expected["deadline"]} == {
        "check",
        "set_search",
        "run_look",
        "lawn",
        "lawn_cover",
        "lawn_followup",
    }
    covers = sorted(
        (one["set_id"], one["started_at"][:10]) for one in expected["lawn_patch"] if one["set_id"]
    )
    started = [(FIRST, 4), *((MOVED, day) for day in (5, 7, 11)), (THIRD, 4), (THIRD, 11)]
    assert covers == [(set_id, f"2026-05-{day:02}") for set_id, day in started]
    assert {one["repaired_at"] is None for one in expected["lawn_patch"]} == {True, False}
    facts, standing = await net_effect(in_order)
    assert standing == {THIRD}
    assert TAKEN_BACK not in facts
    for seed in range(12):
        dice = random.Random(seed)  # noqa: S311 - an order, not a secret
        clock.now = NOW
        api = await a_book(books, client)
        for message in shuffled(dice):
            await send(api, message)
            clock.now += timedelta(minutes=dice.randrange(30))
            await tick(clock_pool, clock.now)
        assert await book_of(api, owner) == expected, f"seed {seed}"
        assert await net_effect(api) == (facts, standing), f"seed {seed}"
