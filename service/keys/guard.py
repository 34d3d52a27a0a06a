"""The door of keys: from the Authorization header to the caller, on every route."""

from typing import Any
from uuid import UUID

from litestar import Request
from litestar.connection import ASGIConnection
from litestar.datastructures import State
from litestar.handlers import BaseRouteHandler

from service.kernel.db import Db
from service.kernel.errors import Refused
from service.kernel.gather import Gathered
from service.kernel.sql import Queries
from service.keys.rules import Caller, KeyRow, check_key, check_scope, key_in

sql = Queries(__package__)
NIL = UUID(int=0)


def gathered_keys(state: State) -> Gathered[UUID, KeyRow]:
    """Looks keys up on the state's pool: at every request, but those of many requests in one statement."""

    async def look_up(key_ids: list[UUID]) -> dict[UUID, KeyRow]:
        rows = await Db(state.pool).many(KeyRow, sql.list_keys, key_ids=key_ids)
        return {row.id: row for row in rows}

    return Gathered(look_up)


async def authorise(connection: ASGIConnection[Any, Any, Any, Any], handler: BaseRouteHandler) -> None:
    """Let a request through whose key holds the route's scope; a route without a scope is open to no one.

    Routes that need no key say so with `opt={"public": True}`. OPTIONS, which the framework answers, only names
    the methods of an address, as the document does.
    """
    if handler.opt.get("public") or connection.scope.get("method") == "OPTIONS":
        return
    key, key_id = key_in(connection.headers.get("authorization"))
    row = await connection.app.state.key_rows.get(key_id)
    caller = check_key(key, row, connection.app.state.now())
    check_scope(caller, handler.opt["scope"])
    if NIL in connection.path_params.values():
        raise Refused("not_found", "The nil UUID is nobody's id; make one of any other kind.")
    _check_media(connection, handler.opt["media"])
    connection.state.caller = caller


def _check_media(connection: ASGIConnection[Any, Any, Any, Any], media: tuple[str, ...]) -> None:
    sent = connection.headers.get("content-type", "").partition(";")[0].strip().lower()
    if media and sent not in media:
        instead = f", not as {sent}." if sent else ": the header Content-Type is missing."
        raise Refused("unsupported_media_type", f"Send a body as {' or '.join(media)}{instead}")


async def caller_of(request: Request[Any, Any, Any]) -> Caller:
    """The caller whom `authorise` found."""
    caller: Caller = request.state.caller
    return caller
