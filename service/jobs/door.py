"""The door to jobs: how one is kept, and what follows from opening and closing it."""

from collections.abc import Collection
from datetime import datetime
from typing import Any
from uuid import UUID

from service.conflicts import door as conflicts
from service.events.outbox import Entry
from service.jobs.models import AwaitingJob, Job, NewJob, SetLeftOut
from service.jobs.rules import job_awaited, told_of
from service.kernel.errors import Refused
from service.kernel.sql import Queries
from service.stated.door import Noun, Outcome
from service.work import door as work
from service.work.models import LEFT_OUT, PROPERTY_ANEW
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
    day="opened_at",
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
    for property_id in {before.property_id, job.property_id}:
        await work.property_changed(entry, property_id, min(before.opened_at, job.opened_at))
        # whose target, and whether under a permit, says which rules cover a set
        await work.put(entry, PROPERTY_ANEW, property_id, None, entry.now)
    stating = await entry.db.column(sql.list_visits_stating_job, business_id=entry.business_id, job_id=job.id)
    await visits_changed(entry, stating)
    if job.closed_at is not None:
        await _look_for_left_out(entry, job.id)


async def visits_changed(entry: Entry, visit_ids: Collection[UUID]) -> None:
    """A visit that names a job which is not in the book at its property waits for it as a conflict."""
    if not visit_ids:
        return
    awaiting = await entry.db.many(
        AwaitingJob, sql.list_visits_awaiting_job, business_id=entry.business_id, visit_ids=list(visit_ids)
    )
    await conflicts.store(entry, "visit", visit_ids, [job_awaited(one) for one in awaiting])


async def sets_changed(entry: Entry, set_ids: Collection[UUID]) -> None:
    """A late phone may bring a set, or take a pull back, of a job that is closed already."""
    for job_id in await entry.db.column(
        sql.list_closed_jobs_of_standing_sets, business_id=entry.business_id, set_ids=list(set_ids)
    ):
        await _look_for_left_out(entry, job_id)


async def _look_for_left_out(entry: Entry, job_id: UUID) -> None:
    await work.put(entry, LEFT_OUT, job_id, None, entry.now + SETTLING, SETTLING_AT_MOST)


async def tell_left_out(entry: Entry, job_id: UUID, _: datetime | None) -> None:
    """Once for each set that stands though its job is closed."""
    for left in await entry.db.many(
        SetLeftOut, sql.list_sets_left_out, business_id=entry.business_id, job_id=job_id
    ):
        cause = f"set.left_out/{left.set_id}//{left.closed_at.isoformat()}//1"
        entry.tell(left, left.set_id, cause=cause)
