"""The door of identity: from the Authorization header to the caller, on every route."""

from typing import Any

from litestar import Request
from litestar.connection import ASGIConnection
from litestar.handlers import BaseRouteHandler

from service.kernel.db import Db
from service.kernel.errors import Refused
from service.kernel.sql import Queries
from service.keys.rules import Caller, KeyRow, check_key, check_scope, key_in

sql = Queries(__package__)


async def authorise(connection: ASGIConnection[Any, Any, Any, Any], handler: BaseRouteHandler) -> None:
    """Let a request through whose key holds the route's scope; a route without a scope is open to no one.

    Routes that need no key say so with `opt={"public": True}`. OPTIONS, which the framework answers, only names
    the methods of an address, as the document does.
    """
    if handler.opt.get("public") or connection.scope.get("method") == "OPTIONS":
        return
    key, key_id = key_in(connection.headers.get("authorization"))
    row = await Db(connection.app.state.pool).maybe(KeyRow, sql.key_row, key_id=key_id)
    caller = check_key(key, row, connection.app.state.now())
    check_scope(caller, handler.opt["scope"])
    _check_media(connection, handler.opt["media"])
    connection.state.caller = caller


def _check_media(connection: ASGIConnection[Any, Any, Any, Any], media: tuple[str, ...]) -> None:
    sent = connection.headers.get("content-type", "").partition(";")[0].strip().lower()
    if media and sent not in media:
        raise Refused(
            "unsupported_media_type", f"Send the body as {' or '.join(media)}, not as {sent or 'nothing'}."
        )


async def caller_of(request: Request[Any, Any, Any]) -> Caller:
    """The caller whom `authorise` found."""
    caller: Caller = request.state.caller
    return caller
