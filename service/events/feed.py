"""The log over HTTP: read on from a cursor, wait for more (RFC 7240), or follow as it comes (server-sent events)."""

import asyncio
import re
from collections.abc import AsyncIterator, Coroutine
from dataclasses import dataclass
from typing import Annotated, Any, TypeVar
from uuid import UUID

import msgspec
from litestar import Request, Response, get
from litestar.params import HeaderParameter, Parameter
from litestar.response import Stream

from service.events import rules
from service.events.bell import Bell, within
from service.events.envelope import envelope
from service.events.models import Envelope, EventPage, LoggedEvent
from service.events.outbox import latest_sequence
from service.kernel.db import LOST, Db, Pool
from service.kernel.errors import Refused
from service.kernel.http import accepted, link_next, preference, route
from service.kernel.paging import Limit, decode_cursor, encode_cursor
from service.kernel.sql import Queries
from service.keys.guard import authorise
from service.keys.rules import Caller

sql = Queries(__package__)
S = TypeVar("S")

# below the minute after which proxies commonly give up on an answer
LONGEST_WAIT_SECONDS = 50
HEARTBEAT_SECONDS = 15.0
# a slow reader is sent no more than it takes; this much at most waits for it, a few times over
MOST_AT_ONCE = 50
JSON, EVENT_STREAM = "application/json", "text/event-stream"
# who loses us comes back after a second
OPENING = b"retry: 1000\n\n"
HEARTBEAT = b": still here\n\n"
# nothing between us and the reader is to keep what passes, or to hold it back until there is more
UNKEPT = {"Cache-Control": "no-store", "X-Accel-Buffering": "no"}

# where a reader begins who has no cursor: a number of the log, as webhooks bring it, or the log's end
SEQUENCE = re.compile("[0-9]{1,20}")
LATEST = "latest"

Start = Annotated[
    str | None,
    Parameter(
        max_length=500,
        description="where to go on from: `next` of the page before, or the `sequence` of the last event read, or "
        "`latest` for what is told from now on; without it, or empty, from the beginning",
    ),
]
Types = Annotated[
    str | None,
    Parameter(max_length=2_000, description="event types parted by commas, e.g. check.overdue,lawn.*"),
]
Prefer = Annotated[
    str | None,
    HeaderParameter(
        name="Prefer",
        description="wait=30 waits up to so many seconds (50 at most) for something to come (RFC 7240)",
    ),
]
LastEventId = Annotated[
    str | None,
    HeaderParameter(
        name="Last-Event-ID", description="of a stream: the id of the last event read; it outdoes `after`"
    ),
]


class Told(msgspec.Struct, frozen=True):
    """Some of the log, in order, and the place up to which it was read."""

    events: list[Envelope]
    place: int


@dataclass(frozen=True)
class Log:
    """One business's log, as one reader wants it."""

    pool: Pool
    bell: Bell
    public_url: str
    business_id: UUID
    types: list[str]

    async def read(self, place: int, most: int) -> Told:
        """What was told after that place, at once."""
        latest = await latest_sequence(Db(self.pool), self.business_id)
        if place >= latest:
            return Told([], latest)
        rows = await Db(self.pool).many(
            LoggedEvent,
            sql.list_events,
            business_id=self.business_id,
            after_sequence=place,
            latest_sequence=latest,
            types=self.types,
            most=most,
        )
        events = [envelope(row, self.public_url) for row in rows]
        return Told(events, rows[-1].sequence if len(rows) == most else latest)

    async def next(self, place: int, most: int, seconds: float) -> Told:
        """What was told after that place, at once or when it comes; nothing where none does within so many seconds."""
        clock = asyncio.get_running_loop().time
        until = clock() + seconds
        while True:
            rung = self.bell.next_ring(self.business_id)
            told = await self.read(place, most)
            if told.events or self.bell.stopped or not await within(rung, until - clock()):
                return told
            place = told.place


@get(
    "/events",
    **route(
        "events",
        gives=EventPage,
        produces={JSON: EventPage, EVENT_STREAM: str},
        headers=("Link", "Preference-Applied"),
        refuses=(410,),
    ),
)
async def list_events(
    request: Request[Any, Any, Any],
    caller: Caller,
    pool: Pool,
    after: Start = None,
    types: Types = None,
    limit: Limit = 100,
    prefer: Prefer = None,
    last_event_id: LastEventId = None,
) -> Response[Any]:
    """The log in its order, without gaps. `next` is the cursor to go on from, now or when more is told.

    A `sequence`, as webhooks bring it, does as well for `after`: one from before the trouble, as they may overtake one
    another. Only `next` surely notices a restored database.
    With `Prefer: wait=30` an answer that would be empty waits for something to come. With `Accept: text/event-stream`
    it is a stream of server-sent events that goes on for ever: each has the cursor as its `id`, its type as `event` and
    the CloudEvent as `data`; sent as `Last-Event-ID`, as browsers do by themselves, the id resumes it. `limit` does not
    end it.
    """
    state = request.app.state
    log = Log(pool, state.bell, state.public_url, caller.business_id, rules.types_in(types))
    wants_stream = accepted(request.headers.get("accept"), {JSON: False, EVENT_STREAM: True})
    resumed = last_event_id if wants_stream else None
    start, name = (resumed, "Last-Event-ID") if resumed else (after, "after")
    place = await _place(log, start, state.epoch, name)
    if wants_stream:
        return _stream(request, log, place)
    seconds = wait_asked(request) if prefer and log.bell.has_room(log.business_id) else 0
    told = await _waited(request, log, place, limit, seconds) if seconds else await log.read(place, limit)
    cursor = encode_cursor(state.epoch, told.place)
    headers = {"Link": link_next(request, cursor)} if len(told.events) == limit else {}
    headers |= {"Preference-Applied": f"wait={seconds}"} if seconds else {}
    return Response(EventPage(events=told.events, next=cursor), headers=headers)


async def _place(log: Log, text: str | None, epoch: UUID, name: str) -> int:
    """The place in the log that a reader goes on from; refuses what names none, by the name that it came under."""
    if text == LATEST:
        return await latest_sequence(Db(log.pool), log.business_id)
    if text is None or SEQUENCE.fullmatch(text) is None:
        (place,) = decode_cursor(text, epoch, int, name=name) or (0,)
        return int(place)
    latest = await latest_sequence(Db(log.pool), log.business_id)
    if int(text) > latest:
        raise Refused(
            "cursor_gone",
            f"The log ends at {latest:020}, before the sequence in `{name}`: it is another business's, or the database "
            f"was restored; then leave `{name}` out and read all again.",
        )
    return int(text)


def wait_asked(request: Request[Any, Any, Any]) -> int:
    """Seconds that the client is ready to wait (RFC 7240 section 4.3), within bounds; 0 where it says none."""
    text = preference(request.headers.getall("prefer", []), "wait") or ""
    is_number = text.isascii() and text.isdigit() and not request.state.get("is_head")
    return min(int(text[:9]), LONGEST_WAIT_SECONDS) if is_number else 0


async def _waited(request: Request[Any, Any, Any], log: Log, place: int, most: int, seconds: float) -> Told:
    """What comes within that time; who has gone away meanwhile is told nothing, nor one whose key no longer opens."""
    with log.bell.waiting(log.business_id):
        told = await unless_gone(request, log.next(place, most, seconds))
    if told is None:
        return Told([], place)
    await authorise(request, request.route_handler)
    return told


async def unless_gone(request: Request[Any, Any, Any], coming: Coroutine[Any, Any, S]) -> S | None:
    """What comes; None, and it is given up, where the client goes away first."""
    both = (asyncio.create_task(coming), asyncio.create_task(_gone(request)))
    try:
        await asyncio.wait(both, return_when=asyncio.FIRST_COMPLETED)
        return both[0].result() if both[0].done() else None
    finally:
        for one in both:
            one.cancel()
        await asyncio.gather(*both, return_exceptions=True)


async def _gone(request: Request[Any, Any, Any]) -> None:
    while (await request.receive())["type"] != "http.disconnect":
        pass


def _stream(request: Request[Any, Any, Any], log: Log, place: int) -> Response[Any]:
    """The answer that does not end by itself; to HEAD its beginning is all of it."""
    if request.state.get("is_head"):
        return Response(None, media_type=EVENT_STREAM, headers=UNKEPT)
    if not log.bell.has_room(log.business_id):
        detail = "As many streams and waits are open as can be; close one, or pull without `Prefer: wait`."
        raise Refused("unavailable", detail, headers={"Retry-After": "10"})
    return Stream(_blocks(request, log, place), media_type=EVENT_STREAM, headers=UNKEPT)


async def _blocks(request: Request[Any, Any, Any], log: Log, place: int) -> AsyncIterator[bytes]:
    """Blocks of the stream, until the server stops or the key no longer opens the log; it outlives the database."""
    with log.bell.waiting(log.business_id):
        yield OPENING
        while not log.bell.stopped:
            rung = log.bell.next_ring(log.business_id)
            try:
                told = await log.next(place, MOST_AT_ONCE, HEARTBEAT_SECONDS)
                await authorise(request, request.route_handler)
            except Refused:
                return
            except LOST:
                told = Told([], place)
                await within(rung, HEARTBEAT_SECONDS)
            place = told.place
            yield b"".join(block(event, request.app.state.epoch) for event in told.events) or HEARTBEAT


def block(event: Envelope, epoch: UUID) -> bytes:
    """One event of a stream (WHATWG HTML, section 9.2.6); our JSON has no line breaks."""
    cursor = encode_cursor(epoch, int(event.sequence))
    return f"id: {cursor}\nevent: {event.type}\ndata: ".encode() + msgspec.json.encode(event) + b"\n\n"
