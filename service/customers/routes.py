"""HTTP for customers."""

from litestar import Router

from service.customers.door import CUSTOMER
from service.stated.resource import resource

router = Router("/", route_handlers=resource(CUSTOMER))
