"""HTTP for the business, its workers and its keys."""

from datetime import datetime
from typing import Any
from uuid import UUID

from litestar import Request, Response, Router, delete, get, patch, post

from service.events.outbox import Entry, entry
from service.identity.actions import add_key
from service.identity.door import BUSINESS, WORKER, sql
from service.identity.models import (
    ApiKey,
    ApiKeyMade,
    Business,
    KeyRevoked,
    Me,
    NewApiKey,
    NewBusiness,
    Worker,
)
from service.identity.rules import policy_faults
from service.kernel.bodies import decode
from service.kernel.db import Db, Pool
from service.kernel.errors import Fault, Missing, invalid
from service.kernel.http import MERGE_PATCH, IfMatch, answer, read_answer, route, tag_of
from service.kernel.paging import After, Limit, Page, page, place_after
from service.keys.rules import Caller
from service.stated import door as stated
from service.stated.resource import resource
from service.work.door import every_permit_anew, every_property_anew, put
from service.work.models import KEEPING


@get("/me", **route("read", gives=Me))
async def read_me(caller: Caller, pool: Pool) -> Me:
    """Who the key belongs to and what it may do."""
    business = await stated.read(Db(pool), BUSINESS, caller.business_id, caller.business_id)
    return Me(
        business_id=caller.business_id,
        business_name=business.name,
        key_id=caller.key_id,
        scopes=caller.scopes,
        worker_id=caller.worker_id,
    )


@get("/business", **route("read", gives=Business, headers=("ETag",), status=(200, 304)))
async def read_business(request: Request[Any, Any, Any], caller: Caller, pool: Pool) -> Response[Business]:
    """The business and its settings."""
    kept = await stated.read(Db(pool), BUSINESS, caller.business_id, caller.business_id)
    return read_answer(request, kept, tag_of(kept.version))


@patch(
    "/business", **route("admin", takes=NewBusiness, media=MERGE_PATCH, gives=Business, refuses=(412, 428))
)
async def amend_business(
    body: bytes, caller: Caller, pool: Pool, now: datetime, if_match: IfMatch = None
) -> Response[Business]:
    """Amend the settings (RFC 7396 merge patch); needs If-Match."""
    async with entry(pool, caller.business_id, now, caller.key_id) as book:
        outcome = await stated.patch(book, BUSINESS, caller.business_id, body, if_match)
        if outcome.before is not None and outcome.before.house_policies != outcome.now.house_policies:
            if faults := policy_faults(outcome.now.house_policies):
                raise invalid(faults)
            await every_property_anew(book)
        if outcome.before is not None and outcome.before.zone != outcome.now.zone:
            await every_permit_anew(book)
        if outcome.before is not None and outcome.before.keep_years != outcome.now.keep_years:
            await put(book, KEEPING, caller.business_id, None, now)
    return stated.answered(BUSINESS, outcome)


@get("/api-keys", **route("admin", gives=Page[ApiKey], headers=("Link",)))
async def list_api_keys(
    request: Request[Any, Any, Any], caller: Caller, pool: Pool, after: After = None, limit: Limit = 100
) -> Response[Page[ApiKey]]:
    """Keys, oldest first; never their secrets."""
    (id_,) = place_after(request, after, UUID)
    rows = await Db(pool).many(
        ApiKey, sql.list_api_keys, business_id=caller.business_id, after_id=id_, most=limit + 1
    )
    return page(request, rows, limit, lambda row: (row.id,))


@post("/api-keys", **route("admin", takes=NewApiKey, gives=ApiKeyMade, status=(201,)))
async def make_api_key(body: bytes, caller: Caller, pool: Pool, now: datetime) -> Response[ApiKeyMade]:
    """A new key. It is shown in this answer and never again."""
    new = decode(body, NewApiKey, now)
    async with entry(pool, caller.business_id, now, caller.key_id) as book:
        await _check_worker(book, new.worker_id)
        made = await add_key(book.db, caller.business_id, new, now)
    return answer(made, status=201)


async def _check_worker(book: Entry, worker_id: UUID | None) -> None:
    """422 where the key would be given to somebody who is not in the book."""
    if worker_id is None:
        return
    if await book.db.maybe(Worker, WORKER.read, business_id=book.business_id, id=worker_id) is None:
        detail = "This worker is not in your book; add the worker first or mend the id."
        raise invalid([Fault(detail, "#/worker_id", "unknown_worker")])


@delete("/api-keys/{key_id:uuid}", **route("admin", gives=ApiKey), status_code=200)
async def revoke_api_key(key_id: UUID, caller: Caller, pool: Pool, now: datetime) -> ApiKey:
    """Revoke a key at once; revoking it again changes nothing."""
    async with entry(pool, caller.business_id, now, caller.key_id) as book:
        revoked = await book.db.maybe(
            ApiKey, sql.revoke_api_key, business_id=caller.business_id, id=key_id, now=now
        )
        if revoked is None:
            raise Missing("This API key")
        if revoked.revoked_at == now:
            book.tell(KeyRevoked(key_id=key_id, revoked_at=now), key_id)
    return revoked


router = Router(
    "/",
    route_handlers=[
        read_me,
        read_business,
        amend_business,
        *resource(WORKER),
        list_api_keys,
        make_api_key,
        revoke_api_key,
    ],
)
