"""The door to jobs: how one is kept, and what follows from opening and closing it."""

from datetime import datetime
from typing import Any
from uuid import UUID

from service.events.outbox import Entry
from service.jobs.models import Job, NewJob, SetLeftOut
from service.jobs.rules import told_of
from service.kernel.errors import Refused
from service.kernel.sql import Queries
from service.stated.door import Noun, Outcome
from service.work import door as work
from service.work.models import LEFT_OUT
from service.work.rules import SETTLING, SETTLING_AT_MOST

sql = Queries(__package__)
JOB = Noun(
    "job",
    "jobs",
    NewJob,
    Job,
    sql.read_job,
    sql.put_job,
    sql.list_jobs,
    {
        "job_check": "`closed_at` comes after `opened_at`",
        "job_check1": "a closed job says `closed_at` and `end_reason`, an open one neither",
    },
)


async def job_changed(entry: Entry, outcome: Outcome[Any]) -> None:
    """Refuse an overlap, tell what happened; records name the target; late phones may yet fetch sets left out."""
    job: Job = outcome.now
    other = await entry.db.value(
        sql.find_overlapping,
        business_id=entry.business_id,
        id=job.id,
        property_id=job.property_id,
        target=job.target,
        opened_at=job.opened_at,
        closed_at=job.closed_at,
    )
    if other is not None:
        raise Refused(
            "conflict", f"Job {other} has the same target at this property at the same time; close it first."
        )
    event = told_of(outcome.before, job)
    if event is not None:
        entry.tell(event, job.id)
    before: Job = outcome.before or job
    await work.property_changed(entry, job.property_id, min(before.opened_at, job.opened_at))
    if job.closed_at is not None:
        await work.put(entry, LEFT_OUT, job.id, None, entry.now + SETTLING, SETTLING_AT_MOST)


async def tell_left_out(entry: Entry, job_id: UUID, _: datetime | None) -> None:
    """Once for each set that stands though its job is closed."""
    for left in await entry.db.many(
        SetLeftOut, sql.list_sets_left_out, business_id=entry.business_id, job_id=job_id
    ):
        cause = f"set.left_out/{left.set_id}//{left.closed_at.isoformat()}//1"
        entry.tell(left, left.set_id, cause=cause)
