"""HTTP for upkeep that stands alone; what visits state is listed too."""

from litestar import Router

from service.stated.resource import resource
from service.upkeep.door import UPKEEP, upkeep_changed

router = Router("/", route_handlers=resource(UPKEEP, "record", upkeep_changed))
