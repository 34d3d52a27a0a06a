"""One bad endpoint harms nobody: what each kind costs, what is kept of it, and the circuit that opens."""

import asyncio
import itertools
import socket
import threading
from collections.abc import Awaitable, Callable
from datetime import timedelta
from functools import partial
from itertools import pairwise
from uuid import UUID

import pytest

from service.events import deliveries, lanes, rules, sender, ticks
from service.events.models import EndpointResumed
from service.events.outbox import entry
from service.kernel.now import utc_now
from tests.bad_receivers import BEHAVIOURS, misbehaving
from tests.events.conftest import Book, attempt_all, deliver, fan_out, receiving, running, status
from tests.processes import PATIENCE_SECONDS

NOW = utc_now()
# What is kept of one attempt: state, status, and how the sentence begins.
KEPT = {
    "hangs": ("waiting", None, "The receiver had not answered after 0.5 s."),
    "drips": ("waiting", None, "The receiver had not answered after 0.5 s."),
    "drips_its_body": ("delivered", 200, None),
    "answers_50_mb": ("delivered", 200, None),
    "redirects": (
        "waiting",
        307,
        "The receiver answered 307, and redirects are not followed; amend the endpoint's url to where it leads.",
    ),
    "resets": ("waiting", None, "The request failed: "),
    "speaks_no_http": ("waiting", None, "The request failed: the answer is no HTTP: "),
    "speaks_broken_tls": ("waiting", None, "The request failed: no TLS with 127.0.0.1:"),
}
# How long an attempt waits here where others are to be served meanwhile, and within what they have to be.
LONG_SECONDS, SOON_SECONDS = 50.0, 45.0


@pytest.fixture
def long_attempts(monkeypatch: pytest.MonkeyPatch) -> None:
    """Those that hang are far from their timeout also where the machine is slow; their lease is longer still."""
    monkeypatch.setattr(lanes, "attempt", partial(lanes.attempt, timeout_seconds=LONG_SECONDS))


@pytest.mark.parametrize("name", BEHAVIOURS)
async def test_whatever_a_receiver_does_is_an_outcome_in_good_time(
    book: Book, courier, sessions, name: str
) -> None:
    # what does something has the time for it, and more than the test has
    seconds = 0.5 if name in ("hangs", "drips") else 2.0 * PATIENCE_SECONDS
    async with misbehaving(name) as (url,), asyncio.timeout(PATIENCE_SECONDS):
        endpoint_id, _ = await book.add_endpoint(url)
        await book.tell(NOW)
        await deliver(courier, sessions, NOW, timeout_seconds=seconds)
        (kept,) = await book.deliveries(endpoint_id)
    state, code, sentence = KEPT[name]
    assert (kept.state, kept.last_status) == (state, code)
    assert (kept.last_error or "").startswith(sentence or "")
    assert (kept.last_error is None) == (sentence is None)


@pytest.mark.parametrize(
    ("name", "seconds", "start"),
    [("answers_50_mb", PATIENCE_SECONDS, b"x" * 4096), ("drips_its_body", sender.ANSWER_SECONDS, b"yes")],
)
async def test_of_an_answer_the_first_4_kib_are_kept(
    book: Book, courier, sessions, monkeypatch: pytest.MonkeyPatch, name: str, seconds: float, start: bytes
) -> None:
    """As much as comes within its time, which is long here where all of it is to come."""
    monkeypatch.setattr(sender, "ANSWER_SECONDS", seconds)
    async with misbehaving(name) as (url,):
        endpoint_id, _ = await book.add_endpoint(url)
        await book.tell(NOW)
        await deliver(courier, sessions, NOW)
    kept = await book.owner.fetchval("select last_answer from delivery where endpoint_id = $1", endpoint_id)
    assert kept.rstrip(b".") == start


async def test_a_healthy_endpoint_beside_every_bad_one_gets_all_at_once(
    book: Book, courier, long_attempts: None
) -> None:
    """They are far from their timeout when the healthy one has everything."""
    async with misbehaving(*BEHAVIOURS, *["hangs"] * 20) as urls, receiving() as healthy:
        for url in urls:
            await book.add_endpoint(url)
        await book.add_endpoint(healthy.url)
        async with running(courier):
            told = []
            async with asyncio.timeout(SOON_SECONDS):
                for _ in range(30):
                    told += await book.tell(utc_now())
                    (received,) = await healthy.take()
                    assert received.headers["webhook-id"] == str(told[-1])


async def test_many_fresh_endpoints_that_hang_leave_room_for_a_healthy_one(
    book: Book, add_book: Callable[[], Awaitable[Book]], courier, long_attempts: None
) -> None:
    """With a backlog at each, before any circuit has opened."""
    count, each, other = 70, 64, await add_book()
    async with misbehaving("hangs") as (url,), receiving() as healthy:
        for bad in (book, await add_book()):
            for _ in range(count):
                await bad.add_endpoint(url)
            async with entry(bad.pool, bad.business_id, utc_now()) as opened:
                for _ in range(each):
                    opened.tell(EndpointResumed(endpoint_id=UUID(int=7)), UUID(int=7))
        await other.add_endpoint(healthy.url)
        async with running(courier), asyncio.timeout(SOON_SECONDS):
            while await book.owner.fetchval(HELD) < 2 * count * deliveries.FIRST_QUOTA:
                pass
            (told,) = await other.tell(utc_now())
            (received,) = await healthy.take()
            assert received.headers["webhook-id"] == str(told)


HELD = "select count(*) from delivery where in_air"


async def test_names_whose_server_is_silent_keep_no_other_name_waiting(
    book: Book, courier, long_attempts: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Far more of them than a loop has threads to look names up in."""
    look_up, over, silent = socket.getaddrinfo, threading.Event(), threading.Semaphore(0)

    def of_the_machine(host: str, *asked: object, **more: object) -> object:
        if host.endswith(".silent.example"):
            silent.release()
            over.wait()
        return look_up(host, *asked, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(socket, "getaddrinfo", of_the_machine)
    try:
        async with receiving() as healthy, running(courier):
            for number in range(40):
                await book.add_endpoint(f"https://hook{number}.silent.example/")
            await book.tell(utc_now())
            async with asyncio.timeout(SOON_SECONDS):
                for _ in range(40):
                    assert await asyncio.to_thread(silent.acquire, timeout=SOON_SECONDS)
                await book.add_endpoint(healthy.url.replace("127.0.0.1", "localhost"))
                (told,) = await book.tell(utc_now())
                (received,) = await healthy.take()
            assert received.headers["webhook-id"] == str(told)
            over.set()
    finally:
        over.set()


async def circuit(book: Book, endpoint_id: object) -> tuple[int, object, object]:
    row = await book.owner.fetchrow(
        "select failures, failing_since, next_try_at from endpoint where id = $1", endpoint_id
    )
    return tuple(row)


async def test_a_circuit_opens_lets_one_try_and_closes_with_what_gets_through(
    book: Book, courier, sessions
) -> None:
    count = rules.FAILURES_TO_OPEN
    async with receiving(*[status(500)] * (count + 1)) as receiver:
        endpoint_id, _ = await book.add_endpoint(receiver.url)
        await book.tell(NOW, count - 1)
        await deliver(courier, sessions, NOW)
        assert await circuit(book, endpoint_id) == (count - 1, NOW, None)

        later = NOW + timedelta(seconds=1)
        await book.tell(later)
        await deliver(courier, sessions, later)
        # it has failed for a second: the shortest that a circuit stays open
        opened = later + rules.SHORTEST_OPEN
        assert await circuit(book, endpoint_id) == (count, NOW, opened)
        await book.tell(later, 3)
        await fan_out(courier, later)
        assert await deliveries.claim(courier, 100, now=opened - timedelta(microseconds=1)) == []

        (tried,) = await deliver(courier, sessions, opened)
        assert tried.outcome.status == 500
        failures, since, reopened = await circuit(book, endpoint_id)
        assert (failures, since) == (count + 1, NOW)
        assert reopened == opened + rules.SHORTEST_OPEN

        hour = NOW + timedelta(hours=1)
        (through,) = await deliver(courier, sessions, hour)
        assert through.outcome.status == 204
        assert await circuit(book, endpoint_id) == (0, None, None)
        assert len(await deliver(courier, sessions, hour)) == count + 2


async def test_circuits_that_open_together_do_not_try_again_together(book: Book, courier, sessions) -> None:
    thrown = itertools.count(0, 0.01)
    async with receiving(*[status(500)] * 100) as receiver:
        ids = [(await book.add_endpoint(receiver.url))[0] for _ in range(2)]
        await book.tell(NOW, rules.FAILURES_TO_OPEN)
        await fan_out(courier, NOW)
        claimed = await deliveries.claim(courier, 100, now=NOW)
        attempted = await attempt_all(courier, sessions, claimed, NOW)
        await deliveries.settle(courier, attempted, lambda: next(thrown), NOW)
        (_, _, first), (_, _, second) = [await circuit(book, one) for one in ids]
        assert first != second


async def test_a_circuit_stays_open_for_half_as_long_as_it_has_failed_up_to_an_hour(
    book: Book, courier, sessions
) -> None:
    async with receiving(*[status(500)] * 100) as receiver:
        endpoint_id, _ = await book.add_endpoint(receiver.url)
        await book.tell(NOW, 30)
        await deliver(courier, sessions, NOW)
        now, waits = NOW, []
        for _ in range(18):
            _, _, next_try_at = await circuit(book, endpoint_id)
            waits.append(next_try_at - now)
            now = next_try_at
            await deliver(courier, sessions, now)
    assert waits[:3] == [timedelta(seconds=10), timedelta(seconds=10), timedelta(seconds=10)]
    assert waits[3] == timedelta(seconds=15)
    assert all(after <= before * 1.51 for before, after in pairwise(waits[3:]))
    assert waits[-1] == rules.LONGEST_OPEN


async def test_three_days_without_one_success_pause_it_with_a_reason_and_an_event(
    book: Book, courier, sessions
) -> None:
    async with receiving(*[status(500)] * 200) as receiver:
        endpoint_id, _ = await book.add_endpoint(receiver.url, "endpoint.resumed")
        await book.tell(NOW, 12)
        now = NOW
        while (await endpoint_of(book, endpoint_id))["state"] == "active":
            assert now - NOW < timedelta(hours=80)
            await deliver(courier, sessions, now)
            now += timedelta(minutes=61)
    endpoint = await endpoint_of(book, endpoint_id)
    assert timedelta(hours=72) <= now - NOW < timedelta(hours=76)
    assert endpoint["paused_reason"].startswith(f"Nothing got through since {NOW:%Y-%m-%d %H:%M} UTC: ")
    assert "The receiver answered 500; only 2xx is delivered." in endpoint["paused_reason"]
    told = await book.owner.fetchrow("select * from event where type = 'endpoint.paused'")
    assert told["data"] == {"endpoint_id": str(endpoint_id), "reason": "failing"}
    # those whose schedule has not ended wait, for as long as it takes
    states = [one.state for one in await book.deliveries(endpoint_id)]
    assert "waiting" in states
    assert await deliveries.claim(courier, 100, now=now + timedelta(days=365)) == []


async def endpoint_of(book: Book, endpoint_id: object) -> dict[str, object]:
    return dict(await book.owner.fetchrow("select * from endpoint where id = $1", endpoint_id))


async def test_what_waits_behind_failures_is_handed_back_uncounted(
    book: Book, courier, sessions, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A courier that has claimed many for a receiver that turns out to be dead lets go of them."""
    monkeypatch.setattr(ticks, "POLL_SECONDS", 3600.0)
    async with receiving(*[status(500)] * 50) as receiver:
        endpoint_id, _ = await book.add_endpoint(receiver.url)
        await book.tell(utc_now(), 40)
        async with running(courier):
            await receiver.take(rules.FAILURES_TO_OPEN)
        kept = await book.deliveries(endpoint_id)
    tried = [one for one in kept if one.attempt == 1]
    assert rules.FAILURES_TO_OPEN <= len(tried) <= rules.FAILURES_TO_OPEN + lanes.FIRST_WINDOW
    assert {one.attempt for one in kept} == {0, 1}
    assert await book.owner.fetchval("select count(*) from delivery where in_air") == 0


def test_an_attempt_ends_well_within_its_lease() -> None:
    """So that a lease which has run out means a dead courier."""
    assert (
        deliveries.LEASE.total_seconds()
        > sender.TIMEOUT_SECONDS + sender.ANSWER_SECONDS + lanes.SPARE_SECONDS
    )
