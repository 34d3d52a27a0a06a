"""One operation of the OpenAPI document: parameters as the framework reads them, the rest as its route says."""

import inspect
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from litestar.handlers import HTTPRouteHandler

from service.contract.samples import sample_of
from service.contract.values import id_named
from service.events.models import DELIVERYNUMBER_FORM
from service.events.rules import FILTERS
from service.kernel.http import MERGE_PATCH
from service.kernel.values import REGION

CREATED, NO_CONTENT, NOT_MODIFIED = 201, 204, 304
# From a type, or a patch of it, to its schema in the document.
Schema = Callable[[Any], dict[str, Any]]

HEADERS = {
    "Content-Encoding": "zstd or gzip, where Accept-Encoding asks for it",
    "ETag": "the version's tag, to be sent in If-Match",
    "Link": 'rel="next": the next page (RFC 8288)',
    "Location": "where the new thing is",
    "Preference-Applied": "what was heeded of Prefer (RFC 7240)",
    "Vary": "the headers of the request that the form hangs on",
}
# Those that an answer may do without.
OPTIONAL = {"Content-Encoding", "Link", "Preference-Applied"}
WORDS = {
    200: "Done",
    201: "Created",
    202: "Under way",
    204: "Done, nothing to say",
    304: "You have it already",
}
PARAMETERS = {
    "amend_reason": "why it is withdrawn; asked for once a service record was issued on it",
    "claim": "only records whose claim holds: by us, or as far as is known at the property",
    "customer_id": "only of this customer",
    "event_id": "only of this event",
    "job_id": "only of this job",
    "kind": "only of this kind",
    "name": "a noun or an event with .json behind it, e.g. visit.json, check.overdue.json",
    "property_id": "only at this property",
    "set_id": "only in this set",
    "state": "only in this state",
    "subject_id": "only about this set, sign or permit",
    "unassigned": "true: only what belongs to no job",
    "verdict": "only with this verdict",
    "visit_id": "only of this visit",
    "worker_id": "only of this worker",
}
PATH_PARAMETERS = {
    "date": "local date, e.g. 2026-05-15",
    "deliverynumber": "the delivery's number at its endpoint",
    "id": "its id; any UUID but nil, so a client may mint it",
    "kind": "the last step of a problem's type",
    "month": "year and month, e.g. 2026-05",
    "pack_id": "the rule pack's id",
    "version": "the version's number, from 1 on",
    "record": "YYYY-NNNNNN for all its versions in short, YYYY-NNNNNN.v for the bytes of one",
}
# Of what the `id` in a path is, by the step before it, as the examples name it.
IDS = {
    "customers": "customer_id",
    "features": "feature_id",
    "incidents": "incident_id",
    "jobs": "job_id",
    "methods": "method_id",
    "permits": "permit_id",
    "properties": "property_id",
    "tenures": "tenure_id",
    "treatments": "treatment_alone_id",
    "upkeep": "upkeep_alone_id",
    "workers": "worker_id",
}
EXAMPLES = {
    "audience": "auditor",
    "from": "2026-01-01",
    "date": "2026-05-15",
    "deliverynumber": "7",
    "kind": "invalid",
    "month": "2026-05",
    "name": "visit.json",
    "record": "2026-000123",
    "until": "2027-01-01",
    "version": "1",
}
FILTER = "|".join(map(re.escape, FILTERS))
# Forms that handlers check with sentences of their own.
FORMS: dict[str, dict[str, Any]] = {
    "audience": {"enum": ["customer", "auditor", "public"]},
    "date": {"pattern": "^(19[0-9]{2}|2[01][0-9]{2})-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$"},
    "deliverynumber": {"pattern": DELIVERYNUMBER_FORM},
    "format": {"enum": ["json", "ndjson", "csv"]},
    # of one address alone, by its last step
    "file/format": {"enum": ["pdf", "zip"]},
    "service-records/format": {"enum": ["json", "ndjson", "csv", "xlsx"]},
    "digest/format": {"enum": ["json", "ndjson", "csv", "xlsx"]},
    "{record}/format": {"enum": ["json", "html", "pdf"]},
    "region": {"pattern": REGION},
    "types": {"pattern": f"^({FILTER})(,({FILTER}))*$"},
    "month": {"pattern": "^(19[0-9]{2}|2[01][0-9]{2})-(0[1-9]|1[0-2])$"},
    "version": {"pattern": "^[1-9][0-9]{0,5}$"},
    "record": {"pattern": r"^[0-9]{4}-[0-9]{6}(\.[1-9][0-9]{0,5})?$"},
}
IF_NONE_MATCH = {
    "name": "If-None-Match",
    "in": "header",
    "description": "an ETag that was read; 304 where it still is the current one",
    "schema": {"type": "string"},
}


@dataclass(frozen=True)
class Patch:
    """A merge patch of a body."""

    of: Any


def operation(path: str, read: dict[str, Any], handler: HTTPRouteHandler, schema: Schema) -> dict[str, Any]:
    """The operation at a path; `read` is what the framework's own document has of it."""
    opt = handler.opt
    words = inspect.cleandoc(handler.description or handler.fn.__doc__ or "")
    summary = (handler.summary or words.partition("\n")[0]).rstrip(".")
    needs = f"Needs a key with the scope `{opt['scope']}`." if opt.get("scope") else "Needs no key."
    shown: dict[str, Any] = {
        "operationId": handler.operation_id or handler.fn.__name__,
        "summary": summary,
        "description": f"{words or f'{summary}.'}\n\n{needs}",
        "tags": [tag_of(path)],
        "parameters": list(_parameters(path, read, opt)),
        "security": [{"key": [opt["scope"]]}] if opt.get("scope") else [],
        "responses": {
            **{str(status): _answer(status, opt, schema) for status in opt["status"]},
            **{str(status): refusal(status) for status in sorted(_refusals(read, opt))},
        },
    }
    if opt.get("takes") is not None:
        content = {media: _body(opt, schema) for media in opt["media"]}
        shown["requestBody"] = {"required": True, "content": content}
    return shown


def tag_of(path: str) -> str:
    """The first step below /v1; what stands outside is for operators."""
    return path.split("/")[2] if path.startswith("/v1/") else "operations"


def refusal(status: int) -> dict[str, str]:
    """The answer that every refusal of that status has in common."""
    return {"$ref": f"#/components/responses/{status}"}


def _parameters(path: str, read: dict[str, Any], opt: dict[str, Any]) -> Iterator[dict[str, Any]]:
    for one in read.get("parameters", []):
        place, name = one["in"], one["name"]
        known = PATH_PARAMETERS if place == "path" else PARAMETERS
        words = one.get("description") or known.get(name) or f"the {name.removesuffix('_id')}'s id"
        example = {"example": _example_in(path, name)} if one["required"] else {}
        yield {
            "name": name,
            "in": place,
            "description": words,
            "required": one["required"],
            "schema": _without_null(one["schema"]) | _form(path, name),
            **example,
        }
    if NOT_MODIFIED in opt["status"]:
        yield IF_NONE_MATCH


def _example_in(path: str, name: str) -> str:
    """The example of a part of a path, the id that the examples of bodies speak of, or of what a query must hold."""
    if name != "id":
        return EXAMPLES.get(name) or id_named(name)
    return id_named(IDS[path.partition("/{id}")[0].rpartition("/")[2]])


def _form(path: str, name: str) -> dict[str, Any]:
    """The form of a parameter at this address, else wherever it stands."""
    return FORMS.get(f"{path.rpartition('/')[2]}/{name}", FORMS.get(name, {}))


def _without_null(schema: dict[str, Any]) -> dict[str, Any]:
    """A parameter is there or not; it is never null. Its description stands beside the schema."""
    told = {name: member for name, member in schema.items() if name != "description"}
    for one in told.pop("oneOf", []):
        if one.get("type") != "null":
            told = {**one, **told}
    if isinstance(told.get("type"), list):
        told["type"] = next(one for one in told["type"] if one != "null")
    if "enum" in told:
        told["enum"] = [one for one in told["enum"] if one is not None]
    return {name: int(value) if isinstance(value, float) else value for name, value in told.items()}


def _body(opt: dict[str, Any], schema: Schema) -> dict[str, Any]:
    of = Patch(opt["takes"]) if opt["media"] == MERGE_PATCH else opt["takes"]
    return described(schema(of), of)


def described(schema: dict[str, Any], of: Any) -> dict[str, Any]:
    """A body with its schema and its example: that of the component, where it is one."""
    if of is str:
        return {"schema": schema}
    name = schema.get("$ref", "").rpartition("/")[2]
    example = {"$ref": f"#/components/examples/{name}"} if name else {"value": example_of(of)}
    return {"schema": schema, "examples": {"plain": example}}


def example_of(of: Any) -> Any:
    """A plain example of a type; of a patch one member."""
    if not isinstance(of, Patch):
        return sample_of(of)
    whole = sample_of(of.of)
    first = next(name for name in whole if name != "id")
    return {first: whole[first]}


def _answer(status: int, opt: dict[str, Any], schema: Schema) -> dict[str, Any]:
    answer: dict[str, Any] = {"description": WORDS[status]}
    names = [name for name in opt.get("headers", ()) if name != "Location" or status == CREATED]
    if names:
        answer["headers"] = {name: header(HEADERS[name], required=name not in OPTIONAL) for name in names}
    if status not in {NO_CONTENT, NOT_MODIFIED}:
        answer["content"] = {media: described(schema(of), of) for media, of in opt["produces"].items()}
    return answer


def header(words: str, *, required: bool = True) -> dict[str, Any]:
    """A header of an answer; all are text."""
    return {"description": words, "required": required, "schema": {"type": "string"}}


def _refusals(read: dict[str, Any], opt: dict[str, Any]) -> set[int]:
    """What the route names, and what follows from what it takes."""
    refusals = {400, *opt.get("refuses", ())}
    parameters = read.get("parameters", [])
    if opt.get("scope"):
        refusals |= {401, 403, 503}
    if any(one["in"] == "path" for one in parameters):
        refusals.add(404)
    if any(one["name"] == "after" for one in parameters):
        refusals.add(410)
    if opt.get("takes") is not None:
        refusals |= {413, 415, 422}
    return refusals
