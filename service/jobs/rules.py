"""What is told of a job, and the conflict of a visit that names one which is not there. Pure."""

from service.conflicts.models import Conflict
from service.events.models import Event
from service.jobs.models import AwaitingJob, Job, JobClosed, JobOpened


def told_of(before: Job | None, now: Job) -> Event | None:
    """Opened, closed, or opened again; nothing where neither happened."""
    was_open = before is not None and before.closed_at is None
    is_open = now.closed_at is None
    if is_open and not was_open:
        return JobOpened(
            job_id=now.id, property_id=now.property_id, target=now.target, opened_at=now.opened_at
        )
    closing = None if before is None else (before.closed_at, before.end_reason)
    if (
        now.closed_at is not None
        and now.end_reason is not None
        and closing != (now.closed_at, now.end_reason)
    ):
        return JobClosed(
            job_id=now.id, property_id=now.property_id, closed_at=now.closed_at, end_reason=now.end_reason
        )
    return None


def job_awaited(one: AwaitingJob) -> Conflict:
    """The conflict of a visit whose job is not there (yet), or is another property's."""
    return Conflict(
        kind="job_awaited",
        subject_id=one.visit_id,
        property_id=one.property_id,
        visit_id=one.visit_id,
        fact_id=one.job_id,
        sentence="The visit names a job that is not in the book at this property; add the job or mend the visit.",
    )
