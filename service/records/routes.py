"""HTTP for service records. Each handler reads: load, decide, store, tell."""

import base64
import re
from datetime import datetime
from typing import Annotated, Any

from litestar import Request, Response, Router, get, post
from litestar.params import Parameter

from service.events.outbox import entry
from service.kernel.bodies import decode
from service.kernel.canonical import sha256
from service.kernel.db import Db, Pool
from service.kernel.errors import Missing, Refused
from service.kernel.http import read_answer, route, weak_tag
from service.kernel.sql import Queries
from service.keys.rules import Caller
from service.records.actions import issue
from service.records.answers import (
    NewRecord,
    RecordVersion,
    RecordVersions,
    RecordWithParty,
)
from service.records.facts import Stored
from service.records.models import SignedRecord
from service.records.rules import with_party

sql = Queries(__package__)
_NAME = re.compile(r"([0-9]{4}-[0-9]{6})(?:\.([1-9][0-9]{0,5}))?")

WithParty = Annotated[bool, Parameter(description="with the persons beside the record")]


@get(
    "/{record:str}",
    **route(
        "read",
        gives=RecordVersions | SignedRecord | RecordWithParty,
        headers=("ETag",),
        status=(200, 304),
    ),
)
async def read_service_record(
    request: Request[Any, Any, Any], caller: Caller, pool: Pool, record: str, party: WithParty = False
) -> Response[Any]:
    """All versions of `YYYY-NNNNNN` in short, or the immutable signed record `YYYY-NNNNNN.v`."""
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
    """The signed record with a tag and a digest (RFC 9530), or the record with the persons beside it."""
    if party:
        content = with_party(stored.line, stored.party)
        tag = weak_tag(stored)
    else:
        content, tag = stored.line.encode(), f'"{stored.sha256}"'
    answered = read_answer(request, content, tag)
    answered.media_type = "application/json"
    answered.headers["Repr-Digest"] = f"sha-256=:{base64.b64encode(sha256(content)).decode()}:"
    return answered


@post(
    "/",
    **route(
        "office",
        takes=NewRecord,
        gives=SignedRecord,
        status=(200, 201),
        refuses=(404, 409),
        headers=("ETag", "Location"),
    ),
)
async def issue_service_record(
    request: Request[Any, Any, Any], body: bytes, caller: Caller, pool: Pool, now: datetime
) -> Response[Any]:
    """Issue a visit's record now, or its next version where it has changed; else the latest there is."""
    new = decode(body, NewRecord, now)
    async with entry(pool, caller.business_id, now, caller.key_id) as book:
        issued = await issue(book, request.app.state.sealing_key, new.visit_id)
        stored = await book.db.maybe(
            Stored, sql.read_latest_of_visit, business_id=caller.business_id, visit_id=new.visit_id
        )
    if stored is None:
        raise Refused("conflict", "This visit was withdrawn before it had a record; there is none to issue.")
    return Response(
        stored.line.encode(),
        status_code=200 if issued is None else 201,
        media_type="application/json",
        headers={
            "ETag": f'"{stored.sha256}"',
            "Location": f"/v1/service-records/{stored.number}.{stored.version}",
        },
    )


router = Router("/service-records", route_handlers=[read_service_record, issue_service_record])
