"""Query parameters that an address does not have are refused: a mistyped filter would answer with everything."""

from typing import Any

from litestar import Litestar
from litestar.connection import ASGIConnection
from litestar.handlers import BaseRouteHandler
from litestar.routes import HTTPRoute

from service.kernel.errors import Refused
from service.kernel.sentences import nearest, shown


def query_parameters(app: Litestar) -> dict[BaseRouteHandler, dict[str, str]]:
    """What each handler, and what is injected into it, asks for: names in the code with those in the API."""
    return {
        handler: {one.field_name: one.field_alias for one in model.expected_query_params}
        for route in app.routes
        if isinstance(route, HTTPRoute)
        for handler, model in route.route_handler_map.values()
    }


async def check_query(connection: ASGIConnection[Any, Any, Any, Any], _: BaseRouteHandler) -> None:
    """400 for a parameter that is none here, stands twice, or holds NUL or null."""
    if not connection.scope["query_string"]:
        return
    # the framework gives guards a copy of the handler
    known = connection.app.state.query_parameters[connection.scope["route_handler"]].values()
    for name, value in connection.query_params.multi_items():
        if name not in known:
            raise Refused("unreadable", f"There is no parameter {shown(name)} here{nearest(name, known)}")
        if len(connection.query_params.getall(name)) > 1:
            raise Refused("unreadable", f"The parameter {name} stands twice; give it once.")
        if value == "null":
            # the framework takes it for a parameter that was left out
            raise Refused("unreadable", f"The parameter {name} is null; leave it out instead.")
        if "\0" in value:
            raise Refused("unreadable", f"The parameter {name} holds NUL (%00), which no text here does.")
