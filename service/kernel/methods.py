"""HEAD wherever there is GET (RFC 9110 section 9.3.2): the same answer without its body."""

from typing import Any

from litestar.types import ASGIApp, Message, Receive, Send


def with_head(app: ASGIApp) -> ASGIApp:
    """The app, which then takes a HEAD for a GET and sends its status and headers alone."""

    async def answer(scope: Any, receive: Receive, send: Send) -> None:
        if scope.get("method") != "HEAD":
            await app(scope, receive, send)
            return

        async def send_head(message: Message) -> None:
            if message["type"] == "http.response.body":
                message["body"] = b""
            await send(message)

        scope["method"] = "GET"
        await app(scope, receive, send_head)

    return answer
