"""Query parameters that an address does not have are refused: a mistyped filter would answer with everything."""

import re
from typing import Any, Literal, get_args, get_origin

from litestar import Litestar, Request
from litestar.connection import ASGIConnection
from litestar.exceptions import HTTPException
from litestar.handlers import BaseRouteHandler
from litestar.routes import HTTPRoute

from service.kernel.errors import Refused
from service.kernel.sentences import nearest, shown

_MISSING = re.compile(r"Missing required query parameter '([^']+)'")
_NO_CHOICE = "Invalid enum value"
_SAID = {
    "Invalid RFC3339 encoded date": "it is no date, which is written 2026-05-14",
    "Expected `bool`": "it is true or false",
    "Expected `int`": "it is a whole number",
}


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


def sentence_of(request: Request[Any, Any, Any], error: HTTPException) -> str:
    """What the framework refuses of a parameter, by the name that it has in the API."""
    handler = request.scope.get("route_handler")
    names = request.app.state.query_parameters.get(handler, {})
    missing = _MISSING.match(error.detail)
    if missing is not None:
        return f"The parameter {missing[1]} is missing; /docs says what it may be."
    faults = error.extra if isinstance(error.extra, list) else []
    wrong = "; ".join(
        f"{names.get(fault.get('key'), fault.get('key'))}: {_said(handler, fault)}" for fault in faults
    )
    return f"A parameter cannot be read: {wrong}; /docs says what it may be." if wrong else f"{error.detail}."


def _said(handler: Any, fault: dict[str, Any]) -> str:
    """A fault in the framework's words; of a closed list, what is in it."""
    message = str(fault.get("message"))
    if message.startswith(_NO_CHOICE) and (choices := _choices(handler, fault.get("key"))):
        return f"it is one of {', '.join(choices)}"
    return _SAID.get(message.removesuffix(", got `str`").replace(" | null", ""), message)


def _choices(handler: BaseRouteHandler, key: str | None) -> tuple[str, ...]:
    """What a parameter of the handler, or of what is injected into it, may be; empty where that is no closed list."""
    injected = handler.resolve_dependencies().values()
    for signature in [handler.parsed_fn_signature, *(one.parsed_fn_signature for one in injected)]:
        if key in signature.parameters:
            annotation = signature.parameters[key].annotation
            for kind in (annotation, *get_args(annotation)):
                if get_origin(kind) is Literal:
                    return get_args(kind)
    return ()
