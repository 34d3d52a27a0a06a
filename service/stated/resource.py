"""The handlers that every stated noun has: list, add, read, put, amend, history. Walked here once for all."""

from collections.abc import Awaitable, Callable
from datetime import datetime
from typing import Any, TypeVar
from uuid import UUID

import msgspec
from litestar import Request, Response, delete, get, patch, post, put
from litestar.handlers import HTTPRouteHandler

from service.events.outbox import Entry, entry
from service.kernel.bodies import decode
from service.kernel.db import Db, Pool
from service.kernel.http import MERGE_PATCH, IfMatch, read_answer, route, tag_of
from service.kernel.ids import new_id
from service.kernel.paging import After, Limit, Page, page, place_after
from service.kernel.values import Scope
from service.keys.rules import Caller
from service.stated import door
from service.stated.door import Noun, Outcome
from service.stated.models import Stated, Version

New = TypeVar("New", bound=msgspec.Struct)
Kept = TypeVar("Kept", bound=Stated)
Changed = Callable[[Entry, Outcome[Any]], Awaitable[None]]
AnyRequest = Request[Any, Any, Any]
WRITES = (409, 412, 422, 428)


async def nothing_follows(_: Entry, __: Outcome[Any]) -> None:
    """Most nouns change nothing but themselves."""


def resource(
    noun: Noun[New, Kept], scope: Scope = "office", follow: Changed = nothing_follows
) -> list[HTTPRouteHandler]:
    """The handlers of a noun; `follow` is done in the same transaction where something changed.

    A noun whose path holds `{property_id:uuid}` takes its property from there.
    """
    kept, new, words = noun.kept, noun.new, noun.name.replace("_", " ")
    every = f"/{noun.path}"
    one = f"{every}/{{id:uuid}}"

    listing = route("read", gives=Page[kept], headers=("Link",))  # type: ignore[valid-type]
    listed = f"Each {words}, in order of id"

    async def rows(
        request: AnyRequest,
        caller: Caller,
        pool: Pool,
        after: str | None,
        limit: int,
        **narrowed: UUID | None,
    ) -> Response[Any]:
        (after_id,) = place_after(request, after, UUID)
        await door.check_parent(Db(pool), noun, caller.business_id, _property(request))
        found = await Db(pool).many(
            kept, noun.list, business_id=caller.business_id, after_id=after_id, most=limit + 1, **narrowed
        )
        return page(request, found, limit, lambda row: (row.id,))

    @get(every, **listing, operation_id=f"list_{noun.name}", summary=listed)
    async def list_all(
        request: AnyRequest, caller: Caller, pool: Pool, after: After = None, limit: Limit = 100
    ) -> Response[Any]:
        return await rows(request, caller, pool, after, limit)

    @get(every, **listing, operation_id=f"list_{noun.name}", summary=listed)
    async def list_of_property(
        request: AnyRequest,
        caller: Caller,
        pool: Pool,
        property_id: UUID | None = None,
        after: After = None,
        limit: Limit = 100,
    ) -> Response[Any]:
        return await rows(request, caller, pool, after, limit, property_id=property_id)

    @post(
        every,
        **route(scope, takes=new, gives=kept, status=(201,), refuses=WRITES, headers=("ETag", "Location")),
        operation_id=f"add_{noun.name}",
        summary=f"Add a {words}, with an id of ours",
    )
    async def add(
        request: AnyRequest, body: bytes, caller: Caller, pool: Pool, now: datetime
    ) -> Response[Any]:
        stated = decode(body, new, now)
        async with entry(pool, caller.business_id, now, caller.key_id) as book:
            outcome = await door.put(book, noun, new_id(), stated, None, _property(request))
            await follow(book, outcome)
        return door.answered(noun, outcome)

    @get(
        one,
        **route("read", gives=kept, status=(200, 304), headers=("ETag",)),
        operation_id=f"read_{noun.name}",
        summary=f"One {words}",
    )
    async def read_one(request: AnyRequest, id: UUID, caller: Caller, pool: Pool) -> Response[Any]:
        found = await door.read(Db(pool), noun, caller.business_id, id, _property(request))
        return read_answer(request, found, tag_of(found.version))

    @get(
        f"{one}/versions",
        **route("read", gives=list[Version]),
        operation_id=f"list_versions_of_{noun.name}",
        summary=f"The history of a {words}, oldest first",
    )
    async def list_versions(request: AnyRequest, id: UUID, caller: Caller, pool: Pool) -> list[Version]:
        # what was withdrawn can no longer be read, but its history can; nothing under a property is withdrawn
        if noun.parent is not None:
            await door.read(Db(pool), noun, caller.business_id, id, _property(request))
        return await door.versions(Db(pool), noun, caller.business_id, id)

    @put(
        one,
        **route(
            scope, takes=new, gives=kept, status=(200, 201), refuses=WRITES, headers=("ETag", "Location")
        ),
        operation_id=f"put_{noun.name}",
        summary=f"Create a {words} under an id of yours, or amend it with If-Match",
    )
    async def put_one(
        request: AnyRequest,
        id: UUID,
        body: bytes,
        caller: Caller,
        pool: Pool,
        now: datetime,
        if_match: IfMatch = None,
    ) -> Response[Any]:
        stated = decode(body, new, now)
        async with entry(pool, caller.business_id, now, caller.key_id) as book:
            outcome = await door.put(book, noun, id, stated, if_match, _property(request))
            if outcome.changed:
                await follow(book, outcome)
        return door.answered(noun, outcome)

    @patch(
        one,
        **route(scope, takes=new, media=MERGE_PATCH, gives=kept, refuses=WRITES, headers=("ETag",)),
        operation_id=f"amend_{noun.name}",
        summary=f"Amend a {words} by a merge patch (RFC 7396), with If-Match",
    )
    async def amend(
        request: AnyRequest,
        id: UUID,
        body: bytes,
        caller: Caller,
        pool: Pool,
        now: datetime,
        if_match: IfMatch = None,
    ) -> Response[Any]:
        async with entry(pool, caller.business_id, now, caller.key_id) as book:
            outcome = await door.patch(book, noun, id, body, if_match, _property(request))
            if outcome.changed:
                await follow(book, outcome)
        return door.answered(noun, outcome)

    lists = list_of_property if "property_id" in noun.list.parameters else list_all
    handlers = [lists, add, read_one, list_versions, put_one, amend]
    if noun.delete is None:
        return handlers
    taking_back = noun.delete

    @delete(
        one,
        **route(scope, gives=kept, refuses=(409, 412, 428)),
        operation_id=f"withdraw_{noun.name}",
        summary=f"Withdraw a {words}; its history stays",
        status_code=200,
    )
    async def take_back(
        id: UUID, caller: Caller, pool: Pool, now: datetime, if_match: IfMatch = None
    ) -> Response[Any]:
        async with entry(pool, caller.business_id, now, caller.key_id) as book:
            before = await door.withdraw(book, noun, taking_back, id, if_match)
            await follow(book, Outcome(before, before))
        return Response(before)

    return [*handlers, take_back]


def _property(request: AnyRequest) -> UUID | None:
    """The property in the path, for a noun that stands under one."""
    property_id: UUID | None = request.path_params.get("property_id")
    return property_id
