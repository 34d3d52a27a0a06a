"""Query parameters that an address does not have are refused: a mistyped filter would answer with everything."""

from datetime import date, datetime
from typing import Any, Literal, get_args, get_origin
from uuid import UUID

from litestar import Litestar
from litestar.connection import ASGIConnection
from litestar.handlers import BaseRouteHandler
from litestar.routes import HTTPRoute
from litestar.typing import FieldDefinition

from service.kernel.errors import Refused
from service.kernel.sentences import nearest, shown
from service.kernel.values import LINE, REGION

WORDS = {
    bool: "true or false",
    date: "a date such as 2026-05-14",
    datetime: "an instant such as 2026-05-14T10:00:00Z",
    float: "a number",
    int: "a whole number",
    str: "text",
    UUID: "a UUID such as 0198f3a0-0000-7000-8000-000000000001",
}
FORMS = {LINE: "one line of text", REGION: "a region such as US or US-WA (ISO 3166-2)"}


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


def wrong_parameter(handler: BaseRouteHandler, key: str, name: str, value: str | None, otherwise: str) -> str:
    """A sentence on a parameter that the framework cannot read: what it may be, else what the framework says.

    `key` is the parameter's name in the code of the handler or of what is injected into it, `name` that in the API.
    """
    asked = [
        handler.parsed_fn_signature,
        *(one.parsed_fn_signature for one in handler.resolve_dependencies().values()),
    ]
    field = next((one.parameters[key] for one in asked if key in one.parameters), None)
    expected = None if field is None else _expected(field)
    if expected is None:
        return f"The parameter {name} cannot be read: {otherwise}."
    return f"The parameter {name} must be {expected}" + ("." if value is None else f", not {shown(value)}.")


def _expected(field: FieldDefinition) -> str | None:
    kinds = [kind for kind in get_args(field.annotation) if kind is not type(None)]
    kind = field.annotation if get_origin(field.annotation) is Literal or not kinds else kinds[0]
    if get_origin(kind) is Literal:
        return f"one of {', '.join(map(str, get_args(kind)))}"
    bounds = field.kwarg_definition
    least, most = getattr(bounds, "ge", None), getattr(bounds, "le", None)
    shortest, longest = getattr(bounds, "min_length", None), getattr(bounds, "max_length", None)
    said = FORMS.get(getattr(bounds, "pattern", None) or "", WORDS.get(kind))
    if said is not None and least is not None and most is not None:
        said += f" from {least} to {most}"
    if said is not None and longest is not None:
        said += f" of {f'{shortest} to' if shortest else 'at most'} {longest} characters"
    return said
