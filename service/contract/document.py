"""The OpenAPI 3.1 document: paths and parameters as the framework reads them, bodies as the Structs say."""

from collections.abc import Callable, Iterable
from typing import Any

import msgspec
from litestar import Litestar, Router
from litestar.di import Provide
from litestar.handlers import HTTPRouteHandler
from litestar.openapi import OpenAPIConfig

from service import __version__
from service.contract.nouns import events
from service.contract.samples import sample_of
from service.contract.schemas import schema_of
from service.events.models import Envelope
from service.kernel.errors import TITLES, Problem
from service.kernel.http import MERGE_PATCH

INJECTED = ("caller", "pool", "now")
REFERENCE = "#/components/schemas/{name}"
PROBLEM = "application/problem+json"
HEADERS = {
    "ETag": "the version's tag; send it in If-Match to amend",
    "Location": "where the new thing is",
    "Link": 'rel="next": the next page (RFC 8288)',
}
WORDS = {200: "Done", 201: "Created", 204: "Done, nothing to say", 304: "You have it already"}
ABOUT = (
    "The record book, the clock and the courier of a trapping business that uses no pesticides. "
    "Local codes and licensed practice come first."
)


def document(routers: list[Router]) -> dict[str, Any]:
    """The whole document; `routers` are those that the app serves."""
    # what the app injects is no parameter of the request
    injected = {name: Provide(_stand_in(), sync_to_thread=False) for name in INJECTED}
    framework = Litestar(
        routers,
        dependencies=injected,
        openapi_config=OpenAPIConfig("Setbook", __version__, operation_id_creator=_operation_id),
    )
    read: dict[str, Any] = framework.openapi_schema.to_schema()
    handlers = {
        (route.path_format, method.lower()): handler
        for route in framework.routes
        for handler in getattr(route, "route_handlers", [])
        for method in handler.http_methods
    }
    served = {
        path: {method: _operation(path, part, handlers[path, method]) for method, part in item.items()}
        for path, item in read["paths"].items()
        if all((path, method) in handlers and _is_ours(handlers[path, method]) for method in item)
    }
    types = {id(of): of for handler in handlers.values() for of in _types(handler.opt)}
    _, components = msgspec.json.schema_components(
        [*types.values(), Problem, Envelope], ref_template=REFERENCE
    )
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "Setbook",
            "version": __version__,
            "description": ABOUT,
            "license": {"name": "Apache-2.0", "identifier": "Apache-2.0"},
        },
        "servers": [{"url": "/"}],
        "security": [{"key": []}],
        "paths": served,
        "webhooks": {name: _webhook(name, of) for name, of in events().items()},
        "components": {
            "schemas": components,
            "securitySchemes": {"key": {"type": "http", "scheme": "bearer", "bearerFormat": "setbook_..."}},
        },
    }


def _stand_in() -> Callable[[], None]:
    def nothing() -> None:
        """Provides nothing: no request is served here."""

    return nothing


def _operation_id(handler: HTTPRouteHandler, *_: Any) -> str:
    return str(handler.operation_id or handler.fn.__name__)


def _is_ours(handler: HTTPRouteHandler) -> bool:
    return "gives" in handler.opt


def _types(opt: dict[str, Any]) -> Iterable[Any]:
    return [of for of in (opt.get("takes"), opt.get("gives")) if of is not None]


def _schema(of: Any) -> dict[str, Any]:
    (schema,), _ = msgspec.json.schema_components([of], ref_template=REFERENCE)
    return schema


def _operation(path: str, part: dict[str, Any], handler: HTTPRouteHandler) -> dict[str, Any]:
    opt = handler.opt
    words = (handler.fn.__doc__ or "").strip()
    summary = handler.summary or words.partition("\n")[0].rstrip(".")
    shown = {
        "operationId": handler.operation_id or handler.fn.__name__,
        "summary": summary,
        "description": words or f"{summary}.",
        "tags": [path.split("/")[2] if path.startswith("/v1/") else "operations"],
        "parameters": part.get("parameters", []),
        "responses": {
            **{str(status): _answer(status, opt) for status in opt["status"]},
            **{str(status): _refusal(status) for status in sorted(_refusals(part, opt))},
        },
    }
    if opt.get("public"):
        shown["security"] = []
    if opt.get("takes") is not None:
        shown["requestBody"] = {
            "required": True,
            "content": {media: _body(media, opt["takes"]) for media in opt["media"]},
        }
    return shown


def _body(media: str, of: Any) -> dict[str, Any]:
    if media != MERGE_PATCH[0]:
        return {"schema": _schema(of), "examples": {"plain": {"value": sample_of(of)}}}
    return {"schema": patch_schema(of)}


def patch_schema(of: Any) -> dict[str, Any]:
    """A merge patch of a body: any of its members, null where it may be taken out again."""
    (reference,), parts = msgspec.json.schema_components([of], ref_template=REFERENCE)
    whole = parts[reference["$ref"].rpartition("/")[2]]
    required = whole.get("required", [])
    members = {
        name: member if name in required else {"anyOf": [member, {"type": "null"}]}
        for name, member in whole["properties"].items()
        if name != "id"
    }
    return {"type": "object", "properties": members, "additionalProperties": False}


def _answer(status: int, opt: dict[str, Any]) -> dict[str, Any]:
    answer: dict[str, Any] = {"description": WORDS.get(status, "Done")}
    if opt.get("headers"):
        answer["headers"] = {
            name: {"description": HEADERS[name], "schema": {"type": "string"}} for name in opt["headers"]
        }
    if status not in (204, 304):
        answer["content"] = {media: {"schema": _schema(opt["gives"])} for media in opt["produces"]}
    return answer


def _refusals(part: dict[str, Any], opt: dict[str, Any]) -> set[int]:
    refusals = {*opt.get("refuses", ())}
    parameters = part.get("parameters", [])
    if opt.get("scope"):
        refusals |= {400, 401, 403}
    if any(one["in"] == "path" for one in parameters):
        refusals.add(404)
    if any(one["name"] == "after" for one in parameters):
        refusals.add(410)
    if opt.get("takes") is not None:
        refusals |= {413, 415, 422}
    return refusals


def _refusal(status: int) -> dict[str, Any]:
    title = next(title for code, title in TITLES.values() if code == status)
    return {"description": title, "content": {PROBLEM: {"schema": {"$ref": "#/components/schemas/Problem"}}}}


def _webhook(name: str, of: Any) -> dict[str, Any]:
    """What arrives at an endpoint: a CloudEvents envelope whose data is the event's."""
    data = {key: member for key, member in schema_of(name, of).items() if key not in ("$schema", "$id")}
    example = {
        **sample_of(Envelope),
        "type": name,
        "data": sample_of(of),
        "dataschema": f"/schema/v1/{name}.json",
    }
    parts = data.pop("$defs", {})
    return {
        "post": {
            "operationId": f"on_{name.replace('.', '_')}",
            "summary": name,
            "description": (of.__doc__ or "").strip(),
            "tags": ["webhooks"],
            "requestBody": {
                "content": {
                    "application/cloudevents+json": {
                        "schema": {
                            "allOf": [
                                {"$ref": "#/components/schemas/Envelope"},
                                {"properties": {"data": _inlined(data, parts), "type": {"const": name}}},
                            ]
                        },
                        "examples": {"plain": {"value": example}},
                    }
                }
            },
            "responses": {"2XX": {"description": "Taken"}, "default": {"description": "Sent again later"}},
        }
    }


def _inlined(schema: Any, parts: dict[str, Any]) -> Any:
    """The schema with its $defs put in place, so that it stands by itself inside the document."""
    if isinstance(schema, list):
        return [_inlined(item, parts) for item in schema]
    if not isinstance(schema, dict):
        return schema
    reference = schema.get("$ref")
    if reference is not None:
        return _inlined(parts[reference.rpartition("/")[2]], parts)
    return {key: _inlined(member, parts) for key, member in schema.items()}
