"""An endpoint that fails, as an integrator sees it over HTTP, and how a trial or a replay ends its waiting."""

from datetime import datetime, timedelta
from typing import Any

import pytest
from litestar import Litestar

from service.events import deliveries
from service.events.models import EndpointResumed
from service.events.outbox import entry
from service.events.rules import FAILURES_TO_OPEN, SHORTEST_OPEN
from service.kernel.ids import new_id
from tests.events.conftest import LOOPBACK, Receiver, deliver, fan_out, receiving, status
from tests.http import Api, Clock

NOW = datetime.fromisoformat("2026-05-14T10:00:00Z")
FAILED = [status(500)] * FAILURES_TO_OPEN


@pytest.fixture
def api(two: tuple[Api, Api], app: Litestar, clock: Clock, monkeypatch: pytest.MonkeyPatch) -> Api:
    """A business with nothing in its log, whose endpoints may lie on loopback."""
    monkeypatch.setitem(app.state, "reach", LOOPBACK)
    clock.now = NOW
    return two[0]


async def made(api: Api, receiver: Receiver) -> str:
    answer = await api.post("endpoints", {"url": receiver.url})
    assert answer.status_code == 201, answer.text
    return f"endpoints/{answer.json()['id']}"


async def tell(api: Api, pool, at: datetime, count: int = 1) -> None:
    async with entry(pool, api.business_id, at) as book:
        for _ in range(count):
            book.tell(EndpointResumed(endpoint_id=new_id()), new_id())


async def go(app: Litestar, courier, sessions, now: datetime) -> int:
    return len(await deliver(courier, sessions, now, sealing_key=app.state.sealing_key))


async def health(api: Api, path: str) -> dict[str, Any]:
    answer = await api.get(f"{path}/health")
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


async def test_an_endpoint_in_order_says_so(api: Api, app: Litestar, pool, courier, sessions) -> None:
    async with receiving() as receiver:
        path = await made(api, receiver)
        await tell(api, pool, NOW, 2)
        assert await health(api, path) == {
            "state": "active", "failures": 0, "behind": 2, "waiting": 0, "dead": 0,
        }  # fmt: skip
        await go(app, courier, sessions, NOW)
        assert await health(api, path) == {
            "state": "active", "failures": 0, "behind": 0, "waiting": 0, "dead": 0,
        }  # fmt: skip


async def test_what_fails_says_since_when_and_when_it_is_tried_next(
    api: Api, app: Litestar, pool, courier, sessions, owner, clock: Clock
) -> None:
    began = NOW - timedelta(minutes=3)
    async with receiving(*FAILED) as receiver:
        path = await made(api, receiver)
        await tell(api, pool, began)
        await tell(api, pool, NOW, FAILURES_TO_OPEN - 1)
        await go(app, courier, sessions, NOW)
        await owner.execute("update delivery set state = 'dead' where deliverynumber = 2")
        # the dice stand in the middle
        opens_at = NOW + SHORTEST_OPEN
        found = await health(api, path)
        assert {name: found[name] for name in ("failures", "waiting", "dead", "behind")} == {
            "failures": FAILURES_TO_OPEN, "waiting": FAILURES_TO_OPEN - 1, "dead": 1, "behind": 0,
        }  # fmt: skip
        moments = {
            name: datetime.fromisoformat(found[name])
            for name in ("failing_since", "waiting_since", "next_try_at")
        }
        assert moments == {"failing_since": NOW, "waiting_since": began, "next_try_at": opens_at}
        clock.now = opens_at
        assert "next_try_at" not in await health(api, path)


async def test_a_delivery_says_when_it_is_really_tried_next(
    api: Api, app: Litestar, pool, courier, sessions, owner
) -> None:
    async def due() -> str | None:
        (one,) = await api.items(f"{path}/deliveries?limit=1")
        shown = (await api.get(f"{path}/deliveries/{one['deliverynumber']}")).json()
        assert shown.get("due_at") == one.get("due_at")
        return one.get("due_at")

    async with receiving(*FAILED) as receiver:
        path = await made(api, receiver)
        await tell(api, pool, NOW)
        await fan_out(courier, NOW)
        assert datetime.fromisoformat(str(await due())) == NOW
        await deliveries.claim(courier, 10, now=NOW)
        assert await due() is None  # it is being sent
        await owner.execute("update delivery set in_air = false")
        open_until = NOW + timedelta(hours=2)
        await owner.execute("update endpoint set next_try_at = $1", open_until)
        assert datetime.fromisoformat(str(await due())) == open_until
        await owner.execute("update endpoint set state = 'paused'")
        assert await due() is None


@pytest.mark.parametrize("asked", ["test", "replay"])
async def test_whoever_tests_or_replays_waits_for_no_open_circuit(
    api: Api, app: Litestar, pool, courier, sessions, asked: str
) -> None:
    async with receiving(*FAILED) as receiver:
        path = await made(api, receiver)
        await tell(api, pool, NOW, FAILURES_TO_OPEN)
        await go(app, courier, sessions, NOW)
        await receiver.take(FAILURES_TO_OPEN)
        await tell(api, pool, NOW)
        assert await go(app, courier, sessions, NOW) == 0  # the circuit is open
        body = {"replay": {"deliverynumbers": ["1"]}, "test": None}[asked]
        assert (await api.post(f"{path}/{asked}", body)).status_code == 202
        # one goes through, and as it is taken all that is due follows
        assert await go(app, courier, sessions, NOW) == 1
        assert await go(app, courier, sessions, NOW) == 1
        await receiver.take(2)
    assert (await health(api, path))["failures"] == 0
