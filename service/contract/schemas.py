"""JSON Schema 2020-12 of every noun and event, from the Structs that the code decodes and encodes."""

import inspect
from collections.abc import Sequence
from typing import Any

import msgspec

from service.contract.nouns import NOUNS, events
from service.contract.samples import sample_of

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def schema_id(name: str) -> str:
    """What a schema is called wherever it is served."""
    return f"urn:setbook:schema:v1:{name}"


def schemas() -> dict[str, dict[str, Any]]:
    """A bundled schema for each noun and event type, by its file's name without the ending."""
    return {name: schema_of(name, of) for name, of in sorted({**NOUNS, **events()}.items())}


def schema_of(name: str, of: Any) -> dict[str, Any]:
    """One file: identity, title, description, example, and all it rests on under $defs."""
    (own,), parts = built([of], "#/$defs/{name}")
    if "$ref" in own:
        own = parts.pop(own["$ref"].removeprefix("#/$defs/"))
    titled = {"$schema": DIALECT, "$id": schema_id(name), **own, "title": name, "examples": [sample_of(of)]}
    return {**titled, "$defs": parts} if parts else titled


def built(types: Sequence[Any], reference: str) -> tuple[list[dict[str, Any]], dict[str, Any]]:
    """The schema of each type, and by name all parts that these rest on, at `reference` ("...{name}").

    All at once, so that two Structs of one name get different ones.
    """
    found, parts = msgspec.json.schema_components(types, ref_template=reference)
    return tidy(found), tidy(parts)


def tidy(schema: Any) -> Any:
    """Descriptions without the indentation of the code, words of closed lists typed, no default of null."""
    if isinstance(schema, (list, tuple)):
        return [tidy(one) for one in schema]
    if not isinstance(schema, dict):
        return schema
    told = {
        name: inspect.cleandoc(member) if name == "description" and isinstance(member, str) else tidy(member)
        for name, member in schema.items()
        if (name, member) != ("default", None)
    }
    words = told.get("enum")
    if isinstance(words, list) and all(isinstance(word, str) for word in words):
        told["type"] = "string"
    return told
