"""What schemathesis is told beyond the document: how a line of NDJSON is written, and that cursors are not invented."""

import json
from typing import Any

import schemathesis

issued: dict[str, str] = {}


@schemathesis.serializer("application/x-ndjson")
def one_line(_: Any, value: Any) -> bytes:
    """A body of one line."""
    return json.dumps(value).encode() + b"\n"


@schemathesis.hook
def before_call(_: Any, case: Any, kwargs: Any) -> None:
    """Where a request is to be a good one, go on from a cursor that this very list has given, if any."""
    if case.meta.generation.mode.is_positive and {"after", "as_of"} & set(case.query):
        given = issued.get(case.formatted_path) if "after" in case.query else None
        case.query = {name: value for name, value in case.query.items() if name not in ("after", "as_of")}
        case.query |= {"after": given} if given else {}


@schemathesis.hook
def after_call(_: Any, case: Any, response: Any) -> None:
    """Keep what a list gives to go on from."""
    if response.status_code == 200 and response.headers.get("content-type") == ["application/json"]:
        content = response.json()
        if isinstance(content, dict) and content.get("next"):
            issued[case.formatted_path] = content["next"]
