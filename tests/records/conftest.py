"""A business with two workers, a customer and a property in Los Angeles, kept through the slices' doors."""

from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any
from uuid import UUID

import asyncpg
import msgspec
import pytest

from service.customers.door import CUSTOMER
from service.customers.models import NewCustomer
from service.events.outbox import entry
from service.identity.door import WORKER
from service.identity.models import NewWorker
from service.kernel.db import Db
from service.kernel.sql import Queries
from service.keys.rules import Caller
from service.properties.door import PROPERTY, TENURE
from service.properties.models import NewProperty, NewTenure
from service.records.actions import issue
from service.records.facts import Issued
from service.records.ticks import handlers
from service.stated import door as stated
from service.visits.actions import record, withdraw
from service.visits.models import Receipt
from service.work import ticks as work
from tests.http import SEALING_KEY
from tests.records.book import an_id, la

identity = Queries("service.identity")
BUSINESS, KEY, CUSTOMER_ID, PROPERTY_ID, WORKER_ID, MATE_ID = (an_id(number) for number in range(1, 7))
NOW = datetime(2026, 5, 20, 12, tzinfo=UTC)


@dataclass
class Book:
    """One business as its writers see it."""

    pool: "asyncpg.Pool[asyncpg.Record]"
    clock: "asyncpg.Pool[asyncpg.Record]"
    owner: "asyncpg.Connection[asyncpg.Record]"

    async def visit(
        self,
        number: int,
        arrived_at: datetime,
        minutes: int,
        now: datetime = NOW,
        if_match: str | None = None,
        **more: Any,
    ) -> Receipt:
        """A visit at the property, as a phone puts it."""
        body = {
            "property_id": PROPERTY_ID,
            "worker_id": WORKER_ID,
            "arrived_at": arrived_at,
            "left_at": datetime.fromtimestamp(arrived_at.timestamp() + minutes * 60, UTC),
            **more,
        }
        caller = Caller(BUSINESS, KEY, None, ["record"])
        return await record(self.pool, caller, now, msgspec.json.encode(body), an_id(number), if_match)

    async def withdraw(self, number: int, now: datetime = NOW) -> None:
        """Take a visit back."""
        caller = Caller(BUSINESS, KEY, None, ["record"])
        async with entry(self.pool, BUSINESS, now, KEY) as opened:
            await withdraw(opened, caller, an_id(number), "*", "sent by mistake")

    async def issue(self, number: int, now: datetime = NOW) -> Issued | None:
        """The record of a visit, as the office asks for it."""
        async with entry(self.pool, BUSINESS, now, KEY) as opened:
            return await issue(opened, SEALING_KEY, an_id(number))

    async def work(self, now: datetime = NOW) -> int:
        """What the clock does at that instant."""
        return await work.run(self.clock, self.pool, now, handlers(SEALING_KEY))

    async def set_up(self, **settings: Any) -> None:
        """Change settings of the business."""
        for name, value in settings.items():
            await self.owner.execute(f"update business set {name} = $1", value)  # noqa: S608 names of columns

    async def rows(self, statement: str, *values: object) -> list[dict[str, Any]]:
        """What a table holds, as its owner sees it."""
        return [dict(row) for row in await self.owner.fetch(statement, *values)]

    async def versions(self) -> list[tuple[str, int, int]]:
        """(number, version, number of the visit) of all records of visits in the order of the log."""
        rows = await self.rows(
            "select number, version, visit_id from service_record where visit_id is not null order by sequence"
        )
        return [(row["number"], row["version"], UUID(str(row["visit_id"])).int & 0xFFFF) for row in rows]

    async def latest(self, number: int) -> dict[str, Any]:
        """The latest bytes of a visit's record, read."""
        row = await self.owner.fetchrow(
            "select bytes from service_record where visit_id = $1 order by version desc limit 1",
            an_id(number),
        )
        assert row is not None
        return dict(msgspec.json.decode(row["bytes"]))


@pytest.fixture
async def book(
    pool: "asyncpg.Pool[asyncpg.Record]",
    clock_pool: "asyncpg.Pool[asyncpg.Record]",
    owner: "asyncpg.Connection[asyncpg.Record]",
) -> Book:
    """That business, which issues by the office alone until a test sets it otherwise."""
    await Db(owner).run(
        identity.insert_business, id=BUSINESS, name="Greenway Trapping", zone="America/Los_Angeles", now=NOW
    )
    await Db(owner).run(identity.insert_counter, id=BUSINESS)
    async with entry(pool, BUSINESS, NOW) as opened:
        await stated.put(opened, WORKER, WORKER_ID, NewWorker(name="R. Example"), None)
        await stated.put(opened, WORKER, MATE_ID, NewWorker(name="T. Sample"), None)
        holder = NewCustomer(name="Alder Court School", ref="C-104", addresses=["12 Sample Row"])
        await stated.put(opened, CUSTOMER, CUSTOMER_ID, holder, None)
        place = NewProperty(
            name="Lower field", ref="P-7", kind="school", zone="America/Los_Angeles", region="US-CA"
        )
        await stated.put(opened, PROPERTY, PROPERTY_ID, place, None)
        held = NewTenure(customer_id=CUSTOMER_ID, from_on=date(2026, 1, 1), until_on=date(2026, 5, 12))
        await stated.put(opened, TENURE, an_id(8), held, None, PROPERTY_ID)
    return Book(pool, clock_pool, owner)


def castor_oil(**more: Any) -> dict[str, Any]:
    """Put down by the customer on 5 May, at noon there."""
    return {
        "id": an_id(900),
        "method": "castor_oil",
        "applied_at": la(5, 12),
        "applied_by": "customer",
        **more,
    }
