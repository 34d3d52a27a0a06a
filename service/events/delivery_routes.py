"""HTTP for what an endpoint gets: its deliveries, a trial, a replay, and new keys to sign with."""

import re
from datetime import UTC, datetime, timedelta
from typing import Annotated, Any
from uuid import UUID

from litestar import Request, Response, get, post
from litestar.params import QueryParameter, RawBody
from msgspec import Struct
from msgspec.structs import asdict

from service.events import rules
from service.events.actions import MOST_AT_ONCE, load_endpoint
from service.events.keyring import add_keys, check_new, retire_keys, secret_or_fresh
from service.events.models import (
    DELIVERYNUMBER_FORM,
    Delivery,
    DeliveryShown,
    DeliveryState,
    Ping,
    PingSent,
    Replay,
    Replayed,
    Rotated,
    Rotation,
)
from service.events.outbox import entry
from service.events.signing import secret_text
from service.kernel.bodies import decode
from service.kernel.db import Db, Pool
from service.kernel.errors import Missing, invalid
from service.kernel.http import route
from service.kernel.paging import After, Limit, Page, decode_cursor, page
from service.kernel.sql import Queries
from service.keys.rules import Caller

sql = Queries(__package__)
AFTER_THE_LAST = 2**63 - 1
DELIVERYNUMBER = re.compile(DELIVERYNUMBER_FORM)
# a handler's parameter named `state` would be the framework's own
AskedState = Annotated[DeliveryState | None, QueryParameter(name="state")]
FIRST, LAST = datetime(1, 1, 1, tzinfo=UTC), datetime(9999, 12, 31, tzinfo=UTC)


@get(
    "/endpoints/{endpoint_id:uuid}/deliveries",
    **route("events", gives=Page[Delivery], headers=("Link",), refuses=(410,)),
)
async def list_deliveries(
    request: Request[Any, Any, Any],
    endpoint_id: UUID,
    caller: Caller,
    pool: Pool,
    after: After = None,
    limit: Limit = 100,
    asked_state: AskedState = None,
    event_id: UUID | None = None,
) -> Response[Page[Delivery]]:
    """What became of each event at this endpoint, newest first."""
    await load_endpoint(Db(pool), caller.business_id, endpoint_id)
    (number,) = decode_cursor(after, request.app.state.epoch, int) or (AFTER_THE_LAST,)
    rows = await Db(pool).many(
        Delivery,
        sql.list_deliveries,
        business_id=caller.business_id,
        endpoint_id=endpoint_id,
        before_deliverynumber=max(0, min(number, AFTER_THE_LAST)),
        states=["waiting", "delivered", "dead"] if asked_state is None else [asked_state],
        event_id=event_id,
        most=limit + 1,
    )
    return page(request, rows, limit, lambda row: (int(row.deliverynumber),))


@get(
    "/endpoints/{endpoint_id:uuid}/deliveries/{deliverynumber:str}",
    **route("events", gives=DeliveryShown),
)
async def read_delivery(endpoint_id: UUID, deliverynumber: str, caller: Caller, pool: Pool) -> DeliveryShown:
    """One delivery: the exact body that was or will be sent, and how the receiver's last answer began."""
    if DELIVERYNUMBER.fullmatch(deliverynumber) is None:
        raise Missing("This delivery")
    row = await Db(pool).maybe(
        _DeliveryRow,
        sql.read_delivery,
        business_id=caller.business_id,
        endpoint_id=endpoint_id,
        deliverynumber=int(deliverynumber),
    )
    if row is None:
        raise Missing("This delivery")
    answer = None if row.last_answer is None else row.last_answer.decode("utf-8", "replace")
    return DeliveryShown(**asdict(row) | {"last_answer": answer})


@post(
    "/endpoints/{endpoint_id:uuid}/test",
    **route("events", gives=PingSent, status=(202,), refuses=(409,)),
    status_code=202,
)
async def test_endpoint(endpoint_id: UUID, caller: Caller, pool: Pool, now: datetime) -> PingSent:
    """Send a `test.ping` to this endpoint alone, whatever types it takes.

    Where nothing is sent for a while because attempts failed, it is tried at once.
    """
    async with entry(pool, caller.business_id, now, caller.key_id) as book:
        rules.check_active(await load_endpoint(book.db, caller.business_id, endpoint_id))
        await book.db.run(sql.try_endpoint_now, business_id=caller.business_id, id=endpoint_id)
        event_id = book.tell(Ping(endpoint_id=endpoint_id), endpoint_id)
    return PingSent(event_id=event_id, event_type="test.ping")


@post(
    "/endpoints/{endpoint_id:uuid}/replay",
    **route("events", takes=Replay, gives=Replayed, status=(202,), refuses=(409,)),
    status_code=202,
)
async def replay_deliveries(
    endpoint_id: UUID, body: RawBody, caller: Caller, pool: Pool, now: datetime
) -> Replayed:
    """Send deliveries again: dead letters, or what the receiver has lost.

    Each keeps its id, sequence, deliverynumber and body, and has the whole schedule of attempts before it again. While
    the endpoint is paused they wait. Where nothing is sent for a while because attempts failed, it is tried at once.
    """
    wanted = decode(body, Replay, now)
    rules.check_replay(wanted)
    await load_endpoint(Db(pool), caller.business_id, endpoint_id)
    numbers = await _named(Db(pool), caller.business_id, endpoint_id, wanted)
    replayed, portion = 0, _Portion(count=MOST_AT_ONCE, last=0)
    while portion.count == MOST_AT_ONCE:
        # each in a transaction of its own: the business's other writers wait for none for long
        async with entry(pool, caller.business_id, now, caller.key_id) as book:
            await book.db.run(sql.try_endpoint_now, business_id=caller.business_id, id=endpoint_id)
            portion = await book.db.one(
                _Portion,
                sql.replay_deliveries,
                business_id=caller.business_id,
                endpoint_id=endpoint_id,
                now=now,
                deliverynumbers=numbers,
                states=[] if numbers else rules.states_to_replay(wanted),
                since=wanted.since or FIRST,
                until=wanted.until or LAST,
                after_deliverynumber=portion.last,
                most=MOST_AT_ONCE,
            )
        replayed += portion.count
    rules.check_replayed(wanted, replayed)
    return Replayed(replayed=replayed)


async def _named(db: Db, business_id: UUID, endpoint_id: UUID, wanted: Replay) -> list[int]:
    """The numbers of the deliveries that a replay names one by one; refuses what the endpoint does not have."""
    of = {"business_id": business_id, "endpoint_id": endpoint_id}
    if wanted.event_ids:
        found = await db.many(_Told, sql.list_numbers_of_events, event_ids=wanted.event_ids, **of)
        rules.check_told(wanted.event_ids, {one.event_id for one in found})
        return [one.deliverynumber for one in found]
    numbers = [int(number) for number in wanted.deliverynumbers]
    rules.check_known(numbers, await db.column(sql.list_known_numbers, deliverynumbers=numbers, **of))
    return numbers


@post(
    "/endpoints/{endpoint_id:uuid}/rotate",
    **route("events", takes=Rotation, gives=Rotated, refuses=(409,)),
    status_code=200,
)
async def rotate_keys(
    request: Request[Any, Any, Any],
    endpoint_id: UUID,
    body: RawBody,
    caller: Caller,
    pool: Pool,
    now: datetime,
) -> Rotated:
    """Give the endpoint new keys, a v1 secret and a v1a pair; until the overlap ends the old ones sign as well.

    The secret is shown in this answer, never again.
    """
    wanted = decode(body, Rotation, now)
    if faults := rules.secret_faults(wanted.secret):
        raise invalid(faults)
    secret = secret_or_fresh(wanted.secret)
    async with entry(pool, caller.business_id, now, caller.key_id) as book:
        await load_endpoint(book.db, caller.business_id, endpoint_id)
        key = request.app.state.sealing_key
        await check_new(book.db, key, caller.business_id, endpoint_id, secret, now)
        overlap = timedelta(hours=wanted.overlap_hours)
        until = await retire_keys(book.db, caller.business_id, endpoint_id, now, overlap)
        public = await add_keys(book.db, key, caller.business_id, endpoint_id, secret, now)
    return Rotated(secret=secret_text(secret), public_key=public, old_until_at=until)


class _Told(Struct, frozen=True):
    event_id: UUID
    deliverynumber: int


class _Portion(Struct, frozen=True):
    """Of a replay: how many deliveries, and the last one's number."""

    count: int
    last: int | None


class _DeliveryRow(Delivery, frozen=True, kw_only=True):
    """As the tables hold it: an answer need not be text."""

    body: str
    last_answer: bytes | None


HANDLERS = (list_deliveries, read_delivery, test_endpoint, replay_deliveries, rotate_keys)
