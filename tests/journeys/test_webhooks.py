"""A receiver generated from the `webhooks` of /openapi.json takes every event of the demo, posted by a real courier."""

import asyncio
import json
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass
from typing import Any

import httpx
import pytest
from aiohttp import web
from jsonschema import Draft202012Validator, ValidationError

from service.events.actions import add
from service.events.models import NewEndpoint
from service.events.outbox import entry
from service.kernel.db import open_pool
from service.kernel.now import random_bytes, utc_now
from tests.events.conftest import running
from tests.http import SEALING_KEY
from tests.journeys.conftest import Demo

pytestmark = pytest.mark.asyncio(loop_scope="module")
PATIENCE_SECONDS = 120


@dataclass(frozen=True)
class Operation:
    """One webhook of the document, as a generator of servers reads it."""

    headers: dict[str, Draft202012Validator]
    bodies: dict[str, Draft202012Validator]

    def check(self, headers: Mapping[str, str], body: Any) -> None:
        """ValidationError, or KeyError for a header or media type that the document does not have."""
        for name, validator in self.headers.items():
            validator.validate(headers[name.lower()])
        self.bodies[headers["content-type"].partition(";")[0]].validate(body)


def generated(document: dict[str, Any]) -> dict[str, Operation]:
    """Every webhook's name with its operation; nothing is known of it but the document."""

    def validator(schema: dict[str, Any]) -> Draft202012Validator:
        whole = {**schema, "components": document["components"]}
        return Draft202012Validator(whole, format_checker=Draft202012Validator.FORMAT_CHECKER)

    return {
        name: Operation(
            {
                one["name"]: validator(one["schema"])
                for one in item["post"]["parameters"]
                if one["in"] == "header" and one["required"]
            },
            {media: validator(of["schema"]) for media, of in item["post"]["requestBody"]["content"].items()},
        )
        for name, item in document["webhooks"].items()
    }


@asynccontextmanager
async def serving(
    operations: dict[str, Operation], taken: "asyncio.Queue[Any]", refused: list[str]
) -> AsyncIterator[str]:
    """A server of these operations: 204 for what one of them takes, else 400; yields its URL."""

    async def receive(request: web.Request) -> web.Response:
        headers = {name.lower(): value for name, value in request.headers.items()}
        event = await request.json()
        try:
            operations[event["type"]].check(headers, event)
        except (ValidationError, KeyError) as wrong:
            refused.append(f"{event.get('type')}: {wrong}")
            return web.Response(status=400)
        taken.put_nowait(event)
        return web.Response(status=204)

    app = web.Application()
    app.router.add_post("/", receive)
    runner = web.AppRunner(app, shutdown_timeout=0.1)
    await runner.setup()
    await web.TCPSite(runner, "127.0.0.1", 0).start()
    try:
        yield f"http://127.0.0.1:{runner.addresses[0][1]}/"
    finally:
        await runner.cleanup()


async def test_a_receiver_generated_from_the_document_takes_every_event_of_the_demo(demo: Demo) -> None:
    operations = generated((await demo.api.get("/openapi.json")).json())
    taken: asyncio.Queue[Any] = asyncio.Queue()
    refused: list[str] = []
    async with serving(operations, taken, refused) as url, open_pool_of_courier(demo) as courier:
        async with entry(demo.pool, demo.api.business_id, utc_now()) as book:
            made = await add(book, NewEndpoint(url=url), random_bytes(32), SEALING_KEY)
        # an endpoint gets what is told from now on; this one is to get all
        await courier.execute("update endpoint set fanned_out_sequence = 0 where id = $1", made.id)
        events: dict[str, Any] = {}
        async with running(courier), asyncio.timeout(PATIENCE_SECONDS):
            # one whose answer was late comes again, and is the same
            while len(events) < len(demo.log):
                event = await taken.get()
                assert events.setdefault(event["id"], event) == event
    assert refused == []
    told = sorted(events.values(), key=numbered)
    assert [int(one.pop("deliverynumber")) for one in told] == list(range(1, len(demo.log) + 1))
    assert told == demo.log


def numbered(event: Any) -> str:
    """Its place in the log."""
    return str(event["sequence"])


@asynccontextmanager
async def open_pool_of_courier(demo: Demo) -> AsyncIterator[Any]:
    """Connections that work as the courier does, on the demo's database."""
    async with await open_pool(demo.url, "courier", 4) as pool:
        yield pool


async def test_a_receiver_generated_from_the_document_refuses_what_it_does_not_describe(demo: Demo) -> None:
    document = (await demo.api.get("/openapi.json")).json()
    (example, *_) = document["webhooks"]["check.overdue"]["post"]["requestBody"]["content"].values()
    event = example["examples"]["plain"]["value"]
    headers = {"Content-Type": "application/cloudevents+json; charset=UTF-8"}
    headers |= {f"webhook-{name}": "1" for name in ("id", "timestamp", "signature")}
    taken: asyncio.Queue[Any] = asyncio.Queue()
    refused: list[str] = []
    async with (
        serving(generated(document), taken, refused) as url,
        httpx.AsyncClient(trust_env=False, timeout=PATIENCE_SECONDS) as client,
    ):

        async def status(body: Any, of: dict[str, str] = headers) -> int:
            return (await client.post(url, content=json.dumps(body), headers=of)).status_code

        assert await status(event) == 204
        assert await status(event | {"type": "check.forgotten"}) == 400
        assert await status(event | {"data": event["data"] | {"set_id": 7}}) == 400
        assert await status({name: value for name, value in event.items() if name != "sequence"}) == 400
        assert await status(event, {"Content-Type": headers["Content-Type"]}) == 400
        assert await status(event, headers | {"Content-Type": "application/json"}) == 400
