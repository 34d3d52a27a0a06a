"""The schemas of merge patches (RFC 7396): any members of a body, those of nested objects too."""

from typing import Any

REFERENCE = "#/components/schemas/"


def add_patch(name: str, parts: dict[str, Any]) -> dict[str, Any]:
    """Put the patch of the object `name` among the parts, with those that it rests on; what points to it."""
    patched = f"{name}Patch"
    if patched not in parts:
        whole = parts[name]
        parts[patched] = {
            "title": f"{whole['title']} patch",
            "description": f"Members to change. {whole['description']}",
            "type": "object",
            "properties": {
                member: _patched(schema, parts, may_go=member not in whole.get("required", []))
                for member, schema in whole["properties"].items()
                if member != "id"
            },
            "additionalProperties": False,
        }
    return {"$ref": f"{REFERENCE}{patched}"}


def _patched(schema: dict[str, Any], parts: dict[str, Any], *, may_go: bool) -> dict[str, Any]:
    """Null takes out what may be left out; an object is patched in turn, and a list replaced whole."""
    each = [
        add_patch(one["$ref"].removeprefix(REFERENCE), parts) if "$ref" in one else one
        for one in schema.get("anyOf", [schema])
    ]
    if may_go and {"type": "null"} not in each:
        each.append({"type": "null"})
    return each[0] if len(each) == 1 else {"anyOf": each}
