"""HTTP for properties, their features and tenures."""

from litestar import Router

from service.properties.door import FEATURE, PROPERTY, TENURE, part_changed, property_changed
from service.stated.resource import resource

router = Router(
    "/",
    route_handlers=[
        *resource(PROPERTY, follow=property_changed),
        *resource(FEATURE, follow=part_changed),
        *resource(TENURE, follow=part_changed),
    ],
)
