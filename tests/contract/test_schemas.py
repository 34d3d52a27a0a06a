"""The JSON Schema files: as the code makes them, sound by the standard, and telling units and instants."""

import json
from collections.abc import Iterator
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from service.app import ROUTERS
from service.contract.actions import files
from service.contract.nouns import events
from service.contract.routes import FOLDER
from service.contract.schemas import schemas
from service.events.models import EVENT_TYPES

SCHEMAS = schemas()
UNITS = {
    "_mm": "millimetres",
    "_g": "grams",
    "_m2": "square metres",
    "_deg": "degrees",
    "_e7": "degrees times 10^7",
    "_hours": "hours",
    "_days": "days",
    "_hour": "hour",
    "_ms": "milliseconds",
    "_nights": "trap-nights",
}
# What the design calls a noun, by the file that describes it.
NOUNS = {
    *(
        "animals-taken",
        "api-key",
        "business",
        "catch",
        "check",
        "clearing",
        "conflict",
        "customer",
        "deadline",
        "delivery",
    ),
    *("endpoint", "event", "feature", "finding", "incident", "job", "lawn-patch", "look", "month", "party"),
    *(
        "permit",
        "problem",
        "property",
        "refusal",
        "repair",
        "rule-pack",
        "round",
        "service-record",
        "set",
        "sign",
        "survey",
    ),
    *("tamping", "tenure", "told", "trap", "treatment", "upkeep", "visit", "worker"),
}


def members(schema: Any, place: str = "") -> Iterator[tuple[str, str, Any]]:
    """Every member of every object below: where, its name, its schema."""
    if isinstance(schema, dict):
        properties = schema.get("properties")
        for name, member in (properties if isinstance(properties, dict) else {}).items():
            yield place, name, member
        for name, part in schema.items():
            yield from members(part, f"{place}/{name}")
    elif isinstance(schema, list):
        for part in schema:
            yield from members(part, place)


def test_the_files_are_those_that_setbook_schema_writes() -> None:
    made = files(ROUTERS)
    kept = {str(path.relative_to(FOLDER)) for path in [*(FOLDER / "v1").iterdir(), FOLDER / "openapi.json"]}
    assert kept == made.keys(), "type: setbook schema"
    stale = [name for name, content in made.items() if (FOLDER / name).read_bytes() != content]
    assert not stale, "type: setbook schema"


def test_every_noun_and_every_event_has_one() -> None:
    assert not NOUNS - SCHEMAS.keys()
    assert set(events()) == set(EVENT_TYPES)
    assert not set(EVENT_TYPES) - SCHEMAS.keys()


@pytest.mark.parametrize("name", SCHEMAS)
def test_a_schema_is_sound_and_its_example_is_one(name: str) -> None:
    """JSON Schema 2020-12; formats are asserted."""
    schema = SCHEMAS[name]
    Draft202012Validator.check_schema(schema)
    assert schema["$id"] == f"urn:setbook:schema:v1:{name}"
    assert schema["title"] == name
    assert schema["examples"]
    validator = Draft202012Validator(schema, format_checker=Draft202012Validator.FORMAT_CHECKER)
    for example in schema["examples"]:
        validator.validate(example)
        assert "in words" not in json.dumps(example), "say in contract/values.py what stands there"


@pytest.mark.parametrize("name", SCHEMAS)
def test_units_are_told_and_instants_are_marked(name: str) -> None:
    for place, member, schema in members(SCHEMAS[name]):
        said, where = json.dumps(schema), f"{name}{place}: {member}"
        unit = next((words for ending, words in UNITS.items() if member.endswith(ending)), "")
        assert unit in said, where
        if member.endswith("_at"):
            assert '"format": "date-time"' in said, where
        if member.endswith("_on") and member != "rests_on":
            assert '"format": "date"' in said, where
        # rules are named by words
        is_of_rule = member == "rule_name" or "unique in its pack" in said
        if (member == "id" or member.endswith("_id")) and not is_of_rule:
            assert '"format": "uuid"' in said, where
