"""/openapi.json against the standard, against the app, and its examples against the app as well."""

import json
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from litestar import Litestar
from openapi_spec_validator import validate

from service.contract.routes import FOLDER
from service.contract.schemas import schemas
from service.contract.values import id_named
from service.events.models import EVENT_TYPES
from tests.http import Api, Clock

DOCUMENT = json.loads((FOLDER / "openapi.json").read_bytes())
# Stated under the ids of the examples, in the order in which one needs the other.
STATED = (
    *("workers", "customers", "properties", "features", "tenures", "permits", "jobs", "visits"),
    *("treatments", "upkeep", "incidents", "rule-packs", "methods"),
)


def operations() -> Iterator[tuple[str, str, dict[str, Any]]]:
    """Method, path and operation of all that is served."""
    for path, item in DOCUMENT["paths"].items():
        for method, operation in item.items():
            yield method, path, operation


def looked_up(thing: dict[str, Any]) -> dict[str, Any]:
    """What a reference points to, else the thing itself."""
    if "$ref" not in thing:
        return thing
    found: Any = DOCUMENT
    for step in thing["$ref"].removeprefix("#/").split("/"):
        found = found[step]
    return dict(found)


def bodies(part: Any) -> Iterator[tuple[dict[str, Any], Any]]:
    """Every schema that has an example beside it, with the example."""
    if isinstance(part, dict):
        for example in part.get("examples", {}).values() if "schema" in part else ():
            yield part["schema"], looked_up(example)["value"]
        if "example" in part and "schema" in part:
            yield part["schema"], part["example"]
        for member in part.values():
            yield from bodies(member)
    elif isinstance(part, list):
        for member in part:
            yield from bodies(member)


def example_of(operation: dict[str, Any]) -> Any:
    """The body that an operation shows."""
    (body, *_) = operation["requestBody"]["content"].values()
    return looked_up(body["examples"]["plain"])["value"]


def address(path: str, operation: dict[str, Any]) -> str:
    """The path with the examples of its parameters, and of those that its query must hold."""
    for one in operation["parameters"]:
        if one["in"] == "path":
            path = path.replace(f"{{{one['name']}}}", one["example"])
    asked = [
        f"{one['name']}={one['example']}"
        for one in operation["parameters"]
        if one["in"] == "query" and one["required"]
    ]
    return f"{path}?{'&'.join(asked)}" if asked else path


def test_it_is_openapi() -> None:
    validate(DOCUMENT)
    assert DOCUMENT["openapi"] == "3.1.0"


def test_its_paths_are_the_routes_of_the_app(app: Litestar) -> None:
    routes = {
        (method, route.path_format) for route in app.routes for method in route.methods - {"OPTIONS", "HEAD"}
    }
    assert {(method.upper(), path) for method, path, _ in operations()} == routes


def test_every_operation_is_described() -> None:
    tags = [tag["name"] for tag in DOCUMENT["tags"]]
    names = [operation["operationId"] for _, _, operation in operations()]
    names += [item["post"]["operationId"] for item in DOCUMENT["webhooks"].values()]
    assert len(names) == len(set(names))
    used = {"webhooks"}
    for method, path, operation in operations():
        where = f"{method} {path}"
        assert operation["summary"], where
        assert operation["description"], where
        assert set(operation["tags"]) <= set(tags), where
        assert any(status.startswith("4") for status in operation["responses"]), where
        assert all(one["description"] for one in operation["parameters"]), where
        used |= set(operation["tags"])
    assert used == set(tags)


def test_every_event_is_a_webhook() -> None:
    assert DOCUMENT["webhooks"].keys() == set(EVENT_TYPES)


def test_every_example_is_one() -> None:
    shown = list(bodies(DOCUMENT["paths"])) + list(bodies(DOCUMENT["webhooks"]))
    shown += list(bodies(DOCUMENT["components"]["responses"]))
    assert len(shown) > len(list(operations()))
    for schema, example in shown:
        whole = {**schema, "components": DOCUMENT["components"]}
        Draft202012Validator(whole, format_checker=Draft202012Validator.FORMAT_CHECKER).validate(example)


@pytest.fixture
async def told(two: tuple[Api, Api]) -> Api:
    """A business whose book holds the examples, sent as they stand."""
    api = two[0]
    await api.made(f"workers/{id_named('with_worker_id')}", {"name": "A. Sample"})
    puts = {path.split("/")[-2]: (path, op) for method, path, op in operations() if method == "put"}
    assert puts.keys() == set(STATED), "name every noun that is put in STATED"
    for noun in STATED:
        path, operation = puts[noun]
        answer = await api.put(address(path, operation), example_of(operation))
        assert answer.status_code == 201, f"{path}: {answer.text}"
    return api


async def test_every_example_of_a_body_is_taken_as_it_stands(told: Api) -> None:
    for method, path, operation in operations():
        last = path.split("/")[-1]
        if method == "patch" and last != "{endpoint_id}":
            answer = await told.patch(address(path, operation), example_of(operation), If_Match="*")
            assert answer.status_code == 200, f"{path}: {answer.text}"
        elif method == "post" and last in {"visits", "endpoints", "api-keys", "service-records"}:
            answer = await told.post(path, example_of(operation))
            assert answer.status_code in {200, 201}, f"{path}: {answer.text}"


async def test_every_part_of_a_path_is_there_to_be_read(told: Api, clock: Clock) -> None:
    """But for what no example can name: endpoints, refusals and deadlines get their ids from us."""
    await told.post("service-records", {"visit_id": id_named("visit_id")})
    clock.now += timedelta(days=30)
    assert (await told.post("months/2026-05/seal")).status_code == 201
    made = {"endpoint_id", "refusal_id", "deadline_id"}
    for method, path, operation in operations():
        ours = not made & {one["name"] for one in operation["parameters"]}
        if method == "get" and ours and "/service-records/" not in path:
            answer = await told.get(address(path, operation))
            assert answer.status_code == 200, f"{path}: {answer.text}"


async def test_what_is_told_of_them_is_as_its_schema_says(told: Api) -> None:
    kept = schemas()
    envelope = Draft202012Validator(kept["event"], format_checker=Draft202012Validator.FORMAT_CHECKER)
    events = await told.told()
    assert {event["type"] for event in events} >= {"visit.recorded", "set.placed", "catch.recorded"}
    for event in events:
        envelope.validate(event)
        data = Draft202012Validator(kept[event["type"]], format_checker=Draft202012Validator.FORMAT_CHECKER)
        data.validate(event["data"])
        schema = await told.get(event["dataschema"].removeprefix("https://setbook.test"))
        assert schema.json() == kept[event["type"]]
