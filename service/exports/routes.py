"""HTTP for pulling service records."""

from collections.abc import AsyncIterator
from typing import Annotated, Any
from urllib.parse import urlencode
from uuid import UUID

import msgspec
from litestar import Request, Response, Router, get
from litestar.di import Provide
from litestar.params import Parameter, QueryParameter
from litestar.response import Stream

from service.events.outbox import latest_sequence
from service.exports import export, sheet
from service.exports.models import RecordDigest, RecordPage
from service.exports.portions import ahead, find_last, select
from service.exports.selection import (
    XLSX,
    ClaimName,
    Format,
    Selection,
    cursor_after,
    cursor_in,
    format_of,
    period,
    span_of,
)
from service.kernel.coding import coding_of, encoded
from service.kernel.db import Db, Pool
from service.kernel.errors import Refused
from service.kernel.http import route
from service.kernel.paging import Since, Until
from service.keys.rules import Caller
from service.records.rules import month_in

BODIES = {"application/json": RecordPage, "application/x-ndjson": str, "text/csv": str, XLSX: str}
STREAMED = {"ndjson": "application/x-ndjson", "csv": "text/csv; header=present", "xlsx": XLSX}
PAGE, LARGEST_PAGE = 100, 500

AfterPlace = Annotated[
    str | None,
    Parameter(
        max_length=500,
        description="opaque cursor over the log: every version after it, once; empty: from the beginning",
    ),
]
AsOf = Annotated[
    str | None,
    Parameter(
        max_length=500, description="cursor that another answer gave as `next`: the book as it stood then"
    ),
]
Form = Annotated[
    str | None, QueryParameter(name="format", description="json, ndjson, csv or xlsx; else by Accept")
]
MonthName = Annotated[str | None, Parameter(max_length=20, description="local month of service: 2026-05")]
Most = Annotated[
    int | None,
    Parameter(ge=1, le=1_000_000, description="most versions: of JSON 100 unless said, up to 500; else all"),
]
Raw = Annotated[bool, Parameter(description="CSV texts as they are, without the guard against formulas")]


async def selection(
    request: Request[Any, Any, Any],
    caller: Caller,
    pool: Pool,
    after: AfterPlace = None,
    as_of: AsOf = None,
    since: Since = None,
    until: Until = None,
    month: MonthName = None,
    property_id: UUID | None = None,
    customer_id: UUID | None = None,
    claim: ClaimName | None = None,
) -> Selection:
    """What the query asks for, as of now or as of then."""
    now_at = await latest_sequence(Db(pool), caller.business_id)
    latest, place, known_at = span_of(after, as_of, request.app.state.epoch, now_at)
    first_on, until_on = period(since, until, None if month is None else month_in(month))
    return Selection(
        latest=latest,
        after=place,
        upto=known_at,
        as_of=known_at,
        since=first_on,
        until=until_on,
        property_id=property_id,
        customer_id=customer_id,
        claim=claim,
    )


@get(
    "/",
    dependencies={"chosen": Provide(selection)},
    **route(
        "read",
        gives=RecordPage,
        produces=BODIES,
        headers=("Link", "Vary", "Content-Encoding"),
        refuses=(406, 410),
    ),
)
async def list_service_records(
    request: Request[Any, Any, Any],
    caller: Caller,
    pool: Pool,
    chosen: Selection,
    form: Form = None,
    raw: Raw = False,
    limit: Most = None,
) -> Response[Any]:
    """The latest version of each record or, with `after`, every version after that place in the log, once.

    JSON in pages of `limit`; newline-delimited JSON whole, ended by a closing line; CSV whole, with a header, to be
    checked by what `Link: rel="describedby"` leads to; XLSX for people, of up to 100,000 records. Compressed by
    Accept-Encoding with zstd or gzip.
    """
    wanted, db = format_of(form, request.headers.get("accept")), Db(pool)
    if wanted == "json":
        return await _page(request, db, caller.business_id, chosen, limit or PAGE)
    chosen, cursor = await _limited(request, db, caller.business_id, chosen, limit)
    body: AsyncIterator[bytes]
    if wanted == "ndjson":
        body = export.lines(db, caller.business_id, chosen, cursor)
    elif wanted == "csv":
        body = export.rows(db, caller.business_id, chosen, raw=raw)
    else:
        body = sheet.pieces(await sheet.sheet(db, caller.business_id, chosen, cursor))
    return _streamed(request, wanted, ahead(body), cursor)


@get(
    "/digest",
    dependencies={"chosen": Provide(selection)},
    **route("read", gives=RecordDigest, refuses=(406, 410)),
)
async def digest_service_records(
    request: Request[Any, Any, Any],
    caller: Caller,
    pool: Pool,
    chosen: Selection,
    form: Form = None,
    raw: Raw = False,
    limit: Most = None,
) -> RecordDigest:
    """Count, length and SHA-256 of the CSV that the same query gives; with `as_of` of the one that was pulled.

    It takes the whole query of the records, and digests the CSV whatever `format` says.
    """
    format_of(form, None)
    chosen, cursor = await _limited(request, Db(pool), caller.business_id, chosen, limit)
    return await export.digest(Db(pool), caller.business_id, chosen, cursor, raw=raw)


async def _limited(
    request: Request[Any, Any, Any], db: Db, business_id: UUID, chosen: Selection, limit: int | None
) -> tuple[Selection, str]:
    """What a limit leaves of it, and the cursor to go on from."""
    epoch = request.app.state.epoch
    last = None if limit is None else await find_last(db, business_id, chosen, limit)
    if last is None:
        return chosen, cursor_after(chosen, epoch)
    return msgspec.structs.replace(chosen, upto=last), cursor_in(chosen, last, epoch)


def _streamed(
    request: Request[Any, Any, Any], form: Format, body: AsyncIterator[bytes], cursor: str
) -> Stream:
    """The answer piece by piece, in the coding that the reader likes best."""
    # a workbook is compressed as it is
    coding = "identity" if form == "xlsx" else coding_of(request.headers.get("accept-encoding"))
    links = [_link(request, request.url.path, "next", after=cursor)]
    if form == "csv":
        links.append(_link(request, f"{request.url.path.rstrip('/')}/digest", "describedby", as_of=cursor))
    headers = {"Link": ", ".join(links), **_negotiated(coding)}
    if form == "xlsx":
        headers["Content-Disposition"] = 'attachment; filename="service-records.xlsx"'
    return Stream(encoded(body, coding), media_type=STREAMED[form], headers=headers)


async def _page(
    request: Request[Any, Any, Any], db: Db, business_id: UUID, chosen: Selection, limit: int
) -> Response[Any]:
    """A page as bytes: the records in it stay the text that was hashed."""
    if limit > LARGEST_PAGE:
        raise Refused(
            "unreadable", f"A page of JSON has up to {LARGEST_PAGE} records; NDJSON gives all at once."
        )
    epoch = request.app.state.epoch
    selected = await select(db, business_id, chosen, limit + 1)
    places = selected.places
    more = len(places) > limit
    last = places[limit - 1] if more else chosen.upto
    cursor = cursor_in(chosen, last, epoch) if more else cursor_after(chosen, epoch)
    held = await export.read_signed(db, business_id, msgspec.structs.replace(chosen, upto=last), limit)
    excluded = await export.read_excluded(
        db, business_id, [one for one in selected.left_out if one <= last], chosen.claim
    )
    items = [msgspec.Raw(b"".join(pieces)) for _, *pieces in held]
    content = msgspec.json.encode({"items": items, "next": cursor, "excluded": excluded})
    coding = coding_of(request.headers.get("accept-encoding"))
    headers = _negotiated(coding)
    if more:
        headers["Link"] = _link(request, request.url.path, "next", after=cursor)
    small = b"".join([piece async for piece in encoded(_alone(content), coding)])
    return Response(small, media_type="application/json", headers=headers)


async def _alone(content: bytes) -> AsyncIterator[bytes]:
    yield content


def _negotiated(coding: str) -> dict[str, str]:
    """What a cache has to know: the answer hangs on both headers."""
    coded = {} if coding == "identity" else {"Content-Encoding": coding}
    return {"Vary": "Accept, Accept-Encoding", **coded}


def _link(request: Request[Any, Any, Any], path: str, relation: str, **cursor: str) -> str:
    """A link (RFC 8288) to the same query from, or as of, a cursor."""
    stays = {"after"} if "as_of" in cursor else set()
    query = [
        (name, value)
        for name, value in request.query_params.multi_items()
        if name in stays or name not in ("after", "as_of")
    ]
    return f'<{path}?{urlencode([*query, *cursor.items()])}>; rel="{relation}"'


router = Router("/service-records", route_handlers=[list_service_records, digest_service_records])
