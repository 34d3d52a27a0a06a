"""Dead letters, replays and rotated keys, as an integrator meets them over HTTP."""

import base64
import json
from datetime import datetime, timedelta
from typing import Any

import pytest
from litestar import Litestar
from standardwebhooks.webhooks import Webhook, WebhookVerificationError

from service.events import actions, deliveries, delivery_routes, rules
from service.events.models import EndpointResumed
from service.events.outbox import entry
from service.events.signing import check_signed, public_key, secret_text
from service.kernel.ids import new_id
from service.kernel.now import utc_now
from tests.events.conftest import LOOPBACK, Received, Receiver, deliver, fan_out, receiving, status
from tests.http import Api, Clock, pointers

NOW = utc_now()
BEGAN = NOW - timedelta(hours=9)
OWN = secret_text(bytes(range(24)))


@pytest.fixture(autouse=True)
def begins_now(monkeypatch: pytest.MonkeyPatch) -> None:
    """A foreign receiver goes by the clock on the wall, and a test may begin long after it was collected."""
    now = utc_now()
    monkeypatch.setitem(globals(), "NOW", now)
    monkeypatch.setitem(globals(), "BEGAN", now - timedelta(hours=9))


@pytest.fixture
def api(two: tuple[Api, Api], app: Litestar, clock: Clock, monkeypatch: pytest.MonkeyPatch) -> Api:
    """A business with nothing in its log, whose endpoints may lie on loopback."""
    monkeypatch.setitem(app.state, "reach", LOOPBACK)
    clock.now = NOW
    return two[0]


async def made(api: Api, receiver: Receiver) -> dict[str, Any]:
    answer = await api.post("endpoints", {"url": receiver.url})
    assert answer.status_code == 201, answer.text
    return dict(answer.json())


async def tell(api: Api, pool, at: datetime) -> None:
    async with entry(pool, api.business_id, at) as book:
        book.tell(EndpointResumed(endpoint_id=new_id()), new_id())


async def go(app: Litestar, courier, sessions, now: datetime) -> None:
    await deliver(courier, sessions, now, sealing_key=app.state.sealing_key)


async def die(api: Api, one: dict[str, Any], owner) -> None:
    """What waits at the endpoint has used up its schedule, and the circuit is closed again."""
    await owner.execute("update delivery set state = 'dead', attempt = 10 where state = 'waiting'")
    await owner.execute("update endpoint set failures = 0, failing_since = null, next_try_at = null")


async def replayed(api: Api, one: dict[str, Any], body: Any) -> int:
    answer = await api.post(f"endpoints/{one['id']}/replay", body)
    assert answer.status_code == 202, answer.text
    return int(answer.json()["replayed"])


async def test_a_dead_letter_is_listed_shown_and_replayed_as_it_was(
    api: Api, app: Litestar, pool, courier, sessions, owner
) -> None:
    async with receiving(status(204), status(500)) as receiver:
        one = await made(api, receiver)
        for _ in range(2):
            await tell(api, pool, NOW)
        await go(app, courier, sessions, NOW)
        await die(api, one, owner)
        _, second = await receiver.take(2)

        (dead,) = await api.items(f"endpoints/{one['id']}/deliveries?state=dead")
        assert (dead["deliverynumber"], dead["state"], dead["last_status"]) == ("2", "dead", 500)
        (fine,) = await api.items(f"endpoints/{one['id']}/deliveries?state=delivered")
        assert fine["deliverynumber"] == "1"
        assert await api.items(f"endpoints/{one['id']}/deliveries?state=waiting") == []

        shown = (await api.get(f"endpoints/{one['id']}/deliveries/2")).json()
        assert shown["body"].encode() == second.body
        assert dead.items() <= shown.items()

        assert await replayed(api, one, {"all": True}) == 1
        await go(app, courier, sessions, NOW)
        (again,) = await receiver.take()
        assert again.body == second.body
        assert again.headers["webhook-id"] == second.headers["webhook-id"]
        (settled,) = await api.items(f"endpoints/{one['id']}/deliveries?state=delivered&limit=1")
        assert (settled["deliverynumber"], settled["attempt"]) == ("2", 11)
        assert receiver.arrived.empty()


async def test_the_receivers_answer_is_kept_even_where_it_is_no_text(
    api: Api, app: Litestar, pool, courier, sessions
) -> None:
    async def odd(_: Any) -> Any:
        from aiohttp import web  # noqa: PLC0415

        return web.Response(status=500, body=b"\xff\x00oops")

    async with receiving(odd) as receiver:
        one = await made(api, receiver)
        await tell(api, pool, NOW)
        await go(app, courier, sessions, NOW)
    shown = (await api.get(f"endpoints/{one['id']}/deliveries/1")).json()
    assert shown["last_answer"] == "\ufffd\x00oops"
    assert shown["last_duration_ms"] >= 0
    assert datetime.fromisoformat(shown["last_attempt_at"]) == NOW
    assert (await api.get(f"endpoints/{one['id']}/deliveries/2")).status_code == 404


async def test_a_receiver_that_would_compress_its_answer_is_asked_not_to(
    api: Api, app: Litestar, pool, courier, sessions
) -> None:
    async def willing(_: Any) -> Any:
        from aiohttp import web  # noqa: PLC0415

        answer = web.Response(status=500, text="Unknown customer. " * 100)
        answer.enable_compression()  # in what Accept-Encoding names, if anything
        return answer

    async with receiving(willing) as receiver:
        one = await made(api, receiver)
        await tell(api, pool, NOW)
        await go(app, courier, sessions, NOW)
    shown = (await api.get(f"endpoints/{one['id']}/deliveries/1")).json()
    assert shown["last_answer"] == "Unknown customer. " * 100


async def test_a_range_is_of_the_events_times_and_may_take_in_what_was_delivered(
    api: Api, app: Litestar, pool, courier, sessions, owner
) -> None:
    async with receiving() as receiver:
        one = await made(api, receiver)
        for hour in range(6):
            await tell(api, pool, BEGAN + timedelta(hours=hour))
        await go(app, courier, sessions, NOW)
        await receiver.take(6)
        await owner.execute("update delivery set state = 'dead' where deliverynumber % 2 = 0")

        async def numbers(body: dict[str, Any]) -> list[str]:
            count = await replayed(api, one, body)
            await go(app, courier, sessions, NOW)
            taken: list[Received] = await receiver.take(count)
            return sorted(json.loads(each.body)["deliverynumber"] for each in taken)

        def at(hour: int) -> str:
            return (BEGAN + timedelta(hours=hour)).isoformat()

        assert await numbers({"since": at(2), "until": at(5)}) == ["4"]
        assert await numbers({"since": at(2), "until": at(5), "delivered": True}) == ["3", "4", "5"]
        assert await numbers({"until": at(1), "delivered": True}) == ["1"]
        assert await numbers({"deliverynumbers": ["1", "6"]}) == ["1", "6"]
        assert await numbers({"all": True}) == ["2"]
        assert await numbers({"all": True, "delivered": True}) == list("123456")


async def test_a_replay_names_deliveries_by_their_events_too(
    api: Api, app: Litestar, pool, courier, sessions
) -> None:
    async with receiving() as receiver, receiving() as other:
        one = await made(api, receiver)
        for _ in range(4):
            await tell(api, pool, NOW)
        two = await made(api, other)
        await go(app, courier, sessions, NOW)
        sent = {each.headers["webhook-id"]: each.body for each in await receiver.take(4)}
        wanted = [list(sent)[place] for place in (3, 1)]
        assert await replayed(api, one, {"event_ids": wanted}) == 2
        await go(app, courier, sessions, NOW)
        again = {each.headers["webhook-id"]: each.body for each in await receiver.take(2)}
    assert again == {id_: sent[id_] for id_ in wanted}
    # the other endpoint was never sent them
    answer = await api.post(f"endpoints/{two['id']}/replay", {"event_ids": [wanted[0], str(new_id())]})
    assert answer.status_code == 422
    assert [place for place, _ in pointers(answer)] == ["#/event_ids/0", "#/event_ids/1"]
    assert f"This endpoint has no delivery of event {wanted[0]}." in answer.text


async def test_a_long_replay_is_done_in_portions_each_delivery_once(
    api: Api, app: Litestar, pool, courier, sessions, owner, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What a portion has set going may be delivered again before the last portion; it is not taken a second time."""
    monkeypatch.setattr(delivery_routes, "MOST_AT_ONCE", 2)
    async with receiving() as receiver:
        one = await made(api, receiver)
        for _ in range(6):
            await tell(api, pool, NOW)
        await go(app, courier, sessions, NOW)
        await owner.execute("update delivery set state = 'dead' where deliverynumber in (2, 3)")
        assert await replayed(api, one, {"all": True}) == 2
        assert await replayed(api, one, {"all": True, "delivered": True}) == 4
        await go(app, courier, sessions, NOW)
        assert await replayed(api, one, {"all": True, "delivered": True}) == 6
    fences = await owner.fetch("select fence from delivery order by deliverynumber")
    # claimed and settled twice, and replayed twice
    assert [row["fence"] for row in fences] == [6] * 6


ONE_WAY = "Say in one way what to replay"


@pytest.mark.parametrize(
    ("body", "pointer", "word"),
    [
        ({}, "#", ONE_WAY),
        ({"all": False}, "#", ONE_WAY),
        ({"delivered": True}, "#", ONE_WAY),
        ({"all": True, "deliverynumbers": ["1"]}, "#", ONE_WAY),
        ({"all": True, "since": "2026-05-14T00:00:00Z"}, "#", ONE_WAY),
        ({"all": True, "event_ids": [str(new_id())]}, "#", ONE_WAY),
        ({"event_ids": [str(new_id())], "deliverynumbers": ["1"]}, "#", ONE_WAY),
        ({"event_ids": [str(new_id())]}, "#/event_ids/0", "This endpoint has no delivery of event "),
        ({"event_ids": ["x"]}, "#/event_ids/0", "event_ids"),
        ({"event_ids": [str(new_id())], "delivered": True}, "#/delivered", "leave delivered out"),
        ({"deliverynumbers": ["9"]}, "#/deliverynumbers/0", "This endpoint has no delivery 9."),
        ({"deliverynumbers": ["x"]}, "#/deliverynumbers/0", "deliverynumber"),
        ({"deliverynumbers": ["1"], "delivered": True}, "#/delivered", "leave delivered out"),
        (
            {"since": "2026-05-14T00:00:00Z", "until": "2026-05-14T00:00:00Z"},
            "#/until",
            "since must lie before until",
        ),
    ],
)
async def test_a_replay_that_cannot_be_meant_is_refused(api: Api, body, pointer: str, word: str) -> None:
    async with receiving() as receiver:
        one = await made(api, receiver)
    answer = await api.post(f"endpoints/{one['id']}/replay", body)
    assert answer.status_code == 422, answer.text
    assert [place for place, _ in pointers(answer)] == [pointer]
    assert word in answer.json()["detail"]


@pytest.mark.parametrize(
    ("body", "word"),
    [
        ({"all": True}, "this endpoint has no dead delivery; with delivered true"),
        ({"all": True, "delivered": True}, "this endpoint has no dead or delivered delivery."),
        ({"since": "2026-05-14T00:00:00Z"}, "no dead delivery of an event in that range"),
    ],
)
async def test_a_replay_of_nothing_is_told(api: Api, body, word: str) -> None:
    async with receiving() as receiver:
        one = await made(api, receiver)
    answer = await api.post(f"endpoints/{one['id']}/replay", body)
    assert answer.status_code == 409
    assert answer.json()["detail"].startswith("Nothing to replay: ")
    assert word in answer.json()["detail"]


async def test_what_is_in_the_air_is_not_doubled_by_a_replay_or_a_resumption(
    api: Api, app: Litestar, pool, courier
) -> None:
    async with receiving() as receiver:
        one = await made(api, receiver)
        await tell(api, pool, NOW)
        await fan_out(courier, NOW)
        (flying,) = await deliveries.claim(courier, 10, now=NOW)
        answer = await api.post(f"endpoints/{one['id']}/replay", {"deliverynumbers": ["1"]})
        assert (answer.status_code, "being sent at this moment" in answer.text) == (409, True)
        for tag, state in (("1", "paused"), ("2", "active")):
            path = f"endpoints/{one['id']}"
            assert (await api.patch(path, {"state": state}, If_Match=f'"{tag}"')).status_code == 200
        assert await deliveries.claim(courier, 10, now=NOW) == []
        good = rules.Outcome(status=204, sent_at=NOW, duration_ms=1)
        attempted = deliveries.Attempted(flying, good, rules.Delivered())
        assert len(await deliveries.settle(courier, [attempted], lambda: 0.5, NOW)) == 1


async def test_a_resumed_endpoint_gets_what_waited_at_once(
    api: Api, app: Litestar, pool, courier, sessions, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(actions, "MOST_AT_ONCE", 2)
    async with receiving(*[status(503)] * 6) as receiver:
        one = await made(api, receiver)
        for _ in range(6):
            await tell(api, pool, NOW)
        await go(app, courier, sessions, NOW)
        await receiver.take(6)
        path = f"endpoints/{one['id']}"
        await api.patch(path, {"state": "paused"}, If_Match='"1"')
        waiting = await api.items(f"{path}/deliveries?state=waiting")
        await api.patch(path, {"state": "active"}, If_Match='"2"')
        await go(app, courier, sessions, NOW)
        # the six, and what was told of the pause and the resumption
        numbers = [json.loads(each.body)["deliverynumber"] for each in await receiver.take(8)]
    assert len(waiting) == 6
    assert sorted(numbers) == list("12345678")


async def test_while_keys_rotate_both_verify_and_then_the_new_ones_alone(
    api: Api, app: Litestar, pool, courier, sessions, clock: Clock
) -> None:
    async with receiving() as receiver:
        one = await made(api, receiver)

        async def sent_at(now: datetime) -> Received:
            await tell(api, pool, now)
            await go(app, courier, sessions, now)
            (received,) = await receiver.take()
            return received

        answer = await api.post(f"endpoints/{one['id']}/rotate", {"secret": OWN, "overlap_hours": 1})
        assert answer.status_code == 200, answer.text
        new = answer.json()
        assert new["secret"] == OWN
        assert datetime.fromisoformat(new["old_until_at"]) == NOW + timedelta(hours=1)
        read = await api.get(f"endpoints/{one['id']}")
        assert (read.json()["public_key"], read.headers["etag"]) == (new["public_key"], '"2"')
        assert new["public_key"] != one["public_key"]

        received = await sent_at(NOW)
        schemes = [each.partition(",")[0] for each in received.headers["webhook-signature"].split(" ")]
        assert sorted(schemes) == ["v1", "v1", "v1a", "v1a"]
        for secret in (one["secret"], OWN):
            Webhook(secret).verify(received.body, received.headers)
        for public in (one["public_key"], new["public_key"]):
            check_signed(public_key(public), received.headers, received.body, NOW)

        late = NOW + timedelta(hours=1)
        received = await sent_at(late)
        assert len(received.headers["webhook-signature"].split(" ")) == 2
        check_signed(public_key(new["public_key"]), received.headers, received.body, late)
        with pytest.raises(WebhookVerificationError):
            Webhook(one["secret"]).verify(received.body, received.headers)


async def test_a_secret_that_signs_already_is_no_rotation(api: Api, clock: Clock) -> None:
    async with receiving() as receiver:
        one = await made(api, receiver)
    path = f"endpoints/{one['id']}/rotate"
    assert (await api.post(path, {"secret": OWN, "overlap_hours": 1})).status_code == 200
    for secret in (OWN, one["secret"]):
        answer = await api.post(path, {"secret": secret})
        assert answer.status_code == 409
        assert answer.json()["detail"].startswith("This secret signs for the endpoint already; bring another")
    # once it has ended it may come back
    clock.now = NOW + timedelta(hours=2)
    assert (await api.post(path, {"secret": one["secret"]})).status_code == 200


async def test_keys_that_have_ended_are_taken_out_at_the_next_rotation(api: Api, owner, clock: Clock) -> None:
    async with receiving() as receiver:
        one = await made(api, receiver)
    count = "select count(*) from endpoint_key"
    for hours, kept in ((0, 2 + 2), (2, 2 + 2 + 2), (3, 2 + 2 + 2), (200, 2 + 2)):
        clock.now = NOW + timedelta(hours=hours)
        answer = await api.post(f"endpoints/{one['id']}/rotate", {"overlap_hours": 3})
        assert answer.status_code == 200, answer.text
        assert await owner.fetchval(count) == kept


async def test_keys_are_made_where_none_is_brought_and_the_old_ones_can_end_at_once(
    api: Api, app: Litestar, pool, courier, sessions
) -> None:
    async with receiving() as receiver:
        one = await made(api, receiver)
        secrets = [one["secret"]]
        for _ in range(3):
            answer = await api.post(f"endpoints/{one['id']}/rotate", {})
            secrets.append(answer.json()["secret"])
            assert datetime.fromisoformat(answer.json()["old_until_at"]) == NOW + timedelta(hours=24)
        refused = await api.post(f"endpoints/{one['id']}/rotate", {})
        assert refused.status_code == 409
        assert "4 secrets sign for this endpoint already" in refused.json()["detail"]
        last = (await api.post(f"endpoints/{one['id']}/rotate", {"overlap_hours": 0})).json()
        await tell(api, pool, NOW)
        await go(app, courier, sessions, NOW)
        (received,) = await receiver.take()
    assert len(set(secrets)) == 4
    assert len(received.headers["webhook-signature"].split(" ")) == 2
    Webhook(last["secret"]).verify(received.body, received.headers)


@pytest.mark.parametrize(
    ("body", "pointer", "word"),
    [
        ({"secret": "whsec_" + base64.b64encode(bytes(23)).decode()}, "#/secret", "24 to 64 bytes; this one has 23"),
        ({"secret": "whsec_" + base64.b64encode(bytes(65)).decode()}, "#/secret", "24 to 64 bytes; this one has 65"),
        ({"secret": "MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"}, "#/secret", "begins with whsec_"),
        ({"overlap_hours": -1}, "#/overlap_hours", "overlap_hours"),
        ({"overlap_hours": 169}, "#/overlap_hours", "overlap_hours"),
    ],
)  # fmt: skip
async def test_keys_that_cannot_sign_are_refused(api: Api, body, pointer: str, word: str) -> None:
    async with receiving() as receiver:
        one = await made(api, receiver)
    answer = await api.post(f"endpoints/{one['id']}/rotate", body)
    assert answer.status_code == 422
    assert [place for place, _ in pointers(answer)] == [pointer]
    assert word in answer.json()["detail"]
    assert (await api.get(f"endpoints/{one['id']}")).json()["public_key"] == one["public_key"]
