"""What handlers share of HTTP: what a route takes and gives, tags, preconditions, answers."""

import hashlib
import re
from collections.abc import Mapping, Sequence
from typing import Annotated, Any, TypeVar
from urllib.parse import urlencode

import msgspec
from litestar import Request, Response
from litestar.params import HeaderParameter

from service.kernel.errors import Refused
from service.kernel.values import Scope

S = TypeVar("S")

IfMatch = Annotated[str | None, HeaderParameter(name="If-Match", description="the ETag that was read")]
JSON = ("application/json",)
_WEIGHT = re.compile(r"q=(0(?:\.[0-9]{1,3})?|1(?:\.0{1,3})?)")
MERGE_PATCH = ("application/merge-patch+json", "application/json")


def route(
    scope: Scope,
    *,
    gives: Any,
    takes: Any = None,
    media: Sequence[str] = JSON,
    status: Sequence[int] = (200,),
    refuses: Sequence[int] = (),
    headers: Sequence[str] = (),
    produces: Sequence[str] | Mapping[str, Any] = JSON,
) -> dict[str, Any]:
    """The part of a route that guard and OpenAPI document read: scope, body in, body out, answers.

    `status` lists the good answers, `refuses` the refusals beyond those that every route has, `produces` the media
    types of the good answers; where they do not all hold the same, it says what each holds.
    """
    described = {
        "scope": scope,
        "takes": takes,
        "media": tuple(media) if takes is not None else (),
        "gives": gives,
        "status": tuple(status),
        "refuses": tuple(refuses),
        "headers": tuple(headers),
        "produces": dict(produces) if isinstance(produces, Mapping) else dict.fromkeys(produces, gives),
    }
    return {"opt": described}


def public_route(
    gives: Any,
    produces: str = "application/json",
    refuses: Sequence[int] = (),
    status: Sequence[int] = (200,),
    headers: Sequence[str] = (),
) -> dict[str, Any]:
    """The part of a route that needs no key, outside /v1."""
    described = {
        "public": True,
        "gives": gives,
        "status": tuple(status),
        "produces": {produces: gives},
        "refuses": tuple(refuses),
        "headers": tuple(headers),
    }
    return {"opt": described}


def tag_of(version: int) -> str:
    """The strong ETag of a stated resource (RFC 9110 section 8.8.3)."""
    return f'"{version}"'


def weak_tag(content: object) -> str:
    """The weak content tag of a read model; it never passes If-Match."""
    digest = hashlib.sha256(msgspec.json.encode(content)).hexdigest()
    return f'W/"{digest[:32]}"'


def matches(if_match: str | None, tag: str) -> bool:
    """Strong comparison of an If-Match list with the current tag (RFC 9110 section 13.1.1)."""
    if if_match is None:
        return False
    return if_match.strip() == "*" or tag in [one.strip() for one in if_match.split(",")]


def check_precondition(if_match: str | None, tag: str) -> None:
    """428 without If-Match, 412 with a stale one."""
    if if_match is None:
        raise Refused(
            "precondition_required", "This exists already; read it and send its ETag in If-Match to amend it."
        )
    if not matches(if_match, tag):
        raise Refused(
            "stale",
            f"It has moved on to {tag}; read it again and send that ETag in If-Match.",
            headers={"ETag": tag},
        )


def answer(
    content: S, *, status: int = 200, etag: str | None = None, location: str | None = None
) -> Response[S]:
    """An answer with its tag and place."""
    headers = {"ETag": etag, "Location": location}
    return Response(
        content, status_code=status, headers={name: value for name, value in headers.items() if value}
    )


def not_modified(request: "Request[Any, Any, Any]", etag: str) -> Response[Any] | None:
    """304 where the reader has this very content (RFC 9110 section 13.1.2), else None: what is dear to make is not."""
    known = [one.strip().removeprefix("W/") for one in request.headers.get("if-none-match", "").split(",")]
    if etag.removeprefix("W/") in known or known == ["*"]:
        return Response(None, status_code=304, headers={"ETag": etag})
    return None


def read_answer(request: "Request[Any, Any, Any]", content: S, etag: str) -> Response[Any]:
    """A single resource, or that the reader has it."""
    return not_modified(request, etag) or answer(content, etag=etag)


def accepted(accept: str | None, offered: Mapping[str, S]) -> S | None:
    """Of what is offered by media type, what Accept likes best (RFC 9110 section 12.5.1); None where it takes none.

    Of what it likes as well the first is taken.
    """
    for one in sorted((accept or "*/*").split(","), key=_weight, reverse=True):
        asked = one.partition(";")[0].strip().lower()
        for media, found in offered.items():
            if asked in (media, f"{media.partition('/')[0]}/*", "*/*") and _weight(one) > 0:
                return found
    return None


def weights(field: str) -> dict[str, float]:
    """What a list such as that of Accept-Encoding names, in lower case, with its weight; 1 where none is given."""
    parts = {one.partition(";")[0].strip().lower(): _weight(one) for one in field.split(",")}
    return {name: weight for name, weight in parts.items() if name}


def form_of(wanted: str | None, accept: str | None, offered: Mapping[str, S]) -> S | None:
    """What `format` names of what is offered by media type, else what Accept likes best; None where there is none."""
    named = next((form for form in offered.values() if form == wanted), None)
    return named if wanted else accepted(accept, offered)


def _weight(one: str) -> float:
    weight = _WEIGHT.search(one.replace(" ", ""))
    return 1.0 if weight is None else float(weight.group(1))


def link_next(request: "Request[Any, Any, Any]", cursor: str) -> str:
    """The Link header of the next page (RFC 8288), relative to this one."""
    query = [(name, value) for name, value in request.query_params.multi_items() if name != "after"]
    return f'<{request.url.path}?{urlencode([*query, ("after", cursor)])}>; rel="next"'


def preference(lines: Sequence[str], name: str) -> str | None:
    """What the lines of Prefer say of a preference, the first of several (RFC 7240 section 2); None for nothing."""
    for one in ",".join(lines).split(","):
        said, _, value = one.partition(";")[0].partition("=")
        if said.strip().lower() == name:
            return value.strip().strip('"')
    return None
