"""HTTP for rule packs: those that come with the package, to be read, and the business's own, to be stated."""

from datetime import datetime
from typing import Annotated, Any
from uuid import UUID

import msgspec
from litestar import Request, Response, Router, delete, get, patch, post, put
from litestar.params import Parameter

from service.events.outbox import Entry, entry
from service.kernel.db import Db, Pool
from service.kernel.errors import Refused
from service.kernel.http import (
    MERGE_PATCH,
    IfMatch,
    answer,
    check_precondition,
    read_answer,
    route,
    tag_of,
    weak_tag,
)
from service.kernel.ids import new_id
from service.kernel.paging import After, Limit, Page, page, place_after
from service.kernel.values import REGION
from service.keys.rules import Caller
from service.packs.answers import is_near, own_pack, shipped_pack, written_pack
from service.packs.door import PACK, shipped_by_id, sql
from service.packs.models import NewPack, Pack, PackShown, PackWritten
from service.packs.reading import check_fits, pack_in
from service.packs.rules import shipped
from service.stated import door as stated
from service.stated.models import Version
from service.work.door import properties_anew_in

InRegion = Annotated[
    str | None,
    Parameter(
        pattern=REGION,
        description="only what holds in this region, in a part of it or in what it is a part of, e.g. US-WA",
    ),
]


@get("/", **route("read", gives=Page[PackShown], headers=("Link",)))
async def list_rule_packs(
    request: Request[Any, Any, Any],
    caller: Caller,
    pool: Pool,
    region: InRegion = None,
    after: After = None,
    limit: Limit = 100,
) -> Response[Page[PackShown]]:
    """The packs that come with the package and the business's own, in order of id."""
    (after_id,) = place_after(request, after, UUID)
    own = await Db(pool).many(
        Pack,
        sql.list_rule_packs,
        business_id=caller.business_id,
        after_id=after_id,
        most=limit + 1,
        region=region,
    )
    rows = [own_pack(one) for one in own]
    rows += [
        shipped_pack(id_, one)
        for id_, one in shipped_by_id().items()
        if id_ > after_id and is_near(one, region)
    ]
    rows.sort(key=lambda one: one.id)
    return page(request, rows, limit, lambda one: (one.id,))


@get("/{pack_id:uuid}", **route("read", gives=PackShown, status=(200, 304), headers=("ETag",)))
async def read_rule_pack(
    request: Request[Any, Any, Any], pack_id: UUID, caller: Caller, pool: Pool
) -> Response[Any]:
    """One rule pack, with how old the reading of its text is."""
    if pack_id in shipped_by_id():
        found = shipped_pack(pack_id, shipped_by_id()[pack_id])
        return read_answer(request, found, weak_tag(found))
    kept = await stated.read(Db(pool), PACK, caller.business_id, pack_id)
    return read_answer(request, own_pack(kept), tag_of(kept.version))


@get("/{pack_id:uuid}/versions", **route("read", gives=list[Version]))
async def list_versions_of_rule_pack(pack_id: UUID, caller: Caller, pool: Pool) -> list[Version]:
    """The history of a rule pack of the business, oldest first, also where it was withdrawn."""
    return await stated.versions(Db(pool), PACK, caller.business_id, pack_id)


@post(
    "/",
    **route(
        "office",
        takes=NewPack,
        gives=PackWritten,
        status=(201,),
        refuses=(409, 422),
        headers=("ETag", "Location"),
    ),
)
async def add_rule_pack(body: bytes, caller: Caller, pool: Pool, now: datetime) -> Response[PackWritten]:
    """Add a rule pack of the business, with an id of ours; every deadline that it covers is worked out anew."""
    new = pack_in(body, now)
    async with entry(pool, caller.business_id, now, caller.key_id) as book:
        return await _put(book, new_id(), new, body, None)


@put(
    "/{pack_id:uuid}",
    **route(
        "office",
        takes=NewPack,
        gives=PackWritten,
        status=(200, 201),
        refuses=(409, 412, 422, 428),
        headers=("ETag", "Location"),
    ),
)
async def put_rule_pack(
    pack_id: UUID, body: bytes, caller: Caller, pool: Pool, now: datetime, if_match: IfMatch = None
) -> Response[PackWritten]:
    """Add a rule pack with an id of one's own, or amend it with If-Match; sent again it changes nothing."""
    _check_own(pack_id)
    new = pack_in(body, now)
    async with entry(pool, caller.business_id, now, caller.key_id) as book:
        return await _put(book, pack_id, new, body, if_match)


@patch(
    "/{pack_id:uuid}",
    **route(
        "office",
        takes=NewPack,
        media=MERGE_PATCH,
        gives=PackWritten,
        refuses=(409, 412, 422, 428),
        headers=("ETag",),
    ),
)
async def amend_rule_pack(
    pack_id: UUID, body: bytes, caller: Caller, pool: Pool, now: datetime, if_match: IfMatch = None
) -> Response[PackWritten]:
    """Amend a rule pack by a merge patch (RFC 7396), with If-Match."""
    _check_own(pack_id)
    async with entry(pool, caller.business_id, now, caller.key_id) as book:
        before = await stated.read(book.db, PACK, book.business_id, pack_id)
        new = pack_in(body, now, msgspec.to_builtins(stated.stated_of(before, NewPack)))
        check_precondition(if_match, tag_of(before.version))
        return await _put(book, pack_id, new, body, if_match)


@delete("/{pack_id:uuid}", **route("office", gives=PackWritten, refuses=(409, 412, 428)), status_code=200)
async def withdraw_rule_pack(
    pack_id: UUID, caller: Caller, pool: Pool, now: datetime, if_match: IfMatch = None
) -> PackWritten:
    """Withdraw a rule pack; its history stays, and every deadline that it covered is worked out anew."""
    _check_own(pack_id)
    async with entry(pool, caller.business_id, now, caller.key_id) as book:
        before = await stated.withdraw(book, PACK, sql.delete_rule_pack, pack_id, if_match)
        return written_pack(before, await properties_anew_in(book, [before.region]))


async def _put(
    book: Entry, pack_id: UUID, new: NewPack, raw: bytes, if_match: str | None
) -> Response[PackWritten]:
    """Store a pack that fits beside the others, and queue the properties in its region before and now."""
    others = await book.db.many(
        Pack, sql.list_rule_packs_named, business_id=book.business_id, name=new.name, id=pack_id
    )
    check_fits(raw, new, [*shipped(), *others])
    outcome = await stated.put(book, PACK, pack_id, new, if_match)
    packs = [outcome.now] if outcome.before is None else [outcome.before, outcome.now]
    queued = await properties_anew_in(book, [one.region for one in packs]) if outcome.changed else 0
    return answer(
        written_pack(outcome.now, queued),
        status=201 if outcome.before is None else 200,
        etag=tag_of(outcome.now.version),
        location=f"/v1/rule-packs/{pack_id}" if outcome.before is None else None,
    )


def _check_own(pack_id: UUID) -> None:
    """409 for a pack of the package."""
    if pack_id in shipped_by_id():
        raise Refused(
            "conflict",
            "This rule pack comes with the package and stays as it is; "
            "state one of your own under another name, and the rules of both hold.",
        )


router = Router(
    "/rule-packs",
    route_handlers=[
        list_rule_packs,
        read_rule_pack,
        list_versions_of_rule_pack,
        add_rule_pack,
        put_rule_pack,
        amend_rule_pack,
        withdraw_rule_pack,
    ],
)
