"""HTTP for service records. Each handler reads: load, decide, store, tell."""

import base64
import re
from datetime import datetime
from typing import Annotated, Any

from litestar import Request, Response, Router, get, post
from litestar.params import Parameter

from service.events.outbox import Entry, entry
from service.kernel.bodies import decode
from service.kernel.canonical import sha256
from service.kernel.db import Db, Pool
from service.kernel.errors import Fault, Missing, Refused, invalid
from service.kernel.http import read_answer, route, weak_tag
from service.kernel.sql import Queries
from service.keys.rules import Caller
from service.records.actions import issue, issue_month
from service.records.answers import (
    NewRecord,
    RecordVersion,
    RecordVersions,
    RecordWithParty,
)
from service.records.facts import Stored
from service.records.models import SignedRecord
from service.records.rules import month_in, with_party

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
    """Issue the record of a visit or of a property's month now, or its next version where it has changed.

    Else the latest there is is given again. A month is taken once it has ended at the property.
    """
    new = decode(body, NewRecord, now)
    async with entry(pool, caller.business_id, now, caller.key_id) as book:
        is_new, stored = await _issue(book, request.app.state.sealing_key, new)
    if stored is None:
        raise Refused("conflict", "This visit was withdrawn before it had a record; there is none to issue.")
    return Response(
        stored.line.encode(),
        status_code=201 if is_new else 200,
        media_type="application/json",
        headers={
            "ETag": f'"{stored.sha256}"',
            "Location": f"/v1/service-records/{stored.number}.{stored.version}",
        },
    )


async def _issue(book: Entry, sealing_key: bytes, new: NewRecord) -> tuple[bool, Stored | None]:
    """Whether a version was issued, and the latest there is."""
    if new.visit_id is not None and new.property_id is None and new.month is None:
        issued = await issue(book, sealing_key, new.visit_id)
        stored = await book.db.maybe(
            Stored, sql.read_latest_of_visit, business_id=book.business_id, visit_id=new.visit_id
        )
    elif new.visit_id is None and new.property_id is not None and new.month is not None:
        first_on, _ = month_in(new.month)
        issued = await issue_month(book, sealing_key, new.property_id, first_on)
        stored = await book.db.maybe(
            Stored,
            sql.read_latest_of_month,
            business_id=book.business_id,
            property_id=new.property_id,
            month_on=first_on,
        )
    else:
        raise invalid([Fault("Give either `visit_id`, or `property_id` with `month`.", "#")])
    return issued is not None, stored


router = Router("/service-records", route_handlers=[read_service_record, issue_service_record])
