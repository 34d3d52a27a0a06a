"""Receivers on loopback that misbehave, each in its own way, below what an HTTP library would let one do."""

import asyncio
import socket
import struct
import sys
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import AsyncExitStack, asynccontextmanager

Behaviour = Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]

HEAD = b"HTTP/1.1 200 OK\r\nContent-Type: text/plain\r\n"
LARGE_BYTES = 50_000_000


async def hang(reader: asyncio.StreamReader, _: asyncio.StreamWriter) -> None:
    """Takes what comes and says nothing, until the sender has had enough."""
    while await reader.read(65_536):
        pass


async def drip(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """A byte of the status line a second, as long as somebody listens."""
    for letter in HEAD:
        writer.write(bytes([letter]))
        await writer.drain()
        if await gone_within(reader, 1.0):
            return


async def drip_body(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """A good status at once, then a body that never ends to come."""
    writer.write(HEAD + b"Content-Length: 1000\r\n\r\nyes")
    while not await gone_within(reader, 1.0):
        writer.write(b".")


async def flood(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """A good status and 50 MB."""
    await reader.readuntil(b"\r\n\r\n")
    writer.write(HEAD + b"Content-Length: %d\r\n\r\n" % LARGE_BYTES)
    for _ in range(LARGE_BYTES // 65_536 + 1):
        writer.write(b"x" * 65_536)
        await writer.drain()


async def redirect(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """Somewhere else, every time."""
    await reader.readuntil(b"\r\n\r\n")
    writer.write(b"HTTP/1.1 307 Temporary Redirect\r\nLocation: /again\r\nContent-Length: 0\r\n\r\n")


async def reset(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """Reads the start, then resets the connection (an RST by SO_LINGER of 0, socket(7))."""
    await reader.read(1)
    connection = writer.get_extra_info("socket")
    connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    writer.transport.abort()


async def garble(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """No HTTP, and to a client that wants TLS no TLS."""
    writer.write(b"\x00\xff\x00 SSH-2.0\r\n\r\n")


BEHAVIOURS: dict[str, Behaviour] = {
    "hangs": hang,
    "drips": drip,
    "drips_its_body": drip_body,
    "answers_50_mb": flood,
    "redirects": redirect,
    "resets": reset,
    "speaks_no_http": garble,
    "speaks_broken_tls": garble,
}


async def gone_within(reader: asyncio.StreamReader, seconds: float) -> bool:
    """Whether the sender closes meanwhile; what it sends is passed over."""
    try:
        async with asyncio.timeout(seconds):
            while await reader.read(65_536):
                pass
    except TimeoutError:
        return False
    except OSError:
        return True
    return True


@asynccontextmanager
async def misbehaving(*names: str) -> AsyncIterator[list[str]]:
    """The URL of a receiver for each of these names, while the block runs."""
    async with AsyncExitStack() as stack:
        urls = []
        for name in names:
            server = await asyncio.start_server(_guarded(BEHAVIOURS[name]), "127.0.0.1", 0)
            stack.callback(server.close)
            scheme = "https" if name == "speaks_broken_tls" else "http"
            urls.append(f"{scheme}://127.0.0.1:{server.sockets[0].getsockname()[1]}/hook")
        yield urls


def _guarded(behave: Behaviour) -> Behaviour:
    async def handle(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            await behave(reader, writer)
        except (OSError, asyncio.IncompleteReadError, asyncio.CancelledError):
            pass  # the sender, or the test, has had enough
        finally:
            writer.close()

    return handle


async def misbehave(count: int) -> None:
    """So many of all kinds, until ended from outside; a URL a line."""
    kinds = list(BEHAVIOURS)
    async with misbehaving(*(kinds[number % len(kinds)] for number in range(count))) as urls:
        print(*urls, "", sep="\n", flush=True)
        await asyncio.get_running_loop().create_future()


if __name__ == "__main__":
    asyncio.run(misbehave(int(sys.argv[1])))
