"""HTTP for sealed months. Each handler reads: load, decide, store, tell."""

import re
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from litestar import Request, Response, Router, get, post

from service.events.outbox import entry
from service.kernel.db import Db, Pool
from service.kernel.errors import Missing, Refused
from service.kernel.http import read_answer, route
from service.kernel.sql import Queries
from service.keys.rules import Caller
from service.records.rules import check_ended, month_in
from service.seals.actions import seal
from service.seals.models import SignedSeal, StoredSeal

sql = Queries(__package__)
_VERSION = re.compile(r"[1-9][0-9]{0,5}")
SEAL = route("read", gives=SignedSeal, status=(200, 304), headers=("ETag",))


@post(
    "/{month:str}/seal",
    **route(
        "office",
        gives=SignedSeal,
        status=(200, 201),
        refuses=(409,),
        headers=("ETag", "Location"),
    ),
)
async def seal_month(
    request: Request[Any, Any, Any], month: str, caller: Caller, pool: Pool, now: datetime
) -> Response[Any]:
    """Seal `YYYY-MM`, which has ended: a signed root over the latest versions of its records.

    200 with the seal that there is where nothing is new. A record that is issued into a sealed month later makes a
    further seal by itself, which names the one that it replaces.
    """
    first_on, until_on = month_in(month)
    async with entry(pool, caller.business_id, now, caller.key_id) as book:
        zone = await book.db.value(sql.read_zone, business_id=caller.business_id)
        check_ended(first_on, ZoneInfo(zone), now, "seal it")
        is_new = await seal(book, request.app.state.sealing_key, first_on, until_on)
        stored = await _stored(book.db, caller, first_on, None)
    return Response(
        stored.line.encode(),
        status_code=201 if is_new else 200,
        media_type="application/json",
        headers={"ETag": f'"{stored.sha256}"', "Location": f"/v1/months/{month}/seals/{stored.version}"},
    )


@get("/{month:str}/seal", **SEAL)
async def read_latest_seal(
    request: Request[Any, Any, Any], month: str, caller: Caller, pool: Pool
) -> Response[Any]:
    """The latest seal of `YYYY-MM`; `setbook verify` checks it beside the month's records."""
    return _answer(request, await _stored(Db(pool), caller, month_in(month)[0], None))


@get("/{month:str}/seals/{version:str}", **SEAL)
async def read_seal(
    request: Request[Any, Any, Any], month: str, version: str, caller: Caller, pool: Pool
) -> Response[Any]:
    """One version of the seal of `YYYY-MM`, which never changes."""
    first_on = month_in(month)[0]
    if _VERSION.fullmatch(version) is None:
        raise Missing(f"A seal {month}.{version[:40]}")
    return _answer(request, await _stored(Db(pool), caller, first_on, int(version)))


async def _stored(db: Db, caller: Caller, first_on: date, version: int | None) -> StoredSeal:
    """That version, or the latest; Missing where there is none."""
    found = await db.maybe(
        StoredSeal, sql.read_seal, business_id=caller.business_id, first_on=first_on, version=version
    )
    if found is None and version is None:
        raise Refused(
            "not_found", f"The month {first_on:%Y-%m} has no seal; POST here makes one once it has ended."
        )
    if found is None:
        raise Missing(f"A seal {first_on:%Y-%m}.{version}")
    return found


def _answer(request: Request[Any, Any, Any], stored: StoredSeal) -> Response[Any]:
    answered = read_answer(request, stored.line.encode(), f'"{stored.sha256}"')
    answered.media_type = "application/json"
    return answered


router = Router("/months", route_handlers=[seal_month, read_latest_seal, read_seal])
