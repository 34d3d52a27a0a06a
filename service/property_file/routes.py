"""HTTP for the file of a property over years."""

import asyncio
from collections.abc import AsyncIterator, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Annotated, Any
from uuid import UUID
from zoneinfo import ZoneInfo

import msgspec
from litestar import Request, Response, Router, get
from litestar.params import Parameter, QueryParameter
from litestar.response import Stream

from service import __version__
from service.events.outbox import latest_sequence
from service.kernel.days import local_date
from service.kernel.db import Db, Pool
from service.kernel.http import not_modified, route, weak_tag
from service.kernel.typeset import pdf_apart
from service.keys.rules import Caller
from service.property_file import reading
from service.property_file.asking import MEDIA, asked_for, format_of
from service.property_file.folder import digests_of, folder
from service.property_file.full import full_file
from service.property_file.models import Asked, Chosen, File
from service.property_file.public import public_file
from service.property_file.rules import choose
from service.seals.door import SealOf
from service.signatures.keyring import key_set

TEMPLATE = Path(__file__).with_name("file.typ")
BODIES = dict.fromkeys(MEDIA, str)
MEDIA_OF = {form: media for media, form in MEDIA.items()}
# One at a time for each process of the API: a file of years takes seconds and some hundred megabytes.
typesetting = asyncio.Semaphore(1)

For = Annotated[str, Parameter(description="who will read it: customer, auditor or public")]
FromOn = Annotated[
    date | None,
    QueryParameter(name="from", description="first local date, inclusive; else the first record's"),
]
UntilOn = Annotated[
    date | None,
    QueryParameter(name="until", description="local date where it ends, exclusive; else tomorrow's"),
]
Form = Annotated[str | None, QueryParameter(name="format", description="pdf or zip; else by Accept")]
CustomerId = Annotated[
    UUID | None,
    Parameter(
        description="with audience=customer: whose days, while it is no longer or not yet the holder's"
    ),
]


@get(
    "/{property_id:uuid}/file",
    **route(
        "read", gives=str, produces=BODIES, headers=("ETag",), status=(200, 304), refuses=(404, 406, 409)
    ),
)
async def read_property_file(
    request: Request[Any, Any, Any],
    property_id: UUID,
    caller: Caller,
    pool: Pool,
    now: datetime,
    audience: For,
    from_on: FromOn = None,
    until_on: UntilOn = None,
    customer_id: CustomerId = None,
    form: Form = None,
) -> Response[Any]:
    """The file of a property over years: one PDF, or a folder (zip) with the signed records, key set and seals.

    Without dates it is the whole history, which holds the years that texts ask to be kept. `customer`: the days of
    who holds the property today, or of `customer_id`, with names and notes. `auditor`: every holder's days, by ids
    alone. `public`: months, methods, animals and treatments, without names, addresses, notes or positions.
    """
    wanted = format_of(form, request.headers.get("accept"))
    asked = asked_for(audience, from_on, until_on, customer_id)
    db, business_id = Db(pool), caller.business_id
    as_of = await latest_sequence(db, business_id)
    chosen, file = await _file(db, business_id, property_id, asked, as_of, now)
    seals = await reading.read_seals(db, business_id, chosen) if wanted == "zip" else []
    digests = [one.sha256 for one in chosen.all_versions()], [one.sha256 for one in seals]
    tag = weak_tag((__version__, wanted, file, digests))
    if known := not_modified(request, tag):
        return known
    async with typesetting:
        pdf = await pdf_apart(TEMPLATE, msgspec.json.encode(file))
    name = f"property-file-{asked.audience}-{chosen.from_on}-{chosen.until_on}.{wanted}"
    headers = {"ETag": tag, "Vary": "Accept", "Content-Disposition": f'attachment; filename="{name}"'}
    if wanted == "zip":
        return Stream(
            await _folder(db, business_id, chosen, seals, pdf), media_type=MEDIA_OF[wanted], headers=headers
        )
    return Response(pdf, media_type=MEDIA_OF[wanted], headers=headers)


async def _file(
    db: Db, business_id: UUID, property_id: UUID, asked: Asked, as_of: int, now: datetime
) -> tuple[Chosen, File]:
    """What goes into the file, and the file as it is shown."""
    place = await reading.read_place(db, business_id, property_id)
    tenures = await reading.read_tenures(db, business_id, property_id)
    versions = await reading.read_versions(db, business_id, property_id, asked, as_of)
    chosen = choose(asked, tenures, versions, local_date(now, ZoneInfo(place.zone)))
    records = await reading.read_records(db, business_id, chosen)
    shown = public_file if asked.audience == "public" else full_file
    return chosen, shown(chosen, place, records)


async def _folder(
    db: Db, business_id: UUID, chosen: Chosen, seals: Sequence[SealOf], pdf: bytes
) -> AsyncIterator[bytes]:
    """The archive; what is signed holds positions of traps, so that the public gets digests in its place."""
    versions = chosen.all_versions()
    if chosen.asked.audience == "public":
        fixed = {"digests.csv": digests_of(versions), "file.pdf": pdf}
        return folder("public", fixed, reading.signed_lines(db, business_id, [], []))
    fixed = {"keys.json": msgspec.json.encode(await key_set(db)), "file.pdf": pdf}
    return folder(chosen.asked.audience, fixed, reading.signed_lines(db, business_id, versions, seals))


router = Router("/properties", route_handlers=[read_property_file])
