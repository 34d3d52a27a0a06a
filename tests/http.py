"""A business met over HTTP: a clock that a test sets, a client without a network, and the first nouns."""

from collections.abc import AsyncIterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

import httpx

from tests.bodies import an_id

PROPERTY, WORKER, VISIT = an_id(1), an_id(2), an_id(3)
LOS_ANGELES = "America/Los_Angeles"
SEALING_KEY = bytes(range(32))
PUBLIC_URL = "https://setbook.test"


@dataclass
class Clock:
    """Stands still until a test sets it."""

    now: datetime

    def __call__(self) -> datetime:
        """What the app is given as now."""
        return self.now


@dataclass
class Api:
    """One business as whoever holds this key meets it."""

    business_id: UUID
    key: str
    client: httpx.AsyncClient

    async def send(self, method: str, path: str, body: Any = None, **headers: str) -> httpx.Response:
        """A request; `If_Match="..."` is a header. Nothing may ever be our fault."""
        sent = {"Authorization": f"Bearer {self.key}"} if self.key else {}
        sent |= {name.replace("_", "-"): value for name, value in headers.items()}
        content = {} if body is None else {"content" if is_raw(body) else "json": body}
        path = path if path.startswith("/") else f"/v1/{path}"
        answer = await self.client.request(method, path, headers=sent, **content)
        assert answer.status_code != 500, f"{method} {path}: {answer.text}"
        return answer

    async def get(self, path: str, **headers: str) -> httpx.Response:
        """Read."""
        return await self.send("GET", path, **headers)

    async def put(self, path: str, body: Any, **headers: str) -> httpx.Response:
        """Create under an id of one's own, or amend."""
        return await self.send("PUT", path, body, **headers)

    async def post(self, path: str, body: Any = None, **headers: str) -> httpx.Response:
        """Add, or do."""
        return await self.send("POST", path, body, **headers)

    async def patch(self, path: str, body: Any, **headers: str) -> httpx.Response:
        """Amend by a merge patch."""
        return await self.send("PATCH", path, body, **headers)

    async def delete(self, path: str, **headers: str) -> httpx.Response:
        """Withdraw."""
        return await self.send("DELETE", path, **headers)

    async def made(self, path: str, body: Any) -> Any:
        """What a PUT of something new answers."""
        answer = await self.put(path, body)
        assert answer.status_code == 201, answer.text
        return answer.json()

    async def items(self, path: str) -> list[Any]:
        """The rows of a list's first page."""
        answer = await self.get(path)
        assert answer.status_code == 200, answer.text
        return list(answer.json()["items"])

    async def told(self, *types: str) -> list[dict[str, Any]]:
        """Events in the order of the log, of those types or all."""
        query = f"&types={','.join(types)}" if types else ""
        answer = await self.get(f"events?limit=500{query}")
        assert answer.status_code == 200, answer.text
        return list(answer.json()["events"])

    def holding(self, key: str) -> "Api":
        """The same business with another key; an empty one for none."""
        return Api(self.business_id, key, self.client)

    async def key_with(self, *scopes: str, **more: Any) -> "Api":
        """A further key of the business."""
        answer = await self.post("api-keys", {"name": "one more", "scopes": list(scopes), **more})
        assert answer.status_code == 201, answer.text
        return self.holding(answer.json()["key"])


def is_raw(body: Any) -> bool:
    """Bytes, or pieces of them as they come; all else is sent as JSON."""
    return isinstance(body, bytes | AsyncIterator)


def pointers(answer: httpx.Response) -> list[tuple[str, str]]:
    """Where the faults of a refusal are, and of which kind."""
    return [(fault["pointer"], fault["code"]) for fault in answer.json().get("errors", [])]


def codes(answer: httpx.Response) -> list[str]:
    """Of which kinds the warnings are."""
    return [warning["code"] for warning in answer.json()["warnings"]]


def a_property(**members: Any) -> dict[str, Any]:
    """A school in Los Angeles' zone, in a state whose law on looks no shipped pack holds."""
    return {"name": "Alder Court", "kind": "school", "zone": LOS_ANGELES, "region": "US-ID", **members}


async def furnish(api: Api) -> Api:
    """The property and the worker that every visit of tests/bodies.py names."""
    await api.made(f"properties/{PROPERTY}", a_property())
    await api.made(f"workers/{WORKER}", {"name": "R. Example"})
    return api
