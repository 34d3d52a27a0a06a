"""HTTP for amending one sign, set or catch in place: each is an amendment of the visit that states it."""

from datetime import datetime
from uuid import UUID

import msgspec
from litestar import Response, Router, patch, post

from service.amendments.models import CatchAmended, SetAmended, SignAmended
from service.amendments.rules import seen_from_fact, with_fact
from service.events.outbox import entry
from service.facts.models import NewVisit
from service.kernel.bodies import built, read_json
from service.kernel.db import Pool
from service.kernel.errors import Fault, Missing, Refused, invalid
from service.kernel.http import MERGE_PATCH, IfMatch, answer, check_precondition, route
from service.kernel.sql import Queries, Query
from service.keys.rules import Caller
from service.refusals.door import accepted
from service.refusals.door import sql as refusals
from service.refusals.models import RefusalRow
from service.visits.actions import store
from service.visits.models import Receipt
from service.visits.rules import visit_faults
from service.visits.storing import read_stored

sql = Queries(__package__)
REFUSES = (412, 422, 428)


async def _amend(
    find: Query,
    lists: tuple[str, ...],
    id_: UUID,
    raw: bytes,
    caller: Caller,
    pool: Pool,
    now: datetime,
    if_match: str | None,
) -> Response[Receipt]:
    change = read_json(raw)
    async with entry(pool, caller.business_id, now, caller.key_id) as book:
        visit_id = await book.db.value(find, business_id=caller.business_id, id=id_)
        stored = None if visit_id is None else await read_stored(book, visit_id)
        if stored is None:
            raise Missing("This fact")
        body, pointer = with_fact(msgspec.json.decode(stored.body), lists, id_, change)
        try:
            new = built(body, NewVisit, visit_faults(body, now))
        except Refused as refused:
            raise seen_from_fact(refused, pointer) from None
        check_precondition(if_match, f'"{stored.version}"')
        receipt = await store(book, caller, visit_id, new, if_match)
    return answer(receipt, etag=receipt.etag)


@patch(
    "/signs/{sign_id:uuid}",
    **route(
        "record", takes=SignAmended, media=MERGE_PATCH, gives=Receipt, refuses=REFUSES, headers=("ETag",)
    ),
)
async def amend_sign(
    sign_id: UUID, body: bytes, caller: Caller, pool: Pool, now: datetime, if_match: IfMatch = None
) -> Response[Receipt]:
    """Amend a sign; If-Match takes its `visit_etag`, the answer has the visit's new one."""
    return await _amend(sql.visit_of_sign, ("signs",), sign_id, body, caller, pool, now, if_match)


@patch(
    "/sets/{set_id:uuid}",
    **route("record", takes=SetAmended, media=MERGE_PATCH, gives=Receipt, refuses=REFUSES, headers=("ETag",)),
)
async def amend_set(
    set_id: UUID, body: bytes, caller: Caller, pool: Pool, now: datetime, if_match: IfMatch = None
) -> Response[Receipt]:
    """Amend a set's placing; If-Match takes its `visit_etag`, the answer has the visit's new one."""
    return await _amend(sql.visit_of_set, ("sets",), set_id, body, caller, pool, now, if_match)


@patch(
    "/catches/{catch_id:uuid}",
    **route(
        "record", takes=CatchAmended, media=MERGE_PATCH, gives=Receipt, refuses=REFUSES, headers=("ETag",)
    ),
)
async def amend_catch(
    catch_id: UUID, body: bytes, caller: Caller, pool: Pool, now: datetime, if_match: IfMatch = None
) -> Response[Receipt]:
    """Amend a catch; If-Match takes its `visit_etag`, the answer has the visit's new one."""
    return await _amend(sql.visit_of_catch, ("catches",), catch_id, body, caller, pool, now, if_match)


@post(
    "/refusals/{refusal_id:uuid}/accept",
    **route(
        "office",
        takes=NewVisit,
        gives=Receipt,
        status=(200, 201),
        refuses=(409, 412, 422, 428),
        headers=("ETag",),
    ),
)
async def accept_refusal(
    refusal_id: UUID, body: bytes, caller: Caller, pool: Pool, now: datetime, if_match: IfMatch = None
) -> Response[Receipt]:
    """Take the mended body of a refused visit under the same id; the original bytes then answer `same`."""
    untyped = read_json(body)
    async with entry(pool, caller.business_id, now, caller.key_id) as book:
        refusal = await book.db.maybe(
            RefusalRow, refusals.read_refusal, business_id=caller.business_id, id=refusal_id
        )
        if refusal is None:
            raise Missing("This refusal")
        if refusal.accepted_at is not None:
            raise Refused(
                "conflict",
                f"It was accepted already, as visit {refusal.accepted_visit_id}; amend that visit.",
            )
        new = built(untyped, NewVisit, visit_faults(untyped, now))
        visit_id = refusal.claimed_id or new.id
        if visit_id is None or new.id not in (None, visit_id):
            raise invalid([Fault(f"Send `id` as it was refused: {visit_id}.", "#/id", "other_id")])
        receipt = await store(book, caller, visit_id, new, if_match or new.amends)
        await accepted(book, refusal_id, visit_id)
    return answer(receipt, status=201 if receipt.outcome == "recorded" else 200, etag=receipt.etag)


router = Router("/", route_handlers=[amend_sign, amend_set, amend_catch, accept_refusal])
