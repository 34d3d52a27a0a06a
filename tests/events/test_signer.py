"""The process that signs: right by a foreign library, for each endpoint by itself, and replaced where it dies."""

import asyncio
import base64
import json
import signal
from asyncio.subprocess import PIPE
from collections.abc import AsyncIterator, Callable, Coroutine
from datetime import timedelta
from typing import Any
from uuid import UUID

import pytest
import uvloop
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from standardwebhooks.webhooks import Webhook

from service.events import signer as module
from service.events.deliveries import Receiver
from service.events.lanes import FRESH, Signed
from service.events.signer import MOST_ASKED, Order, SealedKey, Signer, signing
from service.events.signing import secret_text
from service.kernel.now import utc_now
from service.kernel.sealing import seal
from tests.events.conftest import Book, receiving, running
from tests.http import SEALING_KEY
from tests.processes import PATIENCE_SECONDS

NOW = utc_now()
BUSINESS = UUID(int=1)
MANY = 100
SECRET, SEED = b"s" * 32, b"e" * 32
Runner = Callable[[Coroutine[Any, Any, None]], None]
# the courier's loop and Python's own differ in what the pipes of a dead process raise
LOOPS = pytest.mark.parametrize("run", [asyncio.run, uvloop.run])


@pytest.fixture(autouse=True)
def patient(monkeypatch: pytest.MonkeyPatch) -> None:
    """A process may take longer to begin than it is given for a batch."""
    monkeypatch.setattr(module, "PATIENCE_SECONDS", PATIENCE_SECONDS)


@pytest.fixture
async def signer() -> AsyncIterator[Signer]:
    """A signer."""
    async with signing(SEALING_KEY) as opened:
        yield opened


def kept(number: int, scheme: str, plain: bytes, sealing_key: bytes = SEALING_KEY) -> SealedKey:
    """A key as the table holds it."""
    id_ = UUID(int=number)
    sealed = seal(sealing_key, plain, BUSINESS, id_, bytes(12))
    return SealedKey(id_, "v1" if scheme == "v1" else "v1a", sealed, None)


def order(count: int, *keys: SealedKey) -> Order:
    """So many messages for one endpoint."""
    return Order(BUSINESS, list(keys), [(f"msg_{number}", b'{"n":%d}' % number) for number in range(count)])


async def test_each_of_many_is_signed_by_both_schemes(signer: Signer) -> None:
    ordered = order(MANY, kept(1, "v1", SECRET), kept(2, "v1a", SEED))
    # the library goes by the clock on the wall, and all tests may take longer than it allows
    (signed,) = await signer.sign([ordered], utc_now())
    public = Ed25519PrivateKey.from_private_bytes(SEED).public_key()
    for (id_, body), headers in zip(ordered.messages, signed, strict=True):
        assert Webhook(secret_text(SECRET)).verify(body, headers) == json.loads(body)
        _, v1a = headers["webhook-signature"].split(" ")
        text = f"{id_}.{headers['webhook-timestamp']}.".encode() + body
        public.verify(base64.b64decode(v1a.removeprefix("v1a,")), text)


async def test_keys_that_cannot_be_opened_leave_the_others_signed(signer: Signer) -> None:
    lost, fine = order(MANY, kept(1, "v1", SECRET, bytes(32))), order(3, kept(1, "v1", SECRET))
    assert [len(one) for one in await signer.sign([lost, fine], NOW)] == [0, 3]


async def test_orders_of_several_at_once_are_not_mixed_up(signer: Signer) -> None:
    ordered = [order(count, kept(1, "v1", SECRET)) for count in range(1, MOST_ASKED + 1)]
    answers = await asyncio.gather(*(signer.sign([one], NOW) for one in ordered))
    assert [len(signed) for (signed,) in answers] == [len(one.messages) for one in ordered]


@LOOPS
def test_where_the_process_was_killed_the_next_batch_has_another(run: Runner) -> None:
    async def check() -> None:
        async with signing(SEALING_KEY) as signer:
            ordered = order(MANY, kept(1, "v1", SECRET))
            (first,) = await signer.sign([ordered], NOW)
            assert signer.process is not None
            signer.process.kill()
            await signer.process.wait()
            assert await signer.sign([ordered], NOW) == [[]]
            assert await signer.sign([ordered], NOW) == [first]

    run(check())


async def test_where_the_process_hangs_the_next_batch_has_another(
    signer: Signer, monkeypatch: pytest.MonkeyPatch
) -> None:
    ordered = order(MANY, kept(1, "v1", SECRET))
    (first,) = await signer.sign([ordered], NOW)
    assert signer.process is not None
    signer.process.send_signal(signal.SIGSTOP)
    with monkeypatch.context() as impatient:
        impatient.setattr(module, "PATIENCE_SECONDS", 0.1)
        assert await signer.sign([ordered], NOW) == [[]]
    assert await signer.sign([ordered], NOW) == [first]


@LOOPS
def test_a_batch_that_nobody_waits_for_leaves_its_answer_to_none(run: Runner) -> None:
    async def check() -> None:
        async with signing(SEALING_KEY) as signer:
            first, second = order(3, kept(1, "v1", SECRET)), order(MANY, kept(1, "v1", SECRET))
            expected = await signer.sign([second], NOW)
            assert signer.process is not None
            signer.process.send_signal(signal.SIGSTOP)
            async with asyncio.TaskGroup() as group:
                left = group.create_task(signer.sign([first], NOW))
                kept_on = group.create_task(signer.sign([second], NOW))
                await asyncio.wait({kept_on}, timeout=0.1)
                left.cancel()
            assert kept_on.result() == expected

    run(check())


@LOOPS
def test_a_process_that_talks_nonsense_is_replaced(run: Runner) -> None:
    async def check() -> None:
        async with signing(SEALING_KEY) as signer:
            ordered = order(MANY, kept(1, "v1", SECRET))
            (first,) = await signer.sign([ordered], NOW)
            await signer.end()
            signer.process = await asyncio.create_subprocess_exec(
                "sh", "-c", r"printf '\000\000\000\001x'; exec cat >/dev/null", stdin=PIPE, stdout=PIPE
            )
            assert await signer.sign([ordered], NOW) == [[]]
            assert await signer.sign([ordered], NOW) == [first]

    run(check())


async def test_more_batches_than_it_is_given_are_signed_elsewhere(signer: Signer) -> None:
    ordered = order(MANY, kept(1, "v1", SECRET))
    answers = await asyncio.gather(*(signer.sign([ordered], NOW) for _ in range(MOST_ASKED + 2)))
    assert [len(signed) for (signed,) in answers] == [MANY] * MOST_ASKED + [0, 0]
    assert [len(signed) for signed in await signer.sign([ordered], NOW)] == [MANY]


async def test_what_a_courier_sends_of_a_backlog_verifies(book: Book, courier) -> None:
    async with receiving() as receiver:
        _, secret = await book.add_endpoint(receiver.url)
        told = await book.tell(utc_now(), 300)
        async with running(courier):
            received = await receiver.take(len(told))
    verified = [Webhook(secret).verify(one.body, one.headers)["id"] for one in received]
    assert sorted(verified) == sorted(map(str, told))


@pytest.mark.parametrize(
    ("version", "later", "holds"),
    [
        (1, FRESH, True),
        (1, FRESH + timedelta(seconds=1), False),
        (1, -FRESH - timedelta(seconds=1), False),
        (2, timedelta(), False),
    ],
)
def test_signed_ahead_holds_for_a_while_and_for_that_version(
    version: int, later: timedelta, holds: bool
) -> None:
    assert Signed({}, NOW, 1).holds(Receiver(version, "https://example.com/", []), NOW + later) is holds
