"""HTTP for records that are not issued yet; issuing one is POST /v1/service-records."""

from datetime import datetime
from typing import Any
from uuid import UUID

from litestar import Request, Response, Router, get
from msgspec.structs import asdict

from service.drafts.models import DraftShown, RecordDraft, Waiting
from service.drafts.rules import shown
from service.kernel.db import Db, Pool, transaction
from service.kernel.errors import Refused
from service.kernel.http import read_answer, route, weak_tag
from service.kernel.paging import After, Limit, Page, page, place_after
from service.kernel.sql import Queries
from service.keys.rules import Caller
from service.records.drafting import basis_of, issuer_of, read_head, refs_of, visit_draft
from service.work.models import RECORD

sql = Queries(__package__)


@get("/", **route("read", gives=Page[DraftShown], headers=("Link",)))
async def list_drafts(
    request: Request[Any, Any, Any],
    caller: Caller,
    pool: Pool,
    now: datetime,
    property_id: UUID | None = None,
    after: After = None,
    limit: Limit = 100,
) -> Response[Page[DraftShown]]:
    """Visits whose record is not issued yet, by the visit's id, each with why and until when."""
    (after_id,) = place_after(request, after, UUID)
    rows = await Db(pool).many(
        Waiting,
        sql.list_waiting,
        business_id=caller.business_id,
        kind=RECORD,
        property_id=property_id,
        after_id=after_id,
        most=limit + 1,
    )
    return page(request, [shown(row, now) for row in rows], limit, lambda row: (row.visit_id,))


@get("/{visit_id:uuid}", **route("read", gives=RecordDraft, headers=("ETag",), status=(200, 304)))
async def read_draft(
    request: Request[Any, Any, Any], visit_id: UUID, caller: Caller, pool: Pool, now: datetime
) -> Response[RecordDraft]:
    """The record of a visit as it would be issued now; 404 once it is issued, with its number."""
    business_id = caller.business_id
    async with transaction(pool) as db:
        head = await read_head(db, business_id, visit_id)
        number = await db.value(sql.find_number, business_id=business_id, visit_id=visit_id)
        if number is not None:
            raise Refused(
                "not_found", f"This visit has record {number}; read it at /v1/service-records/{number}."
            )
        if head.withdrawn_at is not None:
            raise Refused(
                "not_found", "This visit was withdrawn before it had a record; nothing will be issued."
            )
        waiting = await db.one(
            Waiting, sql.read_waiting, business_id=business_id, kind=RECORD, visit_id=visit_id
        )
        draft = await visit_draft(db, business_id, head)
        found = RecordDraft(
            **asdict(shown(waiting, now)),
            issuer=issuer_of(business_id, draft),
            refs=refs_of(draft),
            content=draft.content,
            basis=await basis_of(db, business_id, draft),
        )
    return read_answer(request, found, weak_tag(found))


router = Router("/service-records/drafts", route_handlers=[list_drafts, read_draft])
