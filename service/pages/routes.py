"""HTTP for one service record: its versions, and each of them signed, as a page, or on paper."""

import asyncio
import base64
from pathlib import Path
from typing import Annotated, Any
from zoneinfo import ZoneInfo

import msgspec
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from litestar import Request, Response, Router, get
from litestar.params import Parameter, QueryParameter
from msgspec import Struct

from service import __version__
from service.kernel.canonical import sha256
from service.kernel.db import Db, Pool
from service.kernel.errors import Missing, Refused
from service.kernel.http import form_of, not_modified, read_answer, route, weak_tag
from service.kernel.sql import Queries
from service.kernel.typeset import pdf_of
from service.kernel.values import Erased
from service.keys.rules import Caller
from service.pages.models import Beside, Page, Signed
from service.pages.rules import page_of
from service.records.answers import RecordVersion, RecordVersions, RecordWithParty
from service.records.models import Party, SignedRecord
from service.records.rules import name_in, with_party
from service.wording.content import PartyStated
from service.wording.words import erased_words

sql = Queries(__package__)
FOLDER = Path(__file__).parent
MEDIA = {"application/json": "json", "text/html": "html", "application/pdf": "pdf"}
JSON = RecordVersions | SignedRecord | RecordWithParty
BODIES = {"application/json": JSON, "text/html": str, "application/pdf": str}
# A page holds all that it shows: it asks nobody for anything and runs nothing.
GUARDS = {
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'; base-uri 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
}
pages = Environment(
    loader=FileSystemLoader(FOLDER), autoescape=True, undefined=StrictUndefined, trim_blocks=True
)

WithParty = Annotated[bool, Parameter(description="JSON with the persons beside the record")]
Form = Annotated[str | None, QueryParameter(name="format", description="json, html or pdf; else by Accept")]


class Kept(Struct, frozen=True, kw_only=True):
    """A version as it goes out, its record's digest in hex, and what stands beside it."""

    line: str
    sha256: str
    party: Party | None
    erased: Erased | None
    business: str
    zone: str
    newer: str | None


@get(
    "/{record:str}",
    **route(
        "read",
        gives=JSON,
        produces=BODIES,
        headers=("ETag",),
        status=(200, 304),
        refuses=(406,),
    ),
)
async def read_service_record(
    request: Request[Any, Any, Any],
    caller: Caller,
    pool: Pool,
    record: str,
    party: WithParty = False,
    form: Form = None,
) -> Response[Any]:
    """All versions of `YYYY-NNNNNN` in short, or the immutable signed record `YYYY-NNNNNN.v`.

    JSON holds ids alone unless `party` asks for the persons. As HTML and PDF it is what the customer keeps, with
    names as long as they are not erased.
    """
    number, version = name_in(record)
    wanted = _format_of(form, request.headers.get("accept"))
    if version is None:
        return await _versions(request, Db(pool), caller, number, wanted)
    kept = await Db(pool).maybe(
        Kept, sql.read_version, business_id=caller.business_id, number=number, version=version
    )
    if kept is None:
        raise Missing(f"Service record {record}")
    if wanted == "json":
        return _signed(request, kept, party=party)
    return await _page(request, kept, record, wanted)


def _format_of(form: str | None, accept: str | None) -> str:
    found = form_of(form, accept, MEDIA)
    if found is None:
        listed = ", ".join(f"{media} (format={name})" for media, name in MEDIA.items())
        raise Refused("not_acceptable", f"A service record comes as {listed}; ask for one of these.")
    return found


async def _versions(
    request: Request[Any, Any, Any], db: Db, caller: Caller, number: str, wanted: str
) -> Response[Any]:
    found = await db.many(RecordVersion, sql.list_versions, business_id=caller.business_id, number=number)
    if not found:
        raise Missing(f"Service record {number}")
    if wanted != "json":
        latest = f"{number}.{found[-1].version}"
        raise Refused(
            "not_acceptable", f"Versions are listed as JSON; a page is that of one, {latest} for example."
        )
    versions = RecordVersions(number=number, versions=found)
    return read_answer(request, versions, weak_tag(versions))


def _signed(request: Request[Any, Any, Any], kept: Kept, *, party: bool) -> Response[Any]:
    """The signed record with a tag and a digest (RFC 9530), or the record with the persons beside it."""
    if party:
        content = with_party(kept.line, kept.party, kept.erased)
        tag = weak_tag((kept.line, kept.party, kept.erased))
    else:
        content, tag = kept.line.encode(), f'"{kept.sha256}"'
    answered = read_answer(request, content, tag)
    answered.media_type = "application/json"
    answered.headers["Repr-Digest"] = f"sha-256=:{base64.b64encode(sha256(content)).decode()}:"
    answered.headers["Vary"] = "Accept"
    return answered


async def _page(request: Request[Any, Any, Any], kept: Kept, record: str, wanted: str) -> Response[Any]:
    """The page; its tag is strong, since the same page is always the same bytes."""
    beside = Beside(
        business=kept.business, party=_stated(kept.party), erased=_said_of(kept), newer=kept.newer
    )
    page = page_of(msgspec.json.decode(kept.line, type=Signed), beside)
    tag = weak_tag((__version__, wanted, page)).removeprefix("W/")
    headers = {**GUARDS, "ETag": tag, "Vary": "Accept"}
    if known := not_modified(request, tag):
        return known
    if wanted == "html":
        return Response(html_of(page), media_type="text/html", headers=headers)
    pdf = await asyncio.to_thread(pdf_of, FOLDER / "record.typ", msgspec.json.encode(page))
    name = f'inline; filename="service-record-{record}.pdf"'
    return Response(pdf, media_type="application/pdf", headers={**headers, "Content-Disposition": name})


def _stated(party: Party | None) -> PartyStated | None:
    return None if party is None else msgspec.convert(msgspec.to_builtins(party), PartyStated)


def _said_of(kept: Kept) -> str | None:
    """The day is the business's own: it erased, wherever the property lies."""
    return None if kept.erased is None else f"E{erased_words(kept.erased, ZoneInfo(kept.zone))[1:]}"


def html_of(page: Page) -> str:
    """One file that holds all it needs."""
    return pages.get_template("record.html").render(page=page)


router = Router("/service-records", route_handlers=[read_service_record])
