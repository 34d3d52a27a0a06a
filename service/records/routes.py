"""HTTP for service records. Each handler reads: load, decide, store, tell."""

import base64
import re
from datetime import date, datetime
from typing import Annotated, Any
from uuid import UUID

import msgspec
from litestar import Request, Response, Router, get, post
from litestar.di import Provide
from litestar.params import Parameter, QueryParameter
from litestar.response import Stream

from service.events.outbox import entry, latest_sequence
from service.kernel.bodies import decode
from service.kernel.canonical import sha256
from service.kernel.db import Db, Pool
from service.kernel.errors import Missing, Refused
from service.kernel.http import link_next, read_answer, route, weak_tag
from service.kernel.paging import Limit, Since, Until
from service.kernel.sql import Queries
from service.keys.rules import Caller
from service.records import export
from service.records.actions import issue
from service.records.answers import (
    NewRecord,
    RecordPage,
    RecordVersion,
    RecordVersions,
    RecordWithParty,
)
from service.records.facts import Stored
from service.records.models import ServiceRecord
from service.records.rules import month_in
from service.records.selection import (
    ClaimName,
    Selection,
    cursor_after,
    cursor_in,
    format_of,
    span_of,
)

sql = Queries(__package__)
_NAME = re.compile(r"([0-9]{4}-[0-9]{6})(?:\.([1-9][0-9]{0,5}))?")

BODIES = {"application/json": RecordPage, "application/x-ndjson": str, "text/csv": str}
WITH_PARTY = RecordWithParty.__struct_config__.tag
STREAMED = {"ndjson": "application/x-ndjson", "csv": "text/csv; header=present"}

AfterPlace = Annotated[
    str | None,
    Parameter(
        max_length=500,
        description="opaque cursor over the log: every version after it, once; empty: from the beginning",
    ),
]
Form = Annotated[str | None, QueryParameter(name="format", description="json, ndjson or csv; else by Accept")]
MonthName = Annotated[str | None, Parameter(max_length=20, description="local month of service: 2026-05")]
Raw = Annotated[bool, Parameter(description="CSV texts as they are, without the guard against formulas")]
WithParty = Annotated[bool, Parameter(description="with the persons beside the record")]


async def selection(
    request: Request[Any, Any, Any],
    caller: Caller,
    pool: Pool,
    after: AfterPlace = None,
    since: Since = None,
    until: Until = None,
    month: MonthName = None,
    property_id: UUID | None = None,
    customer_id: UUID | None = None,
    claim: ClaimName | None = None,
) -> Selection:
    """What the query asks for, as of now."""
    now_at = await latest_sequence(Db(pool), caller.business_id)
    latest, place, as_of = span_of(after, request.app.state.epoch, now_at)
    first_on, until_on = (date.min, date.max) if month is None else month_in(month)
    return Selection(
        latest=latest,
        after=place,
        as_of=as_of,
        since=max(since or date.min, first_on),
        until=min(until or date.max, until_on),
        property_id=property_id,
        customer_id=customer_id,
        claim=claim,
    )


@get(
    "/",
    dependencies={"chosen": Provide(selection)},
    **route("read", gives=RecordPage, produces=BODIES, headers=("Link",), refuses=(406, 410)),
)
async def list_service_records(
    request: Request[Any, Any, Any],
    caller: Caller,
    pool: Pool,
    chosen: Selection,
    form: Form = None,
    raw: Raw = False,
    limit: Limit = 100,
) -> Response[Any]:
    """The latest version of each record or, with `after`, every version after that place in the log, once.

    JSON in pages of `limit`; newline-delimited JSON whole, ended by a closing line; CSV whole, with a header.
    """
    wanted = format_of(form, request.headers.get("accept"))
    if wanted == "json":
        return await _page(request, Db(pool), caller.business_id, chosen, limit)
    cursor = cursor_after(chosen, request.app.state.epoch)
    body = (
        export.lines(Db(pool), caller.business_id, chosen, cursor)
        if wanted == "ndjson"
        else export.rows(Db(pool), caller.business_id, chosen, raw=raw)
    )
    return Stream(body, media_type=STREAMED[wanted], headers={"Link": link_next(request, cursor)})


async def _page(
    request: Request[Any, Any, Any], db: Db, business_id: UUID, chosen: Selection, limit: int
) -> Response[Any]:
    """A page as bytes: the records in it stay the text that was hashed."""
    epoch = request.app.state.epoch
    looked_at = await export.select(db, business_id, chosen, limit + 1)
    selected, more = looked_at[:limit], len(looked_at) > limit
    cursor = cursor_in(chosen, selected[-1].sequence, epoch) if more else cursor_after(chosen, epoch)
    text = await export.read_lines(db, business_id, selected)
    excluded = await export.read_excluded(db, business_id, selected)
    items = [msgspec.Raw(line) for line in text.splitlines()]
    content = msgspec.json.encode({"items": items, "next": cursor, "excluded": excluded})
    headers = {"Link": link_next(request, cursor)} if more else {}
    return Response(content, media_type="application/json", headers=headers)


@get(
    "/{record:str}",
    **route(
        "read",
        gives=RecordVersions | ServiceRecord | RecordWithParty,
        headers=("ETag",),
        status=(200, 304),
    ),
)
async def read_service_record(
    request: Request[Any, Any, Any], caller: Caller, pool: Pool, record: str, party: WithParty = False
) -> Response[Any]:
    """All versions of `YYYY-NNNNNN` in short, or the immutable bytes of `YYYY-NNNNNN.v`."""
    name = _NAME.fullmatch(record)
    if name is None:
        raise Missing(f"A service record {record[:40]!r}")
    number, version = name.groups()
    if version is None:
        found = await Db(pool).many(
            RecordVersion, sql.list_versions, business_id=caller.business_id, number=number
        )
        if not found:
            raise Missing(f"Service record {number}")
        versions = RecordVersions(number=number, versions=found)
        return read_answer(request, versions, weak_tag(versions))
    stored = await Db(pool).maybe(
        Stored, sql.read_version, business_id=caller.business_id, number=number, version=int(version)
    )
    if stored is None:
        raise Missing(f"Service record {record}")
    return _stored(request, stored, party=party)


def _stored(request: Request[Any, Any, Any], stored: Stored, *, party: bool) -> Response[Any]:
    """The bytes with a tag and a digest (RFC 9530), or the record with the persons beside it."""
    if party:
        record = msgspec.Raw(stored.bytes.encode())
        beside = {"noun": WITH_PARTY, "record": record, "sha256": stored.sha256, "party": stored.party}
        content = msgspec.json.encode(beside)
        tag = weak_tag(stored)
    else:
        content, tag = stored.bytes.encode(), f'"{stored.sha256}"'
    answered = read_answer(request, content, tag)
    answered.media_type = "application/json"
    answered.headers["Repr-Digest"] = f"sha-256=:{base64.b64encode(sha256(content)).decode()}:"
    return answered


@post(
    "/",
    **route(
        "office",
        takes=NewRecord,
        gives=ServiceRecord,
        status=(200, 201),
        refuses=(404, 409),
        headers=("ETag", "Location"),
    ),
)
async def issue_service_record(body: bytes, caller: Caller, pool: Pool, now: datetime) -> Response[Any]:
    """Issue a visit's record now, or its next version where it has changed; else the latest there is."""
    new = decode(body, NewRecord, now)
    async with entry(pool, caller.business_id, now, caller.key_id) as book:
        issued = await issue(book, new.visit_id)
        stored = await book.db.maybe(
            Stored, sql.read_latest_of_visit, business_id=caller.business_id, visit_id=new.visit_id
        )
    if stored is None:
        raise Refused("conflict", "This visit was withdrawn before it had a record; there is none to issue.")
    return Response(
        stored.bytes.encode(),
        status_code=200 if issued is None else 201,
        media_type="application/json",
        headers={
            "ETag": f'"{stored.sha256}"',
            "Location": f"/v1/service-records/{stored.number}.{stored.version}",
        },
    )


router = Router(
    "/service-records", route_handlers=[list_service_records, read_service_record, issue_service_record]
)
