"""HTTP for permits."""

from litestar import Router

from service.permits.door import PERMIT, permit_changed
from service.stated.resource import resource

router = Router("/", route_handlers=resource(PERMIT, follow=permit_changed))
