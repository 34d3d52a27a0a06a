"""The limit of the bench `courier`: its own client, sending bodies that were signed beforehand, without a database.

Reads a line of JSON for each round, {"url", "count", "body"}, and answers it with the seconds that it took.
"""

import asyncio
import gc
import sys
import time
from ipaddress import ip_network

import msgspec
import uvloop

from service.events import sender
from service.events.addresses import Reach
from service.events.lanes import LARGEST_WINDOW
from service.events.signing import Ed25519PrivateKey, signed_headers
from service.kernel.ids import new_id
from service.kernel.now import utc_now
from service.serve import COURIER_OBJECTS


class Round(msgspec.Struct):
    """How many to send where."""

    url: str
    count: int
    body: str


async def send_all(one: Round, sessions: sender.Sessions) -> float:
    """Seconds for all, as many at once as the courier sends to one endpoint."""
    now, body = utc_now(), one.body.encode()
    keys = [bytes(32), Ed25519PrivateKey.from_private_bytes(bytes(32))]
    signed = [signed_headers(keys, str(new_id()), now, body) for _ in range(one.count)]
    waiting = iter(signed)
    # as the courier does
    gc.freeze()
    gc.set_threshold(COURIER_OBJECTS)

    async def work() -> None:
        for headers in waiting:
            outcome = await sender.send(sessions, one.url, body, headers, now, sender.TIMEOUT_SECONDS)
            if outcome.status != 204:
                raise ConnectionError(outcome.error)

    began = time.perf_counter()
    await asyncio.gather(*(work() for _ in range(LARGEST_WINDOW)))
    return time.perf_counter() - began


async def serve() -> None:
    """One round after the other, on kept connections."""
    async with sender.open_sessions(Reach((ip_network("127.0.0.0/8"),))) as sessions:
        for line in sys.stdin:
            print(await send_all(msgspec.json.decode(line, type=Round), sessions), flush=True)


uvloop.run(serve())
