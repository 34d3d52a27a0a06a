"""HTTP for endpoints, and the log's from feed.py. Each handler reads: load, decide, store, tell."""

from datetime import datetime
from typing import Any
from uuid import UUID

import msgspec
from litestar import Request, Response, Router, delete, get, patch, post
from litestar.params import RawBody

from service.events import delivery_routes, rules
from service.events.actions import add, change_state, columns, hasten, load_endpoint
from service.events.feed import list_events
from service.events.keyring import secret_or_fresh
from service.events.models import Endpoint, EndpointAsked, EndpointHealth, EndpointMade, NewEndpoint
from service.events.outbox import entry
from service.events.signing import secret_text
from service.kernel.bodies import built, decode, read_json
from service.kernel.db import Db, Pool
from service.kernel.errors import Missing, Refused
from service.kernel.faults import faults_of
from service.kernel.http import (
    MERGE_PATCH,
    IfMatch,
    answer,
    check_precondition,
    read_answer,
    route,
    tag_of,
)
from service.kernel.merge import merged
from service.kernel.paging import After, Limit, Page, page, place_after
from service.kernel.sql import Queries
from service.keys.rules import Caller

sql = Queries(__package__)


@get("/endpoints", **route("events", gives=Page[Endpoint], headers=("Link",), refuses=(410,)))
async def list_endpoints(
    request: Request[Any, Any, Any], caller: Caller, pool: Pool, after: After = None, limit: Limit = 100
) -> Response[Page[Endpoint]]:
    """Endpoints, oldest first; never their secrets."""
    (id_,) = place_after(request, after, UUID)
    rows = await Db(pool).many(
        Endpoint, sql.list_endpoints, business_id=caller.business_id, after_id=id_, most=limit + 1
    )
    return page(request, rows, limit, lambda row: (row.id,))


@post(
    "/endpoints",
    **route(
        "events",
        takes=EndpointAsked,
        gives=EndpointMade,
        status=(201,),
        headers=("ETag", "Location"),
        refuses=(409, 422),
    ),
)
async def add_endpoint(
    request: Request[Any, Any, Any], body: RawBody, caller: Caller, pool: Pool, now: datetime
) -> Response[EndpointMade]:
    """A new endpoint; it gets what is told from now on. Its secret is shown in this answer, never again."""
    asked = decode(body, EndpointAsked, now)
    rules.check_endpoint(asked, request.app.state.reach, rules.secret_faults(asked.secret))
    new = rules.stated_of(asked)
    secret = secret_or_fresh(asked.secret)
    async with entry(pool, caller.business_id, now, caller.key_id) as book:
        kept = await add(book, new, secret, request.app.state.sealing_key)
    made = EndpointMade(secret=secret_text(secret), **msgspec.structs.asdict(kept))
    return answer(made, status=201, etag=tag_of(kept.version), location=f"/v1/endpoints/{kept.id}")


@get("/endpoints/{endpoint_id:uuid}", **route("events", gives=Endpoint, headers=("ETag",), status=(200, 304)))
async def read_endpoint(
    request: Request[Any, Any, Any], endpoint_id: UUID, caller: Caller, pool: Pool
) -> Response[Endpoint]:
    """One endpoint, without its secret."""
    kept = await load_endpoint(Db(pool), caller.business_id, endpoint_id)
    return read_answer(request, kept, tag_of(kept.version))


@get("/endpoints/{endpoint_id:uuid}/health", **route("events", gives=EndpointHealth))
async def read_health(endpoint_id: UUID, caller: Caller, pool: Pool, now: datetime) -> EndpointHealth:
    """How the endpoint does: what fails since when, what waits, what was given up."""
    found = await Db(pool).maybe(
        EndpointHealth, sql.read_health, business_id=caller.business_id, id=endpoint_id, now=now
    )
    if found is None:
        raise Missing("This endpoint")
    return found


@patch(
    "/endpoints/{endpoint_id:uuid}",
    **route(
        "events", takes=NewEndpoint, media=MERGE_PATCH, gives=Endpoint, refuses=(412, 428), headers=("ETag",)
    ),
)
async def amend_endpoint(
    request: Request[Any, Any, Any],
    endpoint_id: UUID,
    body: RawBody,
    caller: Caller,
    pool: Pool,
    now: datetime,
    if_match: IfMatch = None,
) -> Response[Endpoint]:
    """Amend, pause or resume an endpoint (RFC 7396 merge patch); needs If-Match."""
    change = read_json(body)
    if not isinstance(change, dict):
        raise Refused("unreadable", "A merge patch is a JSON object with the members to change.")
    async with entry(pool, caller.business_id, now, caller.key_id) as book:
        before = await _load_for_update(book.db, caller, endpoint_id)
        stated = rules.stated_of(before)
        wanted = merged(msgspec.to_builtins(stated), change)
        new = built(wanted, NewEndpoint, faults_of(wanted, NewEndpoint, now))
        rules.check_endpoint(new, request.app.state.reach)
        if new == stated:
            return answer(before, etag=tag_of(before.version))
        check_precondition(if_match, tag_of(before.version))
        kept = await book.db.one(
            Endpoint,
            sql.update_endpoint,
            business_id=caller.business_id,
            id=endpoint_id,
            paused_reason=before.paused_reason if new.state == before.state else rules.reason_stated(new),
            afresh=(new.url, new.state) != (before.url, before.state),
            **columns(new),
        )
        change_state(book, before, kept)
    if (before.state, kept.state) == ("paused", "active"):
        await hasten(pool, caller.business_id, endpoint_id, now)
    return answer(kept, etag=tag_of(kept.version))


@delete(
    "/endpoints/{endpoint_id:uuid}",
    **route("events", gives=None, status=(204,), refuses=(412, 428)),
    status_code=204,
)
async def remove_endpoint(
    endpoint_id: UUID, caller: Caller, pool: Pool, now: datetime, if_match: IfMatch = None
) -> None:
    """Take an endpoint out, with the list of its deliveries; needs If-Match."""
    async with entry(pool, caller.business_id, now, caller.key_id) as book:
        kept = await _load_for_update(book.db, caller, endpoint_id)
        check_precondition(if_match, tag_of(kept.version))
        await book.db.run(sql.delete_endpoint, business_id=caller.business_id, id=endpoint_id)


async def _load_for_update(db: Db, caller: Caller, endpoint_id: UUID) -> Endpoint:
    kept = await db.maybe(
        Endpoint, sql.read_endpoint_for_update, business_id=caller.business_id, id=endpoint_id
    )
    if kept is None:
        raise Missing("This endpoint")
    return kept


router = Router(
    "/",
    route_handlers=[
        list_events,
        list_endpoints,
        add_endpoint,
        read_endpoint,
        read_health,
        amend_endpoint,
        remove_endpoint,
        *delivery_routes.HANDLERS,
    ],
)
