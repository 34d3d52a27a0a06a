"""A server on loopback that hands requests on, to the app in this process or to a service, and keeps the answers."""

from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field

import httpx
from aiohttp import web

KEPT = ("authorization", "content-type", "if-match", "idempotency-key", "prefer")


@dataclass(frozen=True)
class Exchange:
    """A request and the answer to it."""

    method: str
    path: str
    headers: dict[str, str]
    asked: bytes
    answer: httpx.Response


@dataclass
class Relay:
    """Whoever talks to `url` is answered by whoever `client` talks to.

    `watch`, where there is one, sees each exchange before its answer leaves, which may then never leave.
    """

    client: httpx.AsyncClient
    url: str = ""
    exchanges: list[Exchange] = field(default_factory=list)
    watch: Callable[[Exchange], Awaitable[None]] | None = None

    async def handle(self, request: web.Request) -> web.Response:
        """Hand it on; 502 where nobody answers."""
        headers = {name: request.headers[name] for name in KEPT if name in request.headers}
        asked = await request.read()
        try:
            answer = await self.client.request(
                request.method, request.path_qs, content=asked, headers=headers
            )
        except httpx.TransportError as lost:
            return web.Response(status=502, text=repr(lost))
        exchange = Exchange(request.method, request.path_qs, headers, asked, answer)
        if self.watch is not None:
            await self.watch(exchange)
        self.exchanges.append(exchange)
        kept = {
            name: answer.headers[name] for name in ("ETag", "Link", "Content-Type") if name in answer.headers
        }
        return web.Response(status=answer.status_code, body=answer.content, headers=kept)


@asynccontextmanager
async def relaying(client: httpx.AsyncClient) -> AsyncIterator[Relay]:
    """A relay while the block runs."""
    relay = Relay(client)
    app = web.Application(client_max_size=2**24)
    app.router.add_route("*", "/{path:.*}", relay.handle)
    runner = web.AppRunner(app, access_log=None, shutdown_timeout=0.1)
    await runner.setup()
    await web.TCPSite(runner, "127.0.0.1", 0).start()
    relay.url = f"http://127.0.0.1:{runner.addresses[0][1]}"
    try:
        yield relay
    finally:
        await runner.cleanup()
