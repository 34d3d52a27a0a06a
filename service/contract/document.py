"""The OpenAPI 3.1 document: what the app serves, what it sends to endpoints, and every body as the Structs say."""

import inspect
from collections.abc import Callable
from typing import Any

from litestar import Litestar, Router
from litestar.di import Provide
from litestar.handlers import HTTPRouteHandler
from litestar.openapi import OpenAPIConfig

from service import __version__
from service.contract.nouns import events
from service.contract.operations import Patch, Schema, example_of, header, operation, tag_of
from service.contract.patches import add_patch
from service.contract.problems import MEANINGS
from service.contract.samples import sample_of
from service.contract.schemas import built
from service.events.models import Envelope
from service.events.sender import TIMEOUT_SECONDS
from service.kernel.errors import TITLES, Problem
from service.kernel.http import MERGE_PATCH

METHODS = ("get", "post", "put", "patch", "delete")
INJECTED = ("caller", "pool", "now")
REFERENCE = "#/components/schemas/{name}"
PROBLEM = "application/problem+json"
ABOUT = """\
The record book, the clock and the courier of a trapping business that uses no pesticides.

Lengths in millimetres, mass in grams, areas in square metres, instants as RFC 3339, positions as GeoJSON (WGS 84),
regions as ISO 3166-2; the unit is in a member's name. What exists is amended with the ETag that was read, in
If-Match. Lists come in pages: follow `next`. Every refusal says in one sentence what to mend.

Local codes and licensed practice come first."""
# In the order in which one meets them.
TAGS = {
    "visits": "One body with all facts of a visit.",
    "refusals": "Visits that were refused, kept until they are mended.",
    "conflicts": "Stated facts that do not fit beside others, for the office to mend.",
    "signs": "What an animal left to be seen.",
    "sets": "Traps at one spot, as stated and as they now are.",
    "traps": "Traps by the number that is written on them.",
    "catches": "What was caught, with where and how.",
    "lawn-patches": "Turf that soil or a cover lay on: how long, what became of it, what to do about it.",
    "deadlines": "What is due, overdue or over, each with why.",
    "rule-packs": "What law and practice ask where, each text as it was read.",
    "rounds": "The day: where to go, what stands and waits there, what to heed.",
    "properties": "Places where work is done, their features and tenures.",
    "customers": "Whom the work is done for.",
    "jobs": "One target species at one property, opened and closed by a person.",
    "permits": "Permits of authorities.",
    "methods": "How the business classes what no register of the package has.",
    "method-register": "Which methods break the claim that no pesticide was used, and on which ground.",
    "treatments": "Substances or devices used at a property, by anybody.",
    "upkeep": "Mowing, water, rolling.",
    "incidents": "What went wrong.",
    "service-records": "What the customer gets: numbered, immutable, by period.",
    "months": "The manager's month.",
    "animals-taken": "What was caught in a period, as authorities ask for it.",
    "events": "The log of what was told, to be pulled.",
    "webhooks": "What arrives at an endpoint.",
    "endpoints": "Where events are delivered to.",
    "business": "The business, its settings and house policies.",
    "workers": "People who work for the business.",
    "api-keys": "Keys with their scopes; a key is shown once.",
    "me": "Who is calling.",
    "operations": "The contract itself, health and version.",
}
# what no operation has to say of itself: a method that it is not, a fault of ours
UNSAID = (405, 500)
REFUSAL_HEADERS = {
    401: {"WWW-Authenticate": "how to send a key (RFC 6750)"},
    412: {"ETag": "the tag that it has now"},
    503: {"Retry-After": "seconds to wait"},
}
# ids in an event that are not what it is about
BESIDE = ("deadline_id", "property_id")
SIGNED = {
    "webhook-id": "the event's id, the same at every attempt",
    "webhook-timestamp": "seconds since 1970 of this attempt",
    "webhook-signature": "an entry for each key in force, parted by a space, over `id.timestamp.body`: v1, a comma and "
    "the base64 of HMAC-SHA256, or v1a, a comma and the base64 of Ed25519",
}

# what a receiver may answer to a webhook
ANSWERS = {
    "2XX": f"taken, where it comes within {TIMEOUT_SECONDS:g} seconds",
    "410": "no more is wanted: the endpoint is paused, and its deliveries wait until it is resumed",
    "default": "sent again later, for three days; Retry-After is heeded up to 24 hours, a redirect is not followed",
}


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
        (route.path_format, method): handler
        for route in framework.routes
        for method in METHODS
        for handler in getattr(route, "route_handlers", [])
        if method.upper() in handler.http_methods and "gives" in handler.opt
    }
    schema_of, components = _components(list(handlers.values()))
    schema = schema_of.__getitem__
    served: dict[str, Any] = {}
    for (path, method), handler in handlers.items():
        served.setdefault(path, {})[method] = operation(path, read["paths"][path][method], handler, schema)
    used = {tag_of(path) for path in served} | {"webhooks"}
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "Setbook",
            "version": __version__,
            "summary": "Record book, clock and courier of a pesticide-free trapping business",
            "description": ABOUT,
            "license": {"name": "Apache-2.0", "identifier": "Apache-2.0"},
        },
        "servers": [{"url": "/"}],
        "tags": [{"name": name, "description": words} for name, words in TAGS.items() if name in used],
        "paths": served,
        "webhooks": {name: {"post": _webhook(name, of, schema)} for name, of in events().items()},
        "components": {
            **components,
            "responses": {
                str(status): _refusal(kind, status)
                for kind, (status, _) in TITLES.items()
                if status not in UNSAID
            },
            "securitySchemes": {"key": {"type": "http", "scheme": "bearer", "bearerFormat": "setbook_..."}},
        },
    }


def _stand_in() -> Callable[[], None]:
    def nothing() -> None:
        """Provides nothing: no request is served here."""

    return nothing


def _operation_id(handler: HTTPRouteHandler, *_: Any) -> str:
    return str(handler.operation_id or handler.fn.__name__)


def _components(handlers: list[HTTPRouteHandler]) -> tuple[dict[Any, dict[str, Any]], dict[str, Any]]:
    """The schema of each type that is taken, given or told, and the components that these point to."""
    taking = [handler.opt for handler in handlers if handler.opt.get("takes") is not None]
    patched = [opt["takes"] for opt in taking if opt["media"] == MERGE_PATCH]
    shown = [opt["takes"] for opt in taking if opt["media"] != MERGE_PATCH]
    shown += [of for handler in handlers for of in handler.opt["produces"].values() if of is not None]
    types = list(dict.fromkeys([*shown, *patched, *events().values(), Envelope, Problem]))
    found, parts = built(types, REFERENCE)
    schema_of: dict[Any, dict[str, Any]] = dict(zip(types, found, strict=True))
    for of in patched:
        schema_of[Patch(of)] = add_patch(schema_of[of]["$ref"].rpartition("/")[2], parts)
    examples = {
        schema_of[of]["$ref"].rpartition("/")[2]: {"value": example_of(of)}
        for of in [*shown, *map(Patch, patched)]
        if "$ref" in schema_of[of]
    }
    for of in set(patched) - set(shown):
        # only its patch is ever sent
        del parts[schema_of[of]["$ref"].rpartition("/")[2]]
    return schema_of, {"schemas": parts, "examples": examples}


def _refusal(kind: str, status: int) -> dict[str, Any]:
    problem = {
        "type": f"/problems/{kind}",
        "title": TITLES[kind][1],
        "status": status,
        "detail": MEANINGS[kind],
    }
    if kind == "invalid":
        problem = sample_of(Problem)
    example = {"plain": {"value": problem}}
    content = {PROBLEM: {"schema": {"$ref": REFERENCE.format(name="Problem")}, "examples": example}}
    headers = {
        name: header(words, required=name != "ETag")
        for name, words in REFUSAL_HEADERS.get(status, {}).items()
    }
    return {"description": MEANINGS[kind], "headers": headers, "content": content}


def _webhook(name: str, of: Any, schema: Schema) -> dict[str, Any]:
    """What arrives at an endpoint: a CloudEvents envelope whose data is the event's."""
    told = sample_of(of)
    own = (told[key] for key in told if key.endswith("_id") and key not in BESIDE)
    subject = next(own, told.get("property_id"))
    schema_at = f"https://setbook.example/schema/v1/{name}.json"
    example = {**sample_of(Envelope), "type": name, "subject": subject, "dataschema": schema_at, "data": told}
    told_here = {"required": ["deliverynumber"], "properties": {"type": {"const": name}, "data": schema(of)}}
    body = {"allOf": [schema(Envelope), told_here]}
    content = {"application/cloudevents+json": {"schema": body, "examples": {"plain": {"value": example}}}}
    return {
        "operationId": f"on_{name.replace('.', '_')}",
        "summary": name,
        "description": inspect.cleandoc(of.__doc__ or ""),
        "tags": ["webhooks"],
        "security": [],
        "parameters": [
            {
                "name": header,
                "in": "header",
                "description": words,
                "required": True,
                "schema": {"type": "string"},
            }
            for header, words in SIGNED.items()
        ],
        "requestBody": {"required": True, "content": content},
        "responses": {answer: {"description": words} for answer, words in ANSWERS.items()},
    }
