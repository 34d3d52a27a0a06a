"""Work is done once, by one runner, in one transaction; what fails is kept and tried again."""

import asyncio
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

import pytest

from service.events.outbox import Entry, entry
from service.work import door, ticks
from service.work.rules import LEASE
from tests.bodies import NOW
from tests.http import Api

MINUTE = timedelta(minutes=1)
SUBJECT = UUID(int=5)


class Trouble(Exception):
    """What a handler raises here."""


@pytest.fixture
def put(pool: Any, api: Api) -> Callable[..., Any]:
    """Put work for a subject of the business, at an instant."""

    async def put_at(now: datetime, run_at: datetime, since_at: datetime | None = None, **more: Any) -> None:
        subject = more.pop("subject", SUBJECT)
        async with entry(pool, api.business_id, now) as book:
            await door.put(book, "trial", subject, since_at, run_at, **more)

    return put_at


@pytest.fixture
def done() -> list[tuple[UUID, datetime | None]]:
    """(subject, since) of what was done, in order."""
    return []


@pytest.fixture
def run(pool: Any, clock_pool: Any, done: list[tuple[UUID, datetime | None]]) -> Callable[..., Any]:
    """One tick at an instant; the handler notes what it is given, unless a test brings its own."""

    async def note(_: Entry, subject_id: UUID, since_at: datetime | None) -> None:
        done.append((subject_id, since_at))

    async def run_at(now: datetime, handler: ticks.Handler = note, **more: Any) -> int:
        return await ticks.run(clock_pool, pool, now, {"trial": handler}, **more)

    return run_at


async def rows(owner: Any) -> list[dict[str, Any]]:
    """What is on the queue of what these tests put there."""
    found = await owner.fetch("select * from work where kind in ('trial', 'other') order by subject_id")
    return [dict(row) for row in found]


async def test_work_is_done_when_it_is_due_and_then_gone(put, run, done, owner):
    await put(NOW, NOW + MINUTE)
    assert await run(NOW) == 0
    assert await run(NOW + MINUTE) == 1
    assert await run(NOW + MINUTE) == 0
    assert done == [(SUBJECT, None)]
    assert await rows(owner) == []


async def test_work_of_a_kind_that_nobody_does_here_is_left_alone(put, pool, clock_pool, owner):
    await put(NOW, NOW)
    assert await ticks.run(clock_pool, pool, NOW, {}) == 0
    assert len(await rows(owner)) == 1


async def test_put_again_it_goes_back_to_the_earlier_since_and_stays_one_row(put, run, done):
    await put(NOW, NOW, NOW - MINUTE)
    await put(NOW, NOW, NOW - 3 * MINUTE)
    await put(NOW, NOW, NOW - 2 * MINUTE)
    await run(NOW)
    assert done == [(SUBJECT, NOW - 3 * MINUTE)]


async def test_from_the_beginning_stays_from_the_beginning(put, run, done):
    await put(NOW, NOW)
    await put(NOW, NOW, NOW - MINUTE)
    await run(NOW)
    assert done == [(SUBJECT, None)]


async def test_asked_from_the_beginning_it_forgets_a_later_since(put, run, done):
    await put(NOW, NOW, NOW - MINUTE)
    await put(NOW, NOW)
    await run(NOW)
    assert [since for _, since in done] == [None]


async def test_without_settling_the_earliest_run_stays(put, owner):
    for minutes in (5, 2, 9):
        await put(NOW, NOW + minutes * MINUTE)
    assert [row["run_at"] for row in await rows(owner)] == [NOW + 2 * MINUTE]


async def test_with_settling_each_put_moves_it_but_not_too_far(put, owner):
    settle = timedelta(minutes=60)
    for minutes in (0, 30, 55):
        now = NOW + minutes * MINUTE
        await put(now, now + 10 * MINUTE, settle=settle)
    assert [row["run_at"] for row in await rows(owner)] == [NOW + 60 * MINUTE]


async def test_what_fails_is_kept_with_its_error_and_tried_again_later(put, run, done, owner, caplog):
    await put(NOW, NOW)
    await put(NOW, NOW, subject=UUID(int=6))

    async def fail(book: Entry, subject_id: UUID, since_at: datetime | None) -> None:
        if subject_id == SUBJECT:
            raise Trouble("the bridge is out")
        done.append((subject_id, since_at))

    assert await run(NOW, fail) == 2
    assert done == [(UUID(int=6), None)]
    [kept] = await rows(owner)
    assert (kept["attempt"], kept["last_error"]) == (1, "Trouble: the bridge is out")
    assert kept["run_at"] == NOW + MINUTE
    assert "trial" in caplog.text
    assert await run(NOW + MINUTE, fail) == 1
    assert [row["run_at"] for row in await rows(owner)] == [NOW + 3 * MINUTE]
    await run(NOW + 3 * MINUTE)
    assert done == [(UUID(int=6), None), (SUBJECT, None)]


async def test_what_a_failed_handler_wrote_is_rolled_back(put, run, owner):
    await put(NOW, NOW)

    async def write_and_fail(book: Entry, subject_id: UUID, since_at: datetime | None) -> None:
        await door.put(book, "other", subject_id, None, book.now)
        raise Trouble

    await run(NOW, write_and_fail)
    assert [row["kind"] for row in await rows(owner)] == ["trial"]


async def test_a_runner_that_died_leaves_the_work_to_the_next_when_its_lease_is_over(put, run, done, owner):
    await put(NOW, NOW)

    async def die(book: Entry, subject_id: UUID, since_at: datetime | None) -> None:
        raise asyncio.CancelledError

    with pytest.raises(asyncio.CancelledError):
        await run(NOW, die)
    assert await run(NOW + LEASE - MINUTE) == 0
    assert await run(NOW + LEASE) == 1
    assert done == [(SUBJECT, None)]


async def test_what_becomes_due_while_it_is_done_is_not_taken_for_done(put, run, done, owner, pool):
    """The change stands in line behind the runner that holds the business, and its work is put after."""
    await put(NOW, NOW)
    changing: list[asyncio.Task[None]] = []

    async def change_meanwhile(book: Entry, subject_id: UUID, since_at: datetime | None) -> None:
        changing.append(asyncio.ensure_future(put(NOW, NOW + MINUTE, NOW)))

    await run(NOW, change_meanwhile)
    await asyncio.gather(*changing)
    assert [row["since_at"] for row in await rows(owner)] == [NOW]


async def test_a_put_between_claim_and_transaction_makes_the_claim_void(put, run, done, owner):
    """The first piece's handler puts the second again, which is claimed already: that claim is void."""
    await put(NOW - MINUTE, NOW - MINUTE)
    await put(NOW, NOW, subject=UUID(int=6))

    async def put_the_other(book: Entry, subject_id: UUID, since_at: datetime | None) -> None:
        done.append((subject_id, since_at))
        other = UUID(int=6) if subject_id == SUBJECT else SUBJECT
        if len(done) == 1:
            await door.put(book, "trial", other, None, NOW + MINUTE)

    assert await run(NOW, put_the_other) == 2
    assert len(done) == 1
    [kept] = await rows(owner)
    assert kept["attempt"] == 0


async def test_two_runners_do_each_piece_once(put, run, done):
    subjects = [UUID(int=number) for number in range(10, 40)]
    for subject in subjects:
        await put(NOW, NOW, subject=subject)
    await asyncio.gather(*(run(NOW, limit=10) for _ in range(6)))
    assert sorted(subject for subject, _ in done) == subjects
