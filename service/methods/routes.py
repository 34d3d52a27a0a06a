"""HTTP for the method register: what holds for the business, and the methods that it classes itself."""

from litestar import Router, get

from service.kernel.db import Db, Pool
from service.kernel.http import route
from service.keys.rules import Caller
from service.methods.door import METHOD, method_changed, own_methods
from service.methods.models import RegisterShown
from service.methods.rules import register_of
from service.stated.resource import resource


@get("/method-register", **route("read", gives=RegisterShown))
async def read_method_register(caller: Caller, pool: Pool) -> RegisterShown:
    """The method register that holds for the business: what comes with the package and what it classed itself."""
    return register_of(await own_methods(Db(pool), caller.business_id))


router = Router("/", route_handlers=[read_method_register, *resource(METHOD, follow=method_changed)])
