"""HTTP for deadlines: what is due, overdue or over, each with why."""

from datetime import datetime
from typing import Annotated, Any
from uuid import UUID

from litestar import Request, Response, Router, get
from litestar.params import QueryParameter

from service.deadlines.models import Deadline, Kind, State
from service.kernel.db import Db, Pool
from service.kernel.errors import Missing
from service.kernel.http import read_answer, route, weak_tag
from service.kernel.paging import After, Limit, Page, Since, Until, page, place_after
from service.kernel.sql import Queries
from service.keys.rules import Caller

sql = Queries(__package__)
# a handler's parameter named `state` would be the framework's own
AskedState = Annotated[State | None, QueryParameter(name="state")]
Subject = Annotated[UUID | None, QueryParameter(description="the set, sign or permit it is of")]
Overdue = Annotated[bool | None, QueryParameter(description="true: open and its due instant has come")]


@get("/", **route("read", gives=Page[Deadline], headers=("Link",)))
async def list_deadlines(
    request: Request[Any, Any, Any],
    caller: Caller,
    pool: Pool,
    now: datetime,
    property_id: UUID | None = None,
    job_id: UUID | None = None,
    subject_id: Subject = None,
    kind: Kind | None = None,
    asked_state: AskedState = None,
    overdue: Overdue = None,
    since: Since = None,
    until: Until = None,
    after: After = None,
    limit: Limit = 100,
) -> Response[Page[Deadline]]:
    """Deadlines of every state by due instant; `since` and `until` are local dates of that instant
    at the property; of a report those of the business."""
    after_due_at, after_id = place_after(request, after, datetime, UUID)
    rows = await Db(pool).many(
        Deadline,
        sql.list_deadlines,
        business_id=caller.business_id,
        now=now,
        property_id=property_id,
        job_id=job_id,
        subject_id=subject_id,
        kind=kind,
        state=asked_state,
        overdue=overdue,
        since=since,
        until=until,
        after_due_at=after_due_at,
        after_id=after_id,
        most=limit + 1,
    )
    return page(request, rows, limit, lambda row: (row.due_at, row.id))


@get("/{deadline_id:uuid}", **route("read", gives=Deadline, headers=("ETag",), status=(200, 304)))
async def read_deadline(
    request: Request[Any, Any, Any], deadline_id: UUID, caller: Caller, pool: Pool, now: datetime
) -> Response[Deadline]:
    """One deadline: when and why it is due, and how it ended."""
    found = await Db(pool).maybe(
        Deadline, sql.read_deadline, business_id=caller.business_id, id=deadline_id, now=now
    )
    if found is None:
        raise Missing("This deadline")
    return read_answer(request, found, weak_tag(found))


router = Router("/deadlines", route_handlers=[list_deadlines, read_deadline])
