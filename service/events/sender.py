"""The door out: one signed POST to a receiver that nobody vouches for."""

import asyncio
import socket
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import AsyncExitStack, asynccontextmanager, suppress
from datetime import datetime
from functools import lru_cache
from ipaddress import ip_address

import aiohttp
from aiohttp.abc import AbstractResolver

from service.events import envelope
from service.events.addresses import Reach, refusal
from service.events.failures import AddressRefused, failure
from service.events.names import SystemNames
from service.events.rules import Outcome, not_taken

TIMEOUT_SECONDS = 15.0
# how long is waited for the first bytes of a body behind a status
ANSWER_SECONDS = 1.0
LARGEST_ANSWER_BYTES = 4096
# shorter than receivers commonly keep an idle connection, so that none is closed just as it is used
KEEPALIVE_SECONDS = 4

# what an answer begins with is kept for a person to read
HEADERS = {"User-Agent": "Setbook", "Content-Type": envelope.CONTENT_TYPE, "Accept-Encoding": "identity"}

Sessions = Mapping[str, aiohttp.ClientSession]


def guarded(reach: Reach, scheme: str) -> Callable[[aiohttp.AddrInfoType], socket.socket]:
    """Makes the socket of a connection, or refuses its address.

    This is where a socket connects, so names, literal addresses, several answers of one name and a name whose
    answer changes all pass here.
    """

    def open_socket(place: aiohttp.AddrInfoType) -> socket.socket:
        family, kind, protocol, _, target = place
        refused = refusal(reach, scheme, ip_address(target[0]), int(target[1]))
        if refused is not None:
            raise AddressRefused(refused)
        return socket.socket(family, kind, protocol)

    return open_socket


@asynccontextmanager
async def open_sessions(reach: Reach, resolver: AbstractResolver | None = None) -> AsyncIterator[Sessions]:
    """A client by scheme: addresses guarded, no proxies of the environment, no cookies, nothing unpacked."""
    async with AsyncExitStack() as stack:
        sessions = {}
        for scheme in ("https", "http"):
            connector = aiohttp.TCPConnector(
                limit=0,
                keepalive_timeout=KEEPALIVE_SECONDS,
                resolver=resolver or SystemNames(),
                socket_factory=guarded(reach, scheme),
            )
            client = aiohttp.ClientSession(
                connector=connector,
                cookie_jar=aiohttp.DummyCookieJar(),
                trust_env=False,
                auto_decompress=False,
                headers=HEADERS,
            )
            sessions[scheme] = await stack.enter_async_context(client)
        yield sessions


async def send(
    sessions: Sessions,
    url: str,
    body: bytes,
    headers: Mapping[str, str],
    now: datetime,
    timeout_seconds: float,
) -> Outcome:
    """One attempt with these very bytes; Whatever the receiver does is an outcome."""
    clock = asyncio.get_running_loop().time
    started = clock()
    status, retry_after, answer = None, None, b""
    try:
        async with sessions[url.partition(":")[0].lower()].post(
            url, data=body, headers=headers, allow_redirects=False, timeout=_within(timeout_seconds)
        ) as response:
            answer = await _start_of(response)
            status, retry_after = response.status, response.headers.get("Retry-After")
            error = not_taken(status)
    except TimeoutError:
        error = f"The receiver had not answered after {timeout_seconds:g} s."
    except Exception as wrong:  # noqa: BLE001  a receiver can make the client raise anything; none may end the courier
        error = failure(wrong)
    duration_ms = round((clock() - started) * 1000)
    return Outcome(
        status=status,
        error=error,
        retry_after=retry_after,
        answer=answer,
        sent_at=now,
        duration_ms=duration_ms,
    )


@lru_cache
def _within(seconds: float) -> aiohttp.ClientTimeout:
    return aiohttp.ClientTimeout(total=seconds)


async def _start_of(response: aiohttp.ClientResponse) -> bytes:
    """How the answer begins; its status stands, however slowly or badly the rest comes."""
    start = b""
    if response.content.at_eof():
        return start
    with suppress(TimeoutError, aiohttp.ClientError):
        async with asyncio.timeout(ANSWER_SECONDS):
            while piece := await response.content.read(LARGEST_ANSWER_BYTES - len(start)):
                start += piece
    return start
