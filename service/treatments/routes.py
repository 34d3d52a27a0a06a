"""HTTP for treatments that stand alone; those inside visits are listed too."""

from litestar import Router

from service.stated.resource import resource
from service.treatments.door import TREATMENT, treatment_changed

router = Router("/", route_handlers=resource(TREATMENT, "record", treatment_changed))
