"""The courier against real receivers on loopback; hours and days are pretended by handing in `now`."""

import asyncio
import json
from collections.abc import Awaitable, Callable, Sequence
from datetime import timedelta
from uuid import UUID

import pytest
from aiohttp import web
from standardwebhooks.webhooks import Webhook

from service.events import deliveries, lanes, rules, ticks
from service.events.deliveries import Attempted, Held, claim, settle
from service.events.outbox import entry
from service.events.signer import signing
from service.kernel.now import utc_now
from tests.events.conftest import (
    SEALING_KEY,
    Book,
    attempt_all,
    deliver,
    fan_out,
    receiving,
    running,
    status,
)
from tests.http import PUBLIC_URL
from tests.processes import PATIENCE_SECONDS

NOW = utc_now()


@pytest.fixture(autouse=True)
def begins_now(monkeypatch: pytest.MonkeyPatch) -> None:
    """A foreign receiver goes by the clock on the wall, and a test may begin long after it was collected."""
    monkeypatch.setitem(globals(), "NOW", utc_now())


async def test_an_event_is_delivered_signed_and_settled(book: Book, courier, sessions):
    async with receiving() as receiver:
        endpoint_id, secret = await book.add_endpoint(receiver.url)
        (event_id,) = await book.tell(NOW)
        await deliver(courier, sessions, NOW)
        (received,) = await receiver.take()

    event = Webhook(secret).verify(received.body, received.headers)
    assert event["id"] == received.headers["webhook-id"] == str(event_id)
    assert event["deliverynumber"] == "1"
    assert received.headers["content-type"] == "application/cloudevents+json; charset=UTF-8"
    (kept,) = await book.deliveries(endpoint_id)
    assert (kept.state, kept.attempt, kept.last_status, kept.last_error) == ("delivered", 1, 204, None)
    assert kept.delivered_at == NOW


async def test_a_failure_is_tried_again_with_the_same_body_and_a_new_timestamp(book: Book, courier, sessions):
    async with receiving(status(500)) as receiver:
        endpoint_id, secret = await book.add_endpoint(receiver.url)
        await book.tell(NOW)
        (first,) = await deliver(courier, sessions, NOW)
        (kept,) = await book.deliveries(endpoint_id)
        assert (kept.state, kept.last_status) == ("waiting", 500)
        assert kept.last_error == "The receiver answered 500; only 2xx is delivered."
        assert isinstance(first.verdict, rules.Again)
        assert kept.due_at == NOW + first.verdict.wait

        assert await claim(courier, 100, now=kept.due_at - timedelta(microseconds=1)) == []
        await deliver(courier, sessions, kept.due_at)
        one, two = await receiver.take(2)

    assert one.body == two.body
    assert one.headers["webhook-id"] == two.headers["webhook-id"]
    assert int(two.headers["webhook-timestamp"]) - int(one.headers["webhook-timestamp"]) in {5, 6}
    Webhook(secret).verify(two.body, two.headers)
    (kept,) = await book.deliveries(endpoint_id)
    assert (kept.state, kept.attempt, kept.last_status) == ("delivered", 2, 204)


async def test_after_ten_attempts_over_three_days_it_is_dead_and_stays_listed(book: Book, courier, sessions):
    async with receiving(*[status(503)] * 10) as receiver:
        endpoint_id, _ = await book.add_endpoint(receiver.url)
        await book.tell(NOW)
        now = NOW
        for _ in range(10):
            await deliver(courier, sessions, now)
            (kept,) = await book.deliveries(endpoint_id)
            now = max(now, kept.due_at)
        await receiver.take(10)

    assert (kept.state, kept.attempt, kept.last_status) == ("dead", 10, 503)
    assert timedelta(hours=75, minutes=35, seconds=5) <= now - NOW < timedelta(hours=75, minutes=36)
    assert await claim(courier, 100, now=now + timedelta(days=30)) == []


async def test_retry_after_puts_the_next_attempt_off(book: Book, courier, sessions):
    async with receiving(status(429, Retry_After="3600")) as receiver:
        endpoint_id, _ = await book.add_endpoint(receiver.url)
        await book.tell(NOW)
        await deliver(courier, sessions, NOW)
    (kept,) = await book.deliveries(endpoint_id)
    assert timedelta(hours=1) <= kept.due_at - NOW < timedelta(hours=1, seconds=5)


async def test_410_pauses_the_endpoint_and_its_deliveries_wait(book: Book, courier, sessions):
    async with receiving(status(410), status(204), status(204)) as receiver, receiving() as other:
        endpoint_id, _ = await book.add_endpoint(receiver.url)
        watching, _ = await book.add_endpoint(other.url, "endpoint.paused")
        await book.tell(NOW)
        await deliver(courier, sessions, NOW)
        later = NOW + timedelta(days=1)
        await book.tell(later)
        await deliver(courier, sessions, later)

        told = json.loads((await other.take())[0].body)
        assert (told["type"], told["subject"]) == ("endpoint.paused", str(endpoint_id))
        assert told["data"] == {"endpoint_id": str(endpoint_id), "reason": "gone"}
        assert receiver.arrived.qsize() == 1
        endpoint = await book.owner.fetchrow("select * from setbook.endpoint where id = $1", endpoint_id)
        assert (endpoint["state"], endpoint["version"]) == ("paused", 2)
        assert endpoint["paused_reason"] == rules.GONE_REASON
        (kept,) = await book.deliveries(endpoint_id)
        assert (kept.state, kept.last_status) == ("waiting", 410)

        await book.owner.execute("update setbook.endpoint set state = 'active' where id = $1", endpoint_id)
        await deliver(courier, sessions, later)
        numbers = [json.loads(one.body)["deliverynumber"] for one in await receiver.take(4)]
    assert numbers == ["1", "1", "2", "3"]
    assert [one.state for one in await book.deliveries(endpoint_id)] == ["delivered"] * 3
    assert len(await book.deliveries(watching)) == 1


async def test_a_redirect_is_a_failure_and_not_followed(book: Book, courier, sessions):
    async with receiving() as target, receiving(status(307, Location=target.url)) as receiver:
        endpoint_id, _ = await book.add_endpoint(receiver.url)
        await book.tell(NOW)
        await deliver(courier, sessions, NOW)
        assert target.arrived.empty()
    (kept,) = await book.deliveries(endpoint_id)
    assert (kept.state, kept.last_status) == ("waiting", 307)


async def test_a_receiver_that_hangs_is_left_after_the_timeout(book: Book, courier, sessions):
    released = asyncio.Event()

    async def hang(_: web.Request) -> web.StreamResponse:
        await released.wait()
        return web.Response()

    async with receiving(hang) as receiver:
        endpoint_id, _ = await book.add_endpoint(receiver.url)
        await book.tell(NOW)
        await deliver(courier, sessions, NOW, timeout_seconds=0.1)
        released.set()
    (kept,) = await book.deliveries(endpoint_id)
    assert (kept.state, kept.last_status) == ("waiting", None)
    assert kept.last_error == "The receiver had not answered after 0.1 s."


async def test_of_an_endless_answer_only_the_start_is_read(book: Book, courier, sessions):
    closed: asyncio.Future[None] = asyncio.get_running_loop().create_future()

    async def endless(request: web.Request) -> web.StreamResponse:
        response = web.StreamResponse()
        await response.prepare(request)
        try:
            while True:
                await response.write(b"x" * 65_536)
        except ConnectionError:
            closed.set_result(None)
            raise

    async with receiving(endless) as receiver:
        endpoint_id, _ = await book.add_endpoint(receiver.url)
        await book.tell(NOW)
        await deliver(courier, sessions, NOW)
        async with asyncio.timeout(PATIENCE_SECONDS):
            await closed
    (kept,) = await book.deliveries(endpoint_id)
    assert (kept.state, kept.last_status) == ("delivered", 200)


async def test_a_receiver_that_speaks_no_http_leaves_a_readable_word(book: Book, courier, sessions):
    async def garble(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readuntil(b"\r\n\r\n")
        writer.write(b"\x00\xff\x00 SSH-2.0\r\n\r\n")
        writer.close()

    async with await asyncio.start_server(garble, "127.0.0.1", 0) as server:
        port = server.sockets[0].getsockname()[1]
        endpoint_id, _ = await book.add_endpoint(f"http://127.0.0.1:{port}/")
        await book.tell(NOW)
        await deliver(courier, sessions, NOW)
    (kept,) = await book.deliveries(endpoint_id)
    assert (kept.state, kept.last_status) == ("waiting", None)
    assert kept.last_error is not None
    assert kept.last_error.startswith("The request failed: ")
    assert kept.last_error.isprintable()


async def test_a_lost_sealing_key_is_said_and_nothing_is_sent(book: Book, courier, sessions):
    async with receiving() as receiver:
        endpoint_id, _ = await book.add_endpoint(receiver.url)
        await book.tell(NOW)
        await fan_out(courier, NOW)
        (claimed,) = await claim(courier, 1, now=NOW)
        to = await deliveries.receivers(courier, [endpoint_id])
        attempted = await lanes.attempt(sessions, bytes(32), to[endpoint_id], claimed, NOW, lambda: 0.5)
        await settle(courier, [attempted], lambda: 0.5, NOW)
        assert receiver.arrived.empty()
    (kept,) = await book.deliveries(endpoint_id)
    assert kept.state == "waiting"
    assert kept.last_error is not None
    assert "SETBOOK_SECRET_KEY" in kept.last_error


async def test_a_claim_whose_courier_died_comes_up_again_by_itself(book: Book, courier):
    endpoint_id, _ = await book.add_endpoint("http://127.0.0.1/hook")
    await book.tell(NOW)
    await fan_out(courier, NOW)
    (lost,) = await claim(courier, 10, now=NOW)
    assert await claim(courier, 10, now=NOW + deliveries.LEASE - timedelta(microseconds=1)) == []
    (again,) = await claim(courier, 10, now=NOW + deliveries.LEASE)
    assert (lost.tried, again.tried) == (1, 2)
    assert (again.event_id, again.deliverynumber) == (lost.event_id, lost.deliverynumber)
    assert again.body == lost.body
    (kept,) = await book.deliveries(endpoint_id)
    assert kept.due_at == NOW + 2 * deliveries.LEASE


async def test_the_late_word_of_a_courier_changes_nothing(book: Book, courier):
    endpoint_id, _ = await book.add_endpoint("http://127.0.0.1/hook")
    await book.tell(NOW)
    await fan_out(courier, NOW)
    (stale,) = await claim(courier, 10, now=NOW)
    (fresh,) = await claim(courier, 10, now=NOW + deliveries.LEASE)
    before = await book.deliveries(endpoint_id)

    gone = Attempted(stale, rules.Outcome(status=410, sent_at=NOW, duration_ms=1), rules.GivenUp())
    assert await settle(courier, [gone], lambda: 0.5, NOW + deliveries.LEASE) == []
    assert await book.deliveries(endpoint_id) == before
    state = await book.owner.fetchval("select state from setbook.endpoint where id = $1", endpoint_id)
    assert state == "active"

    good = Attempted(fresh, rules.Outcome(status=204, sent_at=NOW, duration_ms=1), rules.Delivered())
    (settled,) = await settle(courier, [good], lambda: 0.5, NOW)
    assert settled.deliverynumbers == [fresh.deliverynumber]
    assert [one.state for one in await book.deliveries(endpoint_id)] == ["delivered"]


async def test_endpoints_get_what_they_are_subscribed_to(
    book: Book, add_book: Callable[[], Awaitable[Book]], courier
):
    wanted: dict[tuple[str, ...], Sequence[str]] = {
        (): ["endpoint.resumed", "test.ping"],
        ("endpoint.resumed",): ["endpoint.resumed"],
        ("endpoint.*",): ["endpoint.resumed"],
        ("check.*", "endpoint.paused"): [],
    }
    everything, *others = [await book.add_endpoint("http://127.0.0.1/hook", *types) for types in wanted]
    stranger, _ = await (await add_book()).add_endpoint("http://127.0.0.1/hook")
    await book.tell(NOW)
    await book.ping(everything[0], NOW)

    assert await fan_out(courier, NOW) == len(wanted)
    assert await fan_out(courier, NOW) == 0
    got: dict[UUID, list[str]] = {}
    for one in await claim(courier, 100, now=NOW):
        got.setdefault(one.endpoint_id, []).append(json.loads(one.body)["type"])
    ids = [everything[0], *[one for one, _ in others]]
    assert [got.get(one, []) for one in ids] == list(wanted.values())
    assert stranger not in got


async def test_an_endpoint_hears_nothing_of_before_it_was_made(book: Book, courier):
    await book.tell(NOW)
    endpoint_id, _ = await book.add_endpoint("http://127.0.0.1/hook")
    (later,) = await book.tell(NOW)
    await fan_out(courier, NOW)
    assert [one.event_id for one in await claim(courier, 10, now=NOW)] == [later]
    assert [one.deliverynumber for one in await book.deliveries(endpoint_id)] == [1]


async def test_claims_leave_room_to_what_is_in_the_air(book: Book, courier):
    slow, _ = await book.add_endpoint("http://127.0.0.1/slow")
    quick, _ = await book.add_endpoint("http://127.0.0.1/quick")
    await book.tell(NOW, 3)
    await fan_out(courier, NOW)
    claimed = await claim(courier, 100, {slow: Held(quota=10, held=9)}, NOW)
    assert [one.endpoint_id for one in claimed].count(slow) == 1
    assert [one.endpoint_id for one in claimed].count(quick) == 3
    assert len(await claim(courier, 1, now=NOW)) == 1


async def test_the_least_behind_are_numbered_first_and_all_share_a_round(
    book: Book, add_book, courier, monkeypatch: pytest.MonkeyPatch
):
    """Endpoints that come back with a long backlog keep nobody's news waiting."""
    monkeypatch.setattr(deliveries, "MOST_ENDPOINTS", 3)
    monkeypatch.setattr(deliveries, "MOST_EVENTS", 12)
    far = [(await book.add_endpoint(f"http://127.0.0.1/{number}"))[0] for number in range(3)]
    await book.tell(NOW, 20)
    near = await add_book()
    one, _ = await near.add_endpoint("http://127.0.0.1/near")
    await near.tell(NOW, 2)
    assert await fan_out(courier, NOW) == 3
    assert len(await near.deliveries(one)) == 2
    assert sorted([len(await book.deliveries(id_)) for id_ in far]) == [0, 4, 4]
    while await fan_out(courier, NOW):
        pass
    for id_ in far:
        assert [each.deliverynumber for each in await book.deliveries(id_)] == list(range(1, 21))


async def test_endpoints_that_fail_are_numbered_apart_from_the_others(book: Book, courier):
    failing, _ = await book.add_endpoint("http://127.0.0.1/failing")
    healthy, _ = await book.add_endpoint("http://127.0.0.1/healthy")
    await book.owner.execute("update endpoint set failures = 1 where id = $1", failing)
    await book.tell(NOW)
    numbered = await deliveries.fan_out(courier, PUBLIC_URL, NOW, failing=False)
    assert (numbered.moved, numbered.is_behind) == (1, False)
    assert [len(await book.deliveries(one)) for one in (failing, healthy)] == [0, 1]
    await book.tell(NOW)
    numbered = await deliveries.fan_out(courier, PUBLIC_URL, NOW, failing=True)
    assert (numbered.moved, numbered.is_behind) == (1, False)
    assert [len(await book.deliveries(one)) for one in (failing, healthy)] == [2, 1]
    assert await fan_out(courier, NOW) == 1
    assert [len(await book.deliveries(one)) for one in (failing, healthy)] == [2, 2]


async def test_a_failing_endpoint_is_sent_what_is_told_within_seconds(book: Book, courier):
    async with receiving(status(500)) as receiver:
        await book.add_endpoint(receiver.url)
        async with running(courier):
            await book.tell(utc_now())
            await receiver.take()
            (later,) = await book.tell(utc_now())
            while (await receiver.take())[0].headers["webhook-id"] != str(later):
                pass


async def test_a_word_said_twice_does_not_undo_a_replay(book: Book, courier, sessions):
    """A courier that lost its connection as it settled says it again when the database is back."""
    async with receiving() as receiver:
        endpoint_id, _ = await book.add_endpoint(receiver.url)
        await book.tell(NOW)
        said = await deliver(courier, sessions, NOW)
        async with entry(book.pool, book.business_id, NOW) as opened:
            await opened.db.run(
                deliveries.sql.replay_deliveries,
                business_id=book.business_id,
                endpoint_id=endpoint_id,
                now=NOW,
                deliverynumbers=[1],
                states=[],
                since=NOW,
                until=NOW,
                after_deliverynumber=0,
                most=1,
            )
        assert await settle(courier, said, lambda: 0.5, NOW) == []
        (kept,) = await book.deliveries(endpoint_id)
        assert kept.state == "waiting"
        await deliver(courier, sessions, NOW)
        await receiver.take(2)


async def test_what_cannot_be_written_keeps_nothing_else_from_being_settled(book: Book, courier, sessions):
    """PostgreSQL's text holds no character 0; no receiver gets one through, but a slip of ours might."""
    async with receiving() as receiver:
        endpoint_id, _ = await book.add_endpoint(receiver.url)
        await book.tell(NOW, 3)
        await fan_out(courier, NOW)
        one, two, three = await attempt_all(courier, sessions, await claim(courier, 3, now=NOW), NOW)
    unfit = rules.Outcome(error="\x00", sent_at=NOW, duration_ms=1)
    async with signing(SEALING_KEY) as signer:
        air = lanes.Air(sessions, signer)
        air.landed += [one, Attempted(two.claimed, unfit, rules.GivenUp()), three]
        await ticks._settle(courier, air)
        assert air.landed == []
    states = [(kept.deliverynumber, kept.state) for kept in await book.deliveries(endpoint_id)]
    assert states == [(1, "delivered"), (2, "waiting"), (3, "delivered")]


WAITING_FOR = "select exists (select from pg_locks where not granted and $1 = any (pg_blocking_pids(pid)))"


async def test_an_endpoint_is_taken_out_while_its_failures_are_settled(book: Book, courier, sessions):
    """Neither waits for what the other holds."""
    async with receiving(status(500)) as receiver:
        endpoint_id, _ = await book.add_endpoint(receiver.url)
        await book.tell(NOW)
        await fan_out(courier, NOW)
        attempted = await attempt_all(courier, sessions, await claim(courier, 1, now=NOW), NOW)
    of = {"business_id": book.business_id, "id": endpoint_id}
    async with entry(book.pool, book.business_id, NOW) as opened:
        await opened.db.run(deliveries.sql.read_endpoint_for_update, **of)
        settling = asyncio.create_task(settle(courier, attempted, lambda: 0.5, NOW))
        holder = await opened.db.runner.fetchval("select pg_backend_pid()")
        async with asyncio.timeout(PATIENCE_SECONDS):
            while not await book.owner.fetchval(WAITING_FOR, holder):
                assert not settling.done()
        await opened.db.run(deliveries.sql.delete_endpoint, **of)
    assert await settling == []
    assert await book.deliveries(endpoint_id) == []


async def test_a_410_of_an_address_that_was_amended_meanwhile_pauses_nothing(book: Book, courier, sessions):
    async with receiving(status(410), status(410)) as receiver:
        endpoint_id, _ = await book.add_endpoint(receiver.url)
        await book.tell(NOW)
        await fan_out(courier, NOW)
        attempted = await attempt_all(courier, sessions, await claim(courier, 1, now=NOW), NOW)
        await book.owner.execute(
            "update endpoint set version = version + 1, url = url || '?new' where id = $1", endpoint_id
        )
        await settle(courier, attempted, lambda: 0.5, NOW)
        # nor does the circuit of the new one count it
        assert await book.owner.fetchval("select failures from endpoint where id = $1", endpoint_id) == 0
        state = "select state from endpoint where id = $1"
        assert await book.owner.fetchval(state, endpoint_id) == "active"
        (kept,) = await book.deliveries(endpoint_id)
        await deliver(courier, sessions, kept.due_at)
        assert await book.owner.fetchval(state, endpoint_id) == "paused"


async def test_where_not_all_may_be_claimed_those_of_whom_least_is_held_come_first(book: Book, courier):
    """Wherever they lie in the table: the first in it do not take the room of all others again and again."""
    busy = [(await book.add_endpoint(f"http://127.0.0.1/{number}"))[0] for number in range(4)]
    last, _ = await book.add_endpoint("http://127.0.0.1/last")
    await book.tell(NOW, 4)
    await fan_out(courier, NOW)
    held = {one: Held(quota=1_000, held=5 + number) for number, one in enumerate(busy)}
    claimed = await claim(courier, 8, held, NOW)
    assert [[one.endpoint_id for one in claimed].count(id_) for id_ in (last, *busy)] == [4, 4, 0, 0, 0]


async def test_two_couriers_deliver_each_event_once_and_number_without_gap(book: Book, courier):
    async with receiving() as receiver:
        endpoint_id, _ = await book.add_endpoint(receiver.url)
        async with running(courier, count=2):
            told = await book.tell(utc_now(), 60)
            received = [json.loads(one.body) for one in await receiver.take(60)]
        assert receiver.arrived.empty()
    assert {one["id"] for one in received} == {str(one) for one in told}
    kept = await book.deliveries(endpoint_id)
    assert [one.deliverynumber for one in kept] == list(range(1, 61))
    assert [one.sequence for one in kept] == list(range(1, 61))
    assert {(one.state, one.attempt) for one in kept} == {("delivered", 1)}


async def test_a_hanging_receiver_holds_nobody_else_up(book: Book, courier):
    released = asyncio.Event()

    async def hang(_: web.Request) -> web.StreamResponse:
        await released.wait()
        return web.Response(status=204)

    count = lanes.FIRST_WINDOW
    async with receiving(*[hang] * count) as slow, receiving() as quick:
        slow_id, _ = await book.add_endpoint(slow.url)
        await book.add_endpoint(quick.url)
        async with running(courier):
            await book.tell(utc_now(), count + 1)
            await quick.take(count + 1)
            await slow.take(count)
            assert {one.state for one in await book.deliveries(slow_id)} == {"waiting"}
            assert slow.arrived.empty()  # one more waits in its lane
            released.set()
            await slow.take()
    # what was under way when it was told to stop is settled before it ends
    assert {one.state for one in await book.deliveries(slow_id)} == {"delivered"}


async def test_the_courier_outlives_its_connections(book: Book, courier):
    async with receiving() as receiver:
        await book.add_endpoint(receiver.url)
        async with running(courier):
            await book.tell(utc_now())
            await receiver.take()
            ended = await book.owner.fetchval(
                "select count(pg_terminate_backend(pid)) from pg_stat_activity "
                "where datname = current_database() and (query ilike 'listen%' or query like '%delivery%')"
                "  and pid <> pg_backend_pid()"
            )
            assert ended >= 1
            for _ in range(3):
                (event_id,) = await book.tell(utc_now())
                while (await receiver.take())[0].headers["webhook-id"] != str(event_id):
                    pass


async def test_a_committed_event_wakes_the_courier(book: Book, courier, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(ticks, "POLL_SECONDS", 3600.0)
    async with receiving() as receiver:
        await book.add_endpoint(receiver.url)
        async with running(courier):
            for _ in range(3):
                await book.tell(utc_now())
                await receiver.take()
