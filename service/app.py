"""The table of contents: every route, what is injected, and the one map from errors to answers."""

import logging
from collections.abc import Callable
from datetime import datetime
from typing import Any
from uuid import UUID

import asyncpg
from litestar import Litestar, Request, Response, Router
from litestar.datastructures import State
from litestar.di import Provide
from litestar.exceptions import HTTPException

from service.amendments import routes as amendments
from service.animals_taken import routes as animals_taken
from service.batches import routes as batches
from service.billed import routes as billed
from service.catches import routes as catches
from service.conflicts import routes as conflicts
from service.contract import routes as contract
from service.customers import routes as customers
from service.deadlines import routes as deadlines
from service.drafts import routes as drafts
from service.erasure import routes as erasure
from service.events import routes as events
from service.events.addresses import Reach
from service.events.bell import Bell
from service.exports import routes as exports
from service.identity import routes as identity
from service.incidents import routes as incidents
from service.jobs import routes as jobs
from service.kernel.db import Pool
from service.kernel.errors import TITLES, Problem, Refused
from service.kernel.methods import with_methods
from service.kernel.now import utc_now
from service.kernel.parameters import check_query, query_parameters, sentence_of
from service.kernel.sealing import NotOpened
from service.keys import guard
from service.keys.rules import Caller
from service.lawn import routes as lawn
from service.methods import routes as methods
from service.months import routes as months
from service.packs import routes as packs
from service.pages import routes as pages
from service.permits import routes as permits
from service.properties import routes as properties
from service.property_file import routes as property_file
from service.records import routes as records
from service.refusals import routes as refusals
from service.rounds import routes as rounds
from service.seals import routes as seals
from service.sets import routes as sets
from service.signatures import routes as signatures
from service.signs import routes as signs
from service.treatments import routes as treatments
from service.upkeep import routes as upkeep
from service.visits import routes as visits

log = logging.getLogger("setbook.api")

LARGEST_BODY_BYTES = 8_000_000
# what asyncpg raises where the server is gone, starting, stopping or overrun, or chose this transaction to give way
DATABASE_AWAY = (
    ConnectionError,
    TimeoutError,
    asyncpg.InterfaceError,
    asyncpg.PostgresConnectionError,
    asyncpg.OperatorInterventionError,
    asyncpg.InsufficientResourcesError,
    asyncpg.TransactionRollbackError,
)
PROBLEM = "application/problem+json"
_KIND_OF_STATUS = {status: kind for kind, (status, _) in TITLES.items()}

SLICES = [
    identity,
    customers,
    properties,
    permits,
    billed,
    methods,
    jobs,
    visits,
    amendments,
    batches,
    refusals,
    signs,
    sets,
    lawn,
    catches,
    conflicts,
    deadlines,
    packs,
    rounds,
    treatments,
    upkeep,
    incidents,
    events,
    records,
    drafts,
    exports,
    pages,
    erasure,
    property_file,
    months,
    seals,
    animals_taken,
]
api = Router("/v1", route_handlers=[slice_.router for slice_ in SLICES])
ROUTERS = [api, contract.router, signatures.router]


def create_app(
    pool: Pool,
    epoch: UUID,
    sealing_key: bytes,
    public_url: str,
    reach: Reach = Reach(),  # noqa: B008 - frozen
    now: Callable[[], datetime] = utc_now,
) -> Litestar:
    """The API on a pool that works as the app role.

    `epoch` goes into cursors, `sealing_key` seals secrets that must be read again, `public_url` is where receivers
    of events find the schemas, `reach` says how far these may be, and `now` is the clock that handlers are given.
    """
    app = Litestar(
        route_handlers=ROUTERS,
        guards=[guard.authorise, check_query],
        dependencies={
            "caller": Provide(guard.caller_of),
            "pool": Provide(pool_of, sync_to_thread=False),
            "now": Provide(now, sync_to_thread=False, use_cache=False),
        },
        exception_handlers={
            Refused: refused,
            HTTPException: not_served,
            NotOpened: not_opened,
            Exception: our_fault,
            **dict.fromkeys(DATABASE_AWAY, unavailable),
        },
        request_max_body_size=LARGEST_BODY_BYTES,
        state=State(
            {
                "pool": pool,
                "epoch": epoch,
                "sealing_key": sealing_key,
                "public_url": public_url,
                "reach": reach,
                "bell": Bell(),
                "now": now,
            }
        ),
        # the document is made by `setbook schema`, checked in and served by the contract slice
        openapi_config=None,
        # whoever runs the process says where its words go
        logging_config=None,
    )
    app.state.key_rows = guard.gathered_keys(app.state)
    app.state.query_parameters = query_parameters(app)
    app.asgi_handler = with_methods(app)
    return app


def pool_of(state: State, caller: Caller) -> Pool:  # noqa: ARG001
    """The connections that handlers are given.

    It waits for the caller, so that one is found after the other: of dependencies that wait for no other the
    framework makes a task each, at the cost of a tenth of a read.
    """
    pool: Pool = state.pool
    return pool


def refused(_: Request[Any, Any, Any], error: Refused) -> Response[Problem]:
    """A refusal as problem details."""
    status, _title = TITLES[error.kind]
    return Response(error.problem(), status_code=status, media_type=PROBLEM, headers=error.headers)


def not_served(request: Request[Any, Any, Any], error: HTTPException) -> Response[Problem]:
    """What the framework refuses, in our words."""
    sentences = {
        404: "There is nothing at this address; see /openapi.json for what there is.",
        405: f"{request.method} is not taken here; see the Allow header.",
        413: f"The body is larger than {LARGEST_BODY_BYTES // 1_000_000} MB; send it in parts.",
    }
    kind = _KIND_OF_STATUS.get(error.status_code, "unreadable")
    detail = sentences.get(error.status_code, sentence_of(request, error))
    headers = dict(error.headers or {})
    if "GET" in headers.get("allow", ""):
        headers["allow"] += ", HEAD"
    return refused(request, Refused(kind, detail, headers=headers))


def unavailable(request: Request[Any, Any, Any], error: Exception) -> Response[Problem]:
    """The database is away or overrun: nothing was stored, and the same may be sent again."""
    log.warning("the database is away: %s", error)
    detail = "The database is away for a moment; nothing was stored, send the same again."
    return refused(request, Refused("unavailable", detail, headers={"Retry-After": "1"}))


def not_opened(request: Request[Any, Any, Any], error: NotOpened) -> Response[Problem]:
    """The operator has to set the secret key that our secrets were sealed under; nothing was stored."""
    log.error("%s", error)
    return refused(
        request, Refused("unavailable", f"{error} Nothing was stored.", headers={"Retry-After": "60"})
    )


def our_fault(request: Request[Any, Any, Any], error: Exception) -> Response[Problem]:
    """A bug: logged with its trace, told without."""
    log.error("unexpected", exc_info=error)
    return refused(
        request, Refused("internal", "Something broke on our side; nothing was stored. Send it again later.")
    )
