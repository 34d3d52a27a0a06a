"""What HTTP wants of every address: HEAD wherever there is GET, and OPTIONS that names all methods."""

from typing import Any

from litestar import Litestar
from litestar.types import ASGIApp, Message, Receive, Send


def with_methods(app: Litestar) -> ASGIApp:
    """The app's handler, around which HEAD is GET without its body (RFC 9110 section 9.3.2)."""
    handle, allowed = app.asgi_handler, {route.path_format: _methods_of(route) for route in app.routes}

    async def answer(scope: Any, receive: Receive, send: Send) -> None:
        async def send_without_body(message: Message) -> None:
            if message["type"] == "http.response.body":
                message["body"] = b""
            await send(message)

        async def send_with_allow(message: Message) -> None:
            # the framework's own answer names the first method of an address alone
            if message["type"] == "http.response.start" and scope.get("path_template") in allowed:
                message["headers"] = [(b"allow", allowed[scope["path_template"]])]
            await send(message)

        if scope.get("method") == "HEAD":
            scope["method"] = "GET"
            # an answer that would take its time need not
            scope.setdefault("state", {})["is_head"] = True
            await handle(scope, receive, send_without_body)
        elif scope.get("method") == "OPTIONS":
            await handle(scope, receive, send_with_allow)
        else:
            await handle(scope, receive, send)

    return answer


def _methods_of(route: Any) -> bytes:
    also = {"HEAD"} if "GET" in route.methods else set()
    return ", ".join(sorted({*route.methods, *also})).encode()
