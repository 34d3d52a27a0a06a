"""JSON Schema 2020-12 of every noun and event, from the Structs that the code decodes and encodes."""

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
    (reference,), parts = msgspec.json.schema_components([of], ref_template="#/$defs/{name}")
    own = parts.pop(reference["$ref"].removeprefix("#/$defs/"))
    titled = {"$schema": DIALECT, "$id": schema_id(name), **own, "title": name, "examples": [sample_of(of)]}
    return {**titled, "$defs": parts} if parts else titled
