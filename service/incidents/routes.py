"""HTTP for incidents."""

from litestar import Router

from service.incidents.door import INCIDENT, incident_changed
from service.stated.resource import resource

router = Router("/", route_handlers=resource(INCIDENT, "record", incident_changed))
