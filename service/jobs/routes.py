"""HTTP for jobs."""

from litestar import Router

from service.jobs.door import JOB, job_changed
from service.stated.resource import resource

router = Router("/", route_handlers=resource(JOB, follow=job_changed))
