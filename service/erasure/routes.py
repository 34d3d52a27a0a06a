"""HTTP for what is held on a person: handed out, and erased."""

from collections.abc import Awaitable, Callable
from datetime import datetime
from typing import Any
from uuid import UUID

from litestar import Response, Router, get, post

from service.customers.door import CUSTOMER
from service.erasure.actions import (
    NOWHERE,
    About,
    about,
    erase_customer,
    erase_worker,
    histories,
    refusals,
    sql,
)
from service.erasure.days import is_history_of, is_refused_of
from service.erasure.models import Erasure, Held, NewErasure, PersonalData
from service.erasure.rules import named_in
from service.events.outbox import Entry, entry
from service.identity.door import WORKER
from service.kernel.bodies import decode
from service.kernel.db import Db, Pool
from service.kernel.errors import Fault, invalid
from service.kernel.http import answer, route
from service.kernel.sentences import shown
from service.keys.rules import Caller
from service.stated import door as stated

ERASES: dict[str, Any] = route("office", takes=NewErasure, gives=Erasure, refuses=(404, 409, 422))
HOLDS: dict[str, Any] = route("office", gives=PersonalData, refuses=(404,))
NO_STORE = {"Cache-Control": "no-store"}


@post("/customers/{customer_id:uuid}/erase", status_code=200, **ERASES)
async def erase_a_customer(
    customer_id: UUID, body: bytes, caller: Caller, pool: Pool, now: datetime
) -> Response[Erasure]:
    """Erase a customer's name, addresses and texts; what was done stays, and records verify on.

    409 while a text bids to keep it, 422 where the ground names the person. It cannot be undone; erased again, the
    first erasure is answered.
    """
    return await _erased(CUSTOMER, erase_customer, customer_id, body, caller, pool, now)


@post("/workers/{worker_id:uuid}/erase", status_code=200, **ERASES)
async def erase_a_worker(
    worker_id: UUID, body: bytes, caller: Caller, pool: Pool, now: datetime
) -> Response[Erasure]:
    """Erase a former worker's name and licences, and with the name the persons beside the worker's records.

    409 while a key of the worker is in force, or a text bids to keep what names the worker, 422 where the ground names
    the worker. It cannot be undone.
    """
    return await _erased(WORKER, erase_worker, worker_id, body, caller, pool, now)


async def _erased(
    noun: stated.Noun[Any, Any],
    erase: Callable[[Entry, UUID, str], Awaitable[Erasure]],
    id_: UUID,
    body: bytes,
    caller: Caller,
    pool: Pool,
    now: datetime,
) -> Response[Erasure]:
    new = decode(body, NewErasure, now)
    async with entry(pool, caller.business_id, now, caller.key_id) as book:
        person = await stated.read(book.db, noun, caller.business_id, id_)
        words = [getattr(person, one, None) for one in ("name", "email", "phone")]
        if person.erased is None and (word := named_in(new.ground, words)):
            sentence = f"The ground is shown for ever; say it without {shown(word)}, which is to be erased."
            raise invalid([Fault(sentence, "#/ground", "names_a_person")])
        done = await erase(book, id_, new.ground)
    return answer(done)


@get("/customers/{customer_id:uuid}/personal-data", **HOLDS)
async def read_personal_data_of_customer(
    customer_id: UUID, caller: Caller, pool: Pool, now: datetime
) -> Response[PersonalData]:
    """All that is held on a customer, each with where it stands: to be handed to the person.

    At a property of several, what is of the customer's own days. What is worked out from it (states, deadlines,
    conflicts) is not told again.
    """
    db, business_id = Db(pool), caller.business_id
    await stated.read(db, CUSTOMER, business_id, customer_id)
    known = await about(db, business_id, customer_id)
    homes = known.by_id
    held = await db.many(
        Held,
        sql.list_held_of_customer,
        business_id=business_id,
        customer_id=customer_id,
        last_held=known.last_held,
        theirs=known.theirs,
        visit_ids=known.visit_ids,
        version_ids=[one.id for one in known.versions],
        versions=[one.version for one in known.versions],
        whole_ids=known.whole_ids,
    )
    refused = [
        Held(
            noun="refused visit",
            id=str(one.id),
            data={"received_at": one.received_at, "body": one.body.decode(errors="replace")},
        )
        for one in await refusals(db, business_id, known)
        if is_refused_of(one, homes)
    ]
    history = await _history(db, business_id, "customer", customer_id, known)
    return Response(
        PersonalData(id=customer_id, as_of=now, held=[*held, *refused, *history]), headers=NO_STORE
    )


@get("/workers/{worker_id:uuid}/personal-data", **HOLDS)
async def read_personal_data_of_worker(
    worker_id: UUID, caller: Caller, pool: Pool, now: datetime
) -> Response[PersonalData]:
    """All that is held on a worker, each with where it stands: to be handed to the person."""
    db, business_id = Db(pool), caller.business_id
    await stated.read(db, WORKER, business_id, worker_id)
    held = await db.many(Held, sql.list_held_of_worker, business_id=business_id, worker_id=worker_id)
    history = await _history(db, business_id, "worker", worker_id, NOWHERE)
    return Response(PersonalData(id=worker_id, as_of=now, held=[*held, *history]), headers=NO_STORE)


async def _history(db: Db, business_id: UUID, noun: str, id_: UUID, known: About) -> list[Held]:
    """Earlier and present versions as they were stated."""
    found = await histories(db, business_id, noun, id_, known, is_history_of)
    return [Held(noun=f"{one.noun}, version {one.version}", id=str(one.id), data=one.body) for one in found]


router = Router(
    "/",
    route_handlers=[
        erase_a_customer,
        erase_a_worker,
        read_personal_data_of_customer,
        read_personal_data_of_worker,
    ],
)
