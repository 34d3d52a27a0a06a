"""A walk over every route of the app, with a book that holds one of each noun.

A route with an id or a body that is not known here fails the walk: add what it takes to `bodies` or `ids_of`.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, get_args
from uuid import UUID

import msgspec
from litestar import Litestar
from litestar.enums import ParamType
from litestar.handlers import HTTPRouteHandler
from litestar.params import ParameterKwarg
from litestar.routes import HTTPRoute

from service.deadlines.rules import deadline_id
from service.kernel.values import Scope
from tests.bodies import AT, a_check, a_pack, a_set, a_sign, a_visit, an_id
from tests.http import PROPERTY, VISIT, WORKER, Api, a_property

CUSTOMER, JOB, FEATURE, TENURE, PERMIT, METHOD = (an_id(number) for number in range(100, 106))
TREATMENT, UPKEEP, INCIDENT = (an_id(number) for number in range(105, 108))
PACK = an_id(108)
SIGN, SET, CATCH = an_id(20), an_id(30), an_id(50)
# Words that stand in every text of a business's book, and nowhere else.
MINE, THEIRS = "Magpie", "Heron"
SCOPES = get_args(Scope)
THE_FRAMEWORKS = {"request", "state", "body"}


@dataclass(frozen=True)
class Walked:
    """One method of one route."""

    method: str
    path: str
    opt: dict[str, Any]
    queries: list[str]

    def __str__(self) -> str:
        return f"{self.method} {self.path}"

    @property
    def names_one(self) -> bool:
        """Whether its address names one thing of a business; days and months are everybody's, a seal is not."""
        is_of_a_time = {"months", "rounds"} & set(self.path.split("/")) and not self.reads_a_seal
        return "{" in self.path and not is_of_a_time

    @property
    def reads_a_seal(self) -> bool:
        """Whether it reads a month's seal, which is there where it was sealed."""
        return self.method == "GET" and "/seal" in self.path


def every_route(app: Litestar) -> Iterator[Walked]:
    """All but OPTIONS, which the framework answers with the methods of the address."""
    for route in app.routes:
        assert isinstance(route, HTTPRoute), f"{route.path} is no HTTP"
        for handler in route.route_handlers:
            for method in sorted(handler.http_methods - {"OPTIONS"}):
                yield Walked(method, route.path, handler.opt, queries_of(handler, route.path))


def queries_of(handler: HTTPRouteHandler, path: str) -> list[str]:
    """The names of its query parameters, and of those that what it is given takes."""
    given = handler.resolve_dependencies()
    waiting = dict(handler.parsed_fn_signature.parameters)
    found = []
    while waiting:
        name, parameter = waiting.popitem()
        kwarg = parameter.kwarg_definition
        if name in given:
            waiting |= given[name].parsed_fn_signature.parameters
        elif isinstance(kwarg, ParameterKwarg) and kwarg.param_type != ParamType.QUERY:
            continue
        elif name not in THE_FRAMEWORKS and f"{{{name}:" not in path:
            found.append((isinstance(kwarg, ParameterKwarg) and kwarg.name) or name)
    return sorted(found)


def routes_with_keys(app: Litestar) -> list[Walked]:
    """Those that are not public."""
    return [one for one in every_route(app) if not one.opt.get("public")]


def bodies(word: str) -> dict[str, Any]:
    """What a PUT or POST to each address takes, by its last fixed step."""
    caught = {"id": CATCH, "species": "Scapanus latimanus", "fate": "dead_in_trap"}
    visit = a_visit(
        notes=word,
        job_id=JOB,
        surveys=[{"id": an_id(10), "surveyed_at": "2026-05-14T09:50:00-07:00", "fresh_signs": 0}],
        signs=[a_sign(told_by=word, count=2)],
        sets=[a_set(sign_id=SIGN, traps=[{"no": 1, "mark": word}])],
        checks=[
            a_check(finding="catch", catches=[caught]),
            a_check(id=an_id(41), set_id=an_id(31)),
        ],
        treatments=[{"id": an_id(64), "method": "repellent", "applied_at": AT, "told_by": word}],
    )
    at_property = {"property_id": PROPERTY}
    return {
        "workers": {"name": word},
        "customers": {"name": word},
        "properties": a_property(name=word),
        "features": {"name": word, "kind": "lawn"},
        "tenures": {"customer_id": CUSTOMER, "from_on": "2026-01-01"},
        "permits": {"number": word, "authority": word, "region": "US-CA", "from_on": "2026-01-01"},
        "jobs": {**at_property, "target": "Scapanus latimanus", "opened_at": "2026-05-01T00:00:00Z"},
        "visits": visit,
        "batch": msgspec.json.encode({"visit": {"id": VISIT, **visit}}),
        "accept": visit,
        "treatments": {**at_property, "method": "repellent", "applied_at": AT, "told_by": word},
        "upkeep": {**at_property, "kind": "mown", "at": AT, "told_by": word},
        "incidents": {**at_property, "kind": "other", "happened_at": AT, "description": word},
        "rule-packs": a_pack(authority=word),
        "endpoints": {"url": "https://receiver.example/hook", "description": word},
        "api-keys": {"name": word, "scopes": ["read"]},
        "replay": {"all": True},
        "rotate": {},
        "service-records": {"visit_id": VISIT},
        "methods": {
            "name": word,
            "method_class": "hand_removal",
            "ground": f"Sample code, section 4: {word}",
        },
        "billed": {"invoice_ref": word},
        "erase": {"ground": word},
    }


# What a report must be asked with.
ASKED = {"animals-taken": ["from=2026-05-01", "until=2026-06-01"], "file": ["audience=auditor"]}

# Stated with an id of one's own, in the order in which one needs the other.
STATED = [
    f"workers/{WORKER}",
    f"customers/{CUSTOMER}",
    f"properties/{PROPERTY}",
    f"properties/{PROPERTY}/features/{FEATURE}",
    f"properties/{PROPERTY}/tenures/{TENURE}",
    f"permits/{PERMIT}",
    f"methods/{METHOD}",
    f"jobs/{JOB}",
    f"visits/{VISIT}",
    f"treatments/{TREATMENT}",
    f"upkeep/{UPKEEP}",
    f"incidents/{INCIDENT}",
    f"rule-packs/{PACK}",
]


async def fill(api: Api, word: str) -> None:
    """One of each noun, under the same ids in every book."""
    taken = bodies(word)
    for path in STATED:
        answer = await api.put(path, taken[path.split("/")[-2]])
        assert answer.status_code == 201, f"{path}: {answer.text}"
        assert MINE not in answer.text or word == MINE, path


async def ids_of(api: Api) -> dict[str, str]:
    """What stands in an address after each fixed step, for the book that `fill` made."""
    endpoint = (await api.post("endpoints", bodies(MINE)["endpoints"])).json()
    key = (await api.post("api-keys", bodies(MINE)["api-keys"])).json()
    refused = (await api.put(f"visits/{an_id(4)}", a_visit(worker_id=an_id(99), notes=MINE))).json()
    record = (await api.post("service-records", {"visit_id": VISIT})).json()
    draft = (await api.put(f"visits/{an_id(5)}", a_visit(notes=MINE))).json()
    sealed = await api.post("months/2026-04/seal")
    assert sealed.status_code in (200, 201), sealed.text
    ids = {path.split("/")[-2]: path.split("/")[-1] for path in STATED}
    return ids | {
        "signs": SIGN,
        "sets": SET,
        "catches": CATCH,
        "deadlines": str(deadline_id(api.business_id, "check", UUID(SET), UUID(SET))),
        "api-keys": key["id"],
        "endpoints": endpoint["id"],
        "refusals": refused["refusal_id"],
        "service-records": record["record"]["number"],
        "drafts": draft["id"],
        "months": "2026-05",
        "rounds": "2026-05-16",
        "sealed months": "2026-04",
        "seals": "1",
        # nothing is delivered in this book, so that there is none of that number
        "deliveries": "1",
    }


def address(one: Walked, ids: dict[str, str]) -> str:
    """The route's path with ids in the place of its parameters."""
    steps = one.path.split("/")
    for place, step in enumerate(steps):
        if step.startswith("{"):
            before = steps[place - 1]
            if before == "months" and "/seal" in one.path:
                before = "sealed months"
            assert before in ids, f"{one}: say in ids_of() which of {before} there is"
            steps[place] = ids[before]
    return "/".join(steps)


def asked(one: Walked, ids: dict[str, str], name: str = "", value: str = "") -> str:
    """The address with what its query must hold; `name` has that value in its place."""
    held = [
        each for each in ASKED.get(one.path.split("/")[-1], []) if not name or not each.startswith(f"{name}=")
    ]
    query = "&".join([*held, *([f"{name}={value}"] if name else [])])
    return f"{address(one, ids)}?{query}" if query else address(one, ids)


async def call(api: Api, one: Walked, ids: dict[str, str], word: str = THEIRS) -> Any:
    """The route with what it takes; the answer."""
    last = [step for step in one.path.split("/") if not step.startswith("{")][-1]
    body: Any = None
    if one.method == "PATCH":
        body = {}
    elif one.opt["takes"] is not None:
        assert last in bodies(word), f"{one}: say in bodies() what it takes"
        body = bodies(word)[last]
    headers = {"Content_Type": one.opt["media"][0]} if body is not None else {}
    if one.method in {"PATCH", "DELETE"}:
        headers["If_Match"] = "*"
    return await api.send(one.method, asked(one, ids), body, **headers)
