"""HTTP for billing: a billing system says which version of a record it billed."""

from datetime import datetime
from typing import Any

from litestar import Response, Router, post

from service.billed.models import Billed, NewBilled, RecordBilled, Stand
from service.billed.rules import billed, is_new
from service.events.outbox import entry
from service.kernel.bodies import decode
from service.kernel.db import Pool
from service.kernel.errors import Missing, Refused
from service.kernel.http import route
from service.kernel.sql import Queries
from service.keys.rules import Caller
from service.records.rules import name_in

sql = Queries(__package__)


@post(
    "/{record:str}/billed",
    **route("events", takes=NewBilled, gives=Billed, status=(200, 201), refuses=(404, 409)),
)
async def bill_service_record(
    record: str, body: bytes, caller: Caller, pool: Pool, now: datetime
) -> Response[Any]:
    """Say that a version `YYYY-NNNNNN.v` was billed, once; sent again it changes nothing."""
    number, version = name_in(record)
    if version is None:
        raise Refused(
            "not_found", f"What is billed is one version of a record; name it, {number}.1 for example."
        )
    new = decode(body, NewBilled, now)
    place = {"business_id": caller.business_id, "number": number, "version": version}
    async with entry(pool, caller.business_id, now, caller.key_id) as book:
        stand = await book.db.maybe(Stand, sql.read_stand, **place)
        if stand is None:
            raise Missing(f"Service record {record}")
        is_first = is_new(record, stand, new)
        if is_first:
            await book.db.run(
                sql.insert_billed,
                **place,
                invoice_ref=new.invoice_ref,
                billed_on=new.billed_on,
                now=now,
                key_id=caller.key_id,
            )
            told = RecordBilled(record=record, visit_id=stand.visit_id, property_id=stand.property_id)
            book.tell(told, stand.visit_id or stand.property_id)
            stand = await book.db.one(Stand, sql.read_stand, **place)
    return Response(billed(number, version, stand), status_code=201 if is_first else 200)


router = Router("/service-records", route_handlers=[bill_service_record])
