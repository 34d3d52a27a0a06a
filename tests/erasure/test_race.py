"""A customer is erased while visits arrive, are amended and refused, and records are issued: whoever comes first."""

import asyncio
import json
import random
import sys
from asyncio.subprocess import PIPE, Process
from collections.abc import AsyncIterator, Awaitable, Callable
from datetime import timedelta
from hashlib import sha256
from itertools import count
from typing import Any

import asyncpg
import pytest

from service.work import ticks as work
from tests.bodies import a_sign, a_visit, an_id
from tests.books import HANDLERS, gaps, run_to
from tests.erasure.spoken import WORD, tables_with, verified
from tests.http import Api, Clock, a_property, codes

Owner = asyncpg.Connection
Task = Callable[[], Awaitable[Any]]
ROUNDS = 24
DAY = "2026-05-14T10:00:00-07:00"


@pytest.fixture
async def eraser(database: str, api: Api) -> AsyncIterator[Process]:
    """A second process of the same book: it waits for its turn in the database, not in a queue of ours."""
    command = ("-m", "tests.erasure.eraser", database, str(api.business_id))
    process = await asyncio.create_subprocess_exec(sys.executable, *command, stdin=PIPE, stdout=PIPE)
    try:
        assert process.stdout is not None
        assert await process.stdout.readline() == b"ready\n"
        yield process
    finally:
        if process.returncode is None:
            process.kill()
        await process.wait()


class Round:
    """One customer with a home of their own, a visit that has a record, and all that happens at once."""

    def __init__(self, api: Api, number: int) -> None:
        """Ids are told apart by the number of the round."""
        self.api, self.ids = api, (an_id(0x10000 + number * 0x100 + place) for place in count())
        self.customer, self.home, self.known, self.new = (next(self.ids) for _ in range(4))
        self.warned: list[bool] = []

    def body(self, **members: Any) -> dict[str, Any]:
        """A visit in whose texts the word stands."""
        texts = {"notes": f"{WORD} at home", "customer_note": f"Dear {WORD}"}
        told = [{"id": next(self.ids), "who": WORD, "how": WORD, "at": DAY, "what": "cautions"}]
        signs = [a_sign(id=next(self.ids), told_by=WORD)]
        return a_visit(property_id=self.home, arrived_at=DAY, told=told, signs=signs, **texts, **members)

    async def begin(self) -> None:
        """What is there before."""
        await self.api.made(f"properties/{self.home}", a_property(name=f"{WORD}'s", address=WORD))
        await self.api.made(f"customers/{self.customer}", {"name": WORD, "email": f"{WORD}@example.org"})
        tenure = {"customer_id": self.customer, "from_on": "2026-01-01"}
        await self.api.made(f"properties/{self.home}/tenures/{next(self.ids)}", tenure)
        await self.api.made(f"visits/{self.known}", self.body())
        await self.issue(visit_id=self.known)

    async def issue(self, **what: str) -> None:
        """The office issues a record, or finds that it is as it was."""
        answer = await self.api.post("service-records", what)
        assert answer.status_code in (200, 201), answer.text

    async def arrive(self) -> None:
        """A visit, and its record."""
        answer = await self.api.put(f"visits/{self.new}", self.body())
        assert answer.status_code == 201, answer.text
        self.warned.append("texts_not_kept" in codes(answer))
        await self.issue(visit_id=self.new)

    async def amend(self) -> None:
        """The visit that is known, once more."""
        body = self.body(amend_reason=f"{WORD} called")
        answer = await self.api.put(f"visits/{self.known}", body, If_Match='"1"')
        assert answer.status_code == 200, answer.text

    async def fail(self, status: int, id_: str, **members: Any) -> None:
        """A body that is refused."""
        answer = await self.api.put(f"visits/{id_}", self.body(**members))
        assert answer.status_code == status, answer.text

    def tasks(self) -> list[Task]:
        """All that happens at once."""
        return [
            self.arrive,
            self.amend,
            lambda: self.fail(428, self.known, no_access_reason=WORD),
            lambda: self.fail(422, next(self.ids), custmer_note=WORD),
            lambda: self.issue(visit_id=self.known),
            lambda: self.issue(property_id=self.home, month="2026-04"),
        ]


def ask(eraser: Process, customer: str) -> None:
    """The eraser hears of it."""
    assert eraser.stdin is not None
    eraser.stdin.write(f"{customer}\n".encode())


async def erased(eraser: Process, customer: str) -> None:
    """It is committed."""
    assert eraser.stdout is not None
    assert (await eraser.stdout.readline()).decode().strip() == customer


async def race(tasks: list[Task], eraser: Process, customer: str, after: int) -> None:
    """Everything at once; the eraser hears of it when so many are through."""
    through = 0

    async def one(task: Task) -> None:
        nonlocal through
        await task()
        through += 1
        if through == after:
            ask(eraser, customer)

    if after == 0:
        ask(eraser, customer)
    await asyncio.gather(*(one(task) for task in tasks))
    await erased(eraser, customer)


async def test_whoever_comes_first_no_word_stays_and_every_record_verifies(
    api: Api, owner: "Owner[Any]", eraser: Process, clock: Clock, clock_pool: Any, pool: Any
) -> None:
    orders = random.Random(5)  # noqa: S311 - replayable
    warned = []
    for number in range(ROUNDS):
        one = Round(api, number)
        await one.begin()
        tasks = [*one.tasks(), lambda: work.run(clock_pool, pool, clock.now + timedelta(hours=2), HANDLERS)]
        orders.shuffle(tasks)
        if number == 0:
            # once at least everything comes after it, as in another round it comes before
            ask(eraser, one.customer)
            await erased(eraser, one.customer)
            await asyncio.gather(*(task() for task in tasks))
        else:
            await race(tasks, eraser, one.customer, number % (len(tasks) + 1))
        warned += one.warned
        assert await tables_with(owner, WORD) == set(), number
    assert {*warned} == {True, False}, "visits came before and after"
    clock.now += timedelta(hours=4)
    await run_to(clock_pool, pool, clock.now)
    assert await tables_with(owner, WORD) == set()
    assert await gaps(owner, api.business_id) == []
    names = [
        row["name"]
        for row in await owner.fetch("select number || '.' || version as name from service_record order by 1")
    ]
    assert len(names) >= 3 * ROUNDS
    for name in names:
        shown = await verified(api, name)
        party = shown["party"]
        assert (party is None) is ("erased" in shown)
        if party is not None:
            assert party["customer_name"] == "erased"
            form = json.dumps(party, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
            assert sha256(form.encode()).hexdigest() == shown["record"]["party_hash"]
