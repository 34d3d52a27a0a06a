"""A server that answers a fixed text to whatever it reads, to see how much the load's own maker can do."""

import asyncio
import sys

import uvloop

ANSWER = b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\nContent-Length: 2\r\n\r\n{}"


class Bare(asyncio.Protocol):
    """One connection; the load's maker sends each request in one piece and awaits its answer."""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Keep where to write."""
        self.transport = transport

    def data_received(self, _data: bytes) -> None:
        """Answer."""
        self.transport.write(ANSWER)  # type: ignore[attr-defined]


async def serve(port: int) -> None:
    """Until ended from outside; says so when it listens."""
    server = await asyncio.get_running_loop().create_server(Bare, "127.0.0.1", port)
    print("listening", flush=True)
    await server.serve_forever()


uvloop.run(serve(int(sys.argv[1])))
