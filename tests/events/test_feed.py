"""Pulling the log: what waits for more, what wakes it, and that no reader misses an event while others write."""

import asyncio
from contextlib import AsyncExitStack, asynccontextmanager
from uuid import UUID

import asyncpg
import pytest
from litestar import Litestar

from service.events import bell as bells
from service.events.bell import Bell, toll
from service.events.feed import LONGEST_WAIT_SECONDS
from service.events.models import EndpointResumed
from service.events.outbox import entry, flush
from service.kernel.ids import new_id
from service.kernel.now import utc_now
from tests.http import Api
from tests.processes import PATIENCE_SECONDS

WAITING = (
    "select count(*) from pg_stat_activity"
    " where datname = current_database() and wait_event_type = 'Lock' and pid <> pg_backend_pid()"
)
LISTENING = "select pid from pg_stat_activity where datname = current_database() and query = 'LISTEN \"setbook_event\"'"
LONG_SECONDS = 3600.0


@pytest.fixture
def api(two: tuple[Api, Api]) -> Api:
    """A business with nothing in its log."""
    return two[0]


@pytest.fixture
def bell(app: Litestar, monkeypatch: pytest.MonkeyPatch) -> Bell:
    """The app's, unrung."""
    monkeypatch.setitem(app.state, "bell", Bell())
    return app.state.bell


@asynccontextmanager
async def tolling(bell: Bell, pool: "asyncpg.Pool[asyncpg.Record]"):
    """The bell hears the log while the block runs."""
    task = asyncio.create_task(toll(bell, pool))
    heard = bell.next_ring(UUID(int=1))
    try:
        async with asyncio.timeout(PATIENCE_SECONDS):
            await heard.wait()  # it rings as soon as it listens
        yield
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


async def tell(pool: "asyncpg.Pool[asyncpg.Record]", business_id: UUID, count: int = 1) -> None:
    """So many events in one transaction."""
    async with entry(pool, business_id, utc_now()) as book:
        for _ in range(count):
            book.tell(EndpointResumed(endpoint_id=UUID(int=7)), UUID(int=7))


def numbers(page) -> list[int]:
    return [int(event["sequence"]) for event in page["events"]]


async def asked(api: Api, bell: Bell, path: str, wait: str) -> "asyncio.Task":
    """A request that waits, once it does."""
    before = bell._waiting.total()
    task = asyncio.create_task(api.get(path, Prefer=wait))
    async with asyncio.timeout(PATIENCE_SECONDS):
        while bell._waiting.total() == before:
            await asyncio.wait([task], timeout=0.01)
            assert not task.done(), task.result().text
    return task


@pytest.mark.parametrize(("after", "found"), [("", [1, 2, 3]), ("2", [3]), (f"{1:020}", [2, 3]), ("3", [])])
async def test_the_log_is_read_on_from_a_sequence_as_webhooks_bring_it(
    api: Api, pool, after: str, found: list[int]
):
    await tell(pool, api.business_id, 3)
    page = (await api.get(f"events?after={after}")).json()
    assert numbers(page) == found
    assert page["next"] == (await api.get("events")).json()["next"]


async def test_a_sequence_that_the_log_does_not_have_says_so(api: Api, pool):
    """A reader who goes on from there would miss what is told meanwhile."""
    await tell(pool, api.business_id, 3)
    for beyond in ("4", "9" * 20):
        answer = await api.get(f"events?after={beyond}")
        assert answer.status_code == 410
        assert answer.json()["detail"].startswith(f"The log ends at {3:020}, before the sequence in `after`")
    assert (await api.get(f"events?after={'9' * 21}")).status_code == 400


async def test_who_wants_no_history_begins_at_the_log_s_end(api: Api, pool):
    await tell(pool, api.business_id, 3)
    page = (await api.get("events?after=latest")).json()
    assert page["events"] == []
    await tell(pool, api.business_id)
    assert numbers((await api.get(f"events?after={page['next']}")).json()) == [4]


async def test_what_is_there_is_answered_at_once(api: Api, pool, bell: Bell):
    await tell(pool, api.business_id, 2)
    answer = await api.get("events", Prefer="respond-async, wait=30")
    assert numbers(answer.json()) == [1, 2]
    assert answer.headers["preference-applied"] == "wait=30"
    assert "preference-applied" not in (await api.get("events")).headers


async def test_a_commit_ends_the_wait_of_its_business_alone(
    two: tuple[Api, Api], pool, bell: Bell, monkeypatch
):
    monkeypatch.setattr(bells, "POLL_SECONDS", LONG_SECONDS)
    api, other = two
    async with tolling(bell, pool):
        one, theirs = (
            await asked(api, bell, "events", "wait=50"),
            await asked(other, bell, "events", "wait=50"),
        )
        await tell(pool, api.business_id)
        answer = await one
        assert numbers(answer.json()) == [1]
        assert not theirs.done()
        await tell(pool, other.business_id)
        assert numbers((await theirs).json()) == [1]


async def waiting_anew(bell: Bell, business_id: UUID, rung: asyncio.Event, waits: "asyncio.Task") -> None:
    """Until whoever waited for that ring has taken the next one."""
    async with asyncio.timeout(PATIENCE_SECONDS):
        await rung.wait()
        while bell._rings.get(business_id) is None:
            await asyncio.wait([waits], timeout=0.01)
            assert not waits.done(), waits.result().text


async def test_an_event_of_another_type_does_not_end_the_wait_and_moves_the_place_on(
    api: Api, pool, bell: Bell, monkeypatch
):
    monkeypatch.setattr(bells, "POLL_SECONDS", LONG_SECONDS)
    async with tolling(bell, pool):
        waits = await asked(api, bell, "events?types=check.*,test.ping", "wait=50")
        # that it waits for a third ring shows that what it found at the first one did not end the wait
        for _ in range(2):
            rung = bell.next_ring(api.business_id)
            await tell(pool, api.business_id, 3)
            await waiting_anew(bell, api.business_id, rung, waits)
        bell.stop()
        empty = (await waits).json()
    assert empty["events"] == []
    assert (await api.get("events")).json()["next"] == empty["next"]


async def test_a_wait_that_nothing_ends_is_over_in_its_time(api: Api, bell: Bell):
    answer = await api.get("events", Prefer="wait=1")
    assert (answer.status_code, answer.json()["events"]) == (200, [])
    assert answer.headers["preference-applied"] == "wait=1"
    assert (await api.get(f"events?after={answer.json()['next']}")).json() == answer.json()


@pytest.mark.parametrize(
    "prefer", ["", "wait", "wait=", "wait=-1", "wait=soon", "wait=0", "return=minimal", b"wait=\xb2"]
)
async def test_a_preference_that_is_none_is_passed_over(api: Api, bell: Bell, prefer: str | bytes):
    answer = await api.send("GET", "events", Prefer=prefer)  # type: ignore[arg-type]
    assert answer.status_code == 200
    assert "preference-applied" not in answer.headers


@pytest.mark.parametrize(
    ("prefer", "applied"),
    [("wait=1000000000000", LONGEST_WAIT_SECONDS), ('Wait="7"; x=y', 7), ("wait=3, wait=9", 3)],
)
async def test_a_wait_has_bounds_and_may_be_written_as_the_standard_allows(
    api: Api, pool, bell: Bell, prefer: str, applied: int
):
    await tell(pool, api.business_id)
    answer = await api.get("events", Prefer=prefer)
    assert answer.headers["preference-applied"] == f"wait={applied}"


async def test_a_head_does_not_wait(api: Api, bell: Bell):
    for headers in ({"Prefer": "wait=50"}, {"Accept": "text/event-stream"}):
        async with asyncio.timeout(PATIENCE_SECONDS):
            answer = await api.send("HEAD", "events", **headers)
        assert (answer.status_code, answer.content) == (200, b"")
    assert answer.headers["content-type"].startswith("text/event-stream")


async def test_a_stream_begins_at_a_cursor_of_this_log_and_with_types_that_there_are(
    api: Api, app, bell: Bell
):
    cursor = (await api.get("events")).json()["next"]
    app.state.epoch = new_id()
    stream = {"Accept": "text/event-stream"}
    refused = [
        await api.get("events", **stream, Last_Event_ID=cursor),
        await api.get(f"events?after={cursor}", **stream),
        await api.get("events", **stream, Last_Event_ID="7"),
        await api.get("events", **stream, Last_Event_ID=str(new_id())),
        await api.get("events?types=mole.found", **stream),
    ]
    assert [answer.status_code for answer in refused] == [410, 410, 410, 400, 400]
    for answer in refused[0], refused[2]:
        assert "leave `Last-Event-ID` out and read all again" in answer.json()["detail"]
    assert "leave `after` out" in refused[1].json()["detail"]
    assert "`Last-Event-ID` is no cursor" in refused[3].json()["detail"]
    # without a stream that header says nothing
    assert (await api.get("events", Last_Event_ID=cursor)).status_code == 200


async def test_those_who_wait_hold_no_connection_and_there_is_a_limit_to_them(
    two: tuple[Api, Api], pool, bell: Bell, monkeypatch
):
    monkeypatch.setattr(bells, "POLL_SECONDS", LONG_SECONDS)
    api, other = two
    async with tolling(bell, pool):
        waits = [await asked(api, bell, "events", "wait=50") for _ in range(bells.MOST_WAITING_OF_ONE)]
        assert len(waits) > pool.get_max_size()
        async with asyncio.timeout(PATIENCE_SECONDS), AsyncExitStack() as all_but_the_one_that_listens:
            for _ in range(pool.get_max_size() - 1):
                await all_but_the_one_that_listens.enter_async_context(pool.acquire())
        one_more = await api.get("events", Prefer="wait=50")
        assert one_more.json()["events"] == []
        assert "preference-applied" not in one_more.headers
        streamed = await api.get("events", Accept="text/event-stream")
        assert (streamed.status_code, streamed.headers["retry-after"]) == (503, "10")
        assert "close one" in streamed.json()["detail"]
        theirs = await asked(other, bell, "events", "wait=50")
        for business in (api, other):
            await tell(pool, business.business_id)
        answers = await asyncio.gather(theirs, *waits)
    assert [numbers(answer.json()) for answer in answers] == [[1]] * len(answers)
    assert bell.has_room(api.business_id)


async def test_who_goes_away_is_waited_for_no_longer(api: Api, bell: Bell):
    waits = await asked(api, bell, "events", "wait=50")
    waits.cancel()
    await asyncio.gather(waits, return_exceptions=True)
    assert bell._waiting.total() == 0


async def test_a_stop_ends_every_wait_with_an_answer(api: Api, bell: Bell):
    waits = await asked(api, bell, "events", "wait=50")
    bell.stop()
    answer = await waits
    assert (answer.status_code, answer.json()["events"]) == (200, [])
    assert "preference-applied" not in (await api.get("events", Prefer="wait=50")).headers


async def test_a_key_revoked_meanwhile_is_told_nothing(api: Api, pool, bell: Bell, monkeypatch):
    monkeypatch.setattr(bells, "POLL_SECONDS", LONG_SECONDS)
    reader = await api.key_with("events")
    key_id = (await api.get("api-keys")).json()["items"][-1]["id"]
    async with tolling(bell, pool):
        waits = await asked(reader, bell, "events", "wait=50")
        assert (await api.delete(f"api-keys/{key_id}")).status_code == 200
        answer = await waits
    assert answer.status_code == 401


async def test_the_bell_outlives_its_connection_and_rings_for_what_it_missed(
    api: Api, pool, owner, bell: Bell, monkeypatch
):
    monkeypatch.setattr(bells, "POLL_SECONDS", LONG_SECONDS)
    path = "events"
    async with tolling(bell, pool):
        for number in range(1, 4):
            async with asyncio.timeout(PATIENCE_SECONDS):
                # the one that was ended before may take a moment to go
                while len(listening := await owner.fetch(LISTENING)) != 1:
                    pass
            waits, rung = await asked(api, bell, path, "wait=50"), bell.next_ring(UUID(int=1))
            await owner.execute("select pg_terminate_backend($1)", listening[0]["pid"])
            async with asyncio.timeout(PATIENCE_SECONDS):
                await rung.wait()
            assert not waits.done()
            await tell(pool, api.business_id)
            page = (await waits).json()
            assert numbers(page) == [number]
            path = f"events?after={page['next']}"


async def test_beneath_the_notifications_there_is_a_poll(api: Api, pool, owner, bell: Bell, monkeypatch):
    monkeypatch.setattr(bells, "POLL_SECONDS", 0.05)
    async with tolling(bell, pool):
        waits = await asked(api, bell, "events", "wait=50")
        # as a pooler between us and the database may do it: connected, and never told
        async with owner.transaction():
            await owner.execute(
                "insert into event (business_id, sequence, id, type, subject, time, data)"
                " values ($1, 1, gen_random_uuid(), 'endpoint.resumed', null, now(), '{}')",
                api.business_id,
            )
            await owner.execute("update counter set value = 1 where business_id = $1", api.business_id)
        assert numbers((await waits).json()) == [1]


async def test_a_lower_number_that_commits_later_holds_the_higher_one_back(api: Api, pool, owner):
    """Two transactions of one business, the first still open when the second has written: neither is seen early."""
    release = asyncio.Event()
    written = asyncio.Event()

    async def first() -> None:
        async with entry(pool, api.business_id, utc_now()) as book:
            book.tell(EndpointResumed(endpoint_id=UUID(int=7)), UUID(int=7))
            (numbered,) = await flush(book)
            assert numbered.sequence == 1
            written.set()
            await release.wait()

    async def second() -> None:
        # as the clock writes: past the line in which the writers of a business stand, straight to the counter
        async with pool.acquire() as connection, connection.transaction():
            await connection.execute(
                "select set_config('setbook.business_id', $1, true)", str(api.business_id)
            )
            await connection.execute(
                "with n as (update counter set value = value + 1 where name = 'event' returning business_id, value)"
                " insert into event (business_id, sequence, id, type, subject, time, data)"
                " select business_id, value, gen_random_uuid(), 'endpoint.resumed', null, now(), '{}' from n"
            )

    one = asyncio.create_task(first())
    await written.wait()
    two = asyncio.create_task(second())
    while not await owner.fetchval(WAITING):
        assert not two.done()
    page = (await api.get("events")).json()
    assert page["events"] == []
    release.set()
    await asyncio.gather(one, two)
    assert numbers((await api.get(f"events?after={page['next']}")).json()) == [1, 2]
