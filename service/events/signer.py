"""Signs what goes out; many deliveries at once in a process of its own, beside the one that sends them.

An Ed25519 signature takes about half as long as the request that it goes with.
"""

import asyncio
import logging
import sys
from asyncio.subprocess import PIPE, Process
from collections.abc import AsyncIterator, Iterable, Sequence
from contextlib import asynccontextmanager, suppress
from datetime import datetime
from functools import lru_cache
from typing import BinaryIO, Literal
from uuid import UUID

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from msgspec import Struct, msgpack

from service.events.signing import SigningKey, signed_headers
from service.kernel.sealing import NotOpened, unseal

log = logging.getLogger("setbook.courier")

# loading an Ed25519 key takes as long as signing with it
MOST_LOADED = 10_000
SIZE_BYTES = 4
PATIENCE_SECONDS = 10
# batches that wait for it; while more come, it is too slow to be of use to them
MOST_ASKED = 8


class SealedKey(Struct, frozen=True):
    """A key as it is kept."""

    id: UUID
    scheme: Literal["v1", "v1a"]
    sealed: bytes
    expires_at: datetime | None


class Order(Struct, frozen=True):
    """Messages to one endpoint, each an id and a body, and the keys that sign them."""

    business_id: UUID
    keys: list[SealedKey]
    messages: list[tuple[str, bytes]]


class _Batch(Struct, frozen=True):
    sealing_key: bytes
    now: datetime
    orders: Sequence[Order]


def sign(sealing_key: bytes, order: Order, now: datetime) -> list[dict[str, str]]:
    """The three headers of each message; NotOpened where the keys were sealed under another key."""
    keys = signing_keys(sealing_key, order.business_id, order.keys, now)
    return [signed_headers(keys, id_, now, body) for id_, body in order.messages]


def signing_keys(
    sealing_key: bytes, business_id: UUID, keys: Iterable[SealedKey], now: datetime
) -> list[SigningKey]:
    """Those in force, newest first; NotOpened where they were sealed under another key."""
    return [
        _loaded(sealing_key, business_id, key.id, key.scheme, key.sealed)
        for key in keys
        if key.expires_at is None or key.expires_at > now
    ]


@lru_cache(MOST_LOADED)
def _loaded(sealing_key: bytes, business_id: UUID, key_id: UUID, scheme: str, sealed: bytes) -> SigningKey:
    plain = unseal(sealing_key, sealed, business_id, key_id)
    return plain if scheme == "v1" else Ed25519PrivateKey.from_private_bytes(plain)


class Signer:
    """The process that signs, started anew where it has ended."""

    def __init__(self, sealing_key: bytes) -> None:
        """The keys of all endpoints are sealed under `sealing_key`."""
        self.sealing_key = sealing_key
        self.process: Process | None = None
        self.turn = asyncio.Lock()
        self.asked = 0

    async def start(self) -> None:
        """It is up a moment later; what is ordered meanwhile waits for it."""
        self.process = await asyncio.create_subprocess_exec(
            sys.executable, "-m", __spec__.name, stdin=PIPE, stdout=PIPE, start_new_session=True
        )

    async def sign(self, orders: Sequence[Order], now: datetime) -> list[list[dict[str, str]]]:
        """The headers of each order's messages; none where the process fails or has too much before it.

        Those whose keys cannot be opened get none either.
        """
        if self.asked >= MOST_ASKED:
            return [[] for _ in orders]
        self.asked += 1
        try:
            async with self.turn:
                return await self._answer(msgpack.encode(_Batch(self.sealing_key, now, orders)))
        except Exception as broken:  # noqa: BLE001  loops differ in what a dead process's pipes raise
            log.warning("the process that signs has failed; this one signs meanwhile: %r", broken)
            return [[] for _ in orders]
        finally:
            self.asked -= 1

    async def _answer(self, batch: bytes) -> list[list[dict[str, str]]]:
        """What it says within its time; else it ends, so that no later batch is given this one's answer."""
        try:
            async with asyncio.timeout(PATIENCE_SECONDS):
                return await self._ask(batch)
        except BaseException:
            await self.end()
            raise

    async def _ask(self, batch: bytes) -> list[list[dict[str, str]]]:
        if self.process is None:
            await self.start()
        if self.process is None or self.process.stdin is None or self.process.stdout is None:
            raise OSError("it has no pipes")
        entered, answered = self.process.stdin, self.process.stdout
        entered.write(_framed(batch))
        await entered.drain()
        size = int.from_bytes(await answered.readexactly(SIZE_BYTES))
        return msgpack.decode(await answered.readexactly(size), type=list[list[dict[str, str]]])

    async def end(self) -> None:
        """Nothing that it does outlives its answers. Where this process is killed, it ends by itself."""
        process, self.process = self.process, None
        if process is not None:
            with suppress(ProcessLookupError):
                process.kill()
            await process.wait()


@asynccontextmanager
async def signing(sealing_key: bytes) -> AsyncIterator[Signer]:
    """A signer while the block runs."""
    signer = Signer(sealing_key)
    await signer.start()
    try:
        yield signer
    finally:
        await signer.end()


def _framed(content: bytes) -> bytes:
    return len(content).to_bytes(SIZE_BYTES) + content


def answer_all(orders: BinaryIO, answers: BinaryIO) -> None:
    """What the process does: sign one batch after the other, until there are no more."""
    while size := orders.read(SIZE_BYTES):
        batch = msgpack.decode(orders.read(int.from_bytes(size)), type=_Batch)
        signed = [_signed(batch, order) for order in batch.orders]
        answers.write(_framed(msgpack.encode(signed)))
        answers.flush()


def _signed(batch: _Batch, order: Order) -> list[dict[str, str]]:
    try:
        return sign(batch.sealing_key, order, batch.now)
    except NotOpened:
        return []


if __name__ == "__main__":
    answer_all(sys.stdin.buffer, sys.stdout.buffer)
