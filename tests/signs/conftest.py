"""A business with a property in Los Angeles, met over HTTP as a phone and the office meet it."""

from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

import asyncpg
import httpx
import pytest

from service.app import create_app
from service.identity.actions import add_business
from service.kernel.db import Pool, open_pool
from service.kernel.ids import new_id
from tests.bodies import an_id
from tests.http import PUBLIC_URL

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
LAWN, BED = an_id(5), an_id(6)
SQUARE = {"type": "Polygon", "coordinates": [[[-122, 45], [-121, 45], [-121, 46], [-122, 46], [-122, 45]]]}


@dataclass
class Book:
    """What a phone sends and the office reads."""

    api: httpx.AsyncClient
    owner: "asyncpg.Connection[asyncpg.Record]"
    tags: dict[int, str] = field(default_factory=dict)

    async def get(self, path: str, **query: Any) -> dict[str, Any]:
        """What is read there."""
        answer = await self.api.get(f"/v1/{path}", params=query)
        assert answer.status_code == 200, answer.text
        return dict(answer.json())

    async def put(self, path: str, body: dict[str, Any], **headers: str) -> dict[str, Any]:
        """Put a thing, new or amended."""
        answer = await self.api.put(f"/v1/{path}", json=body, headers=headers)
        assert answer.status_code in (200, 201), answer.text
        return dict(answer.json())

    async def visit(self, number: int, at: datetime, **lists: Any) -> dict[str, Any]:
        """A visit at the property, amended where it is known already."""
        body = {"property_id": an_id(1), "worker_id": an_id(2), "arrived_at": at.isoformat(), **lists}
        headers = {"If-Match": self.tags[number]} if number in self.tags else {}
        receipt = await self.put(f"visits/{an_id(number)}", body, **headers)
        self.tags[number] = receipt["etag"]
        return receipt

    async def withdraw(self, number: int) -> None:
        """A visit is taken back."""
        path, headers = f"/v1/visits/{an_id(number)}", {"If-Match": self.tags[number]}
        answer = await self.api.delete(path, headers=headers)
        assert answer.status_code == 200, answer.text
        self.tags[number] = answer.json()["etag"]

    async def rows(self, statement: str) -> list[dict[str, Any]]:
        """What a table holds, as its owner sees it."""
        return [dict(row) for row in await self.owner.fetch(statement)]


@pytest.fixture
async def book(database: str, pool: Pool, owner: "asyncpg.Connection[asyncpg.Record]") -> AsyncIterator[Book]:
    """The business, its worker, and the property with a lawn that is bounded and a bed that is not."""
    async with await open_pool(database, "migrator", 1) as migrator:
        _, made = await add_business(migrator, "Greenway Trapping", "America/Los_Angeles", NOW)
    app = create_app(pool, new_id(), bytes(32), PUBLIC_URL, now=lambda: NOW)
    headers = {"Authorization": f"Bearer {made.key}"}
    transport = httpx.ASGITransport(app)  # type: ignore[arg-type]
    async with httpx.AsyncClient(transport=transport, base_url="http://setbook", headers=headers) as api:
        kept = Book(api, owner)
        await kept.put(f"workers/{an_id(2)}", {"name": "R. Example"})
        place = {"name": "Lower field", "kind": "school", "zone": "America/Los_Angeles", "region": "US-CA"}
        await kept.put(f"properties/{an_id(1)}", place)
        lawn = {"name": "Front lawn", "kind": "lawn", "geometry": SQUARE}
        await kept.put(f"properties/{an_id(1)}/features/{LAWN}", lawn)
        await kept.put(f"properties/{an_id(1)}/features/{BED}", {"name": "Bed", "kind": "bed"})
        yield kept
