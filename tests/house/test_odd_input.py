"""Nothing that can be sent to any route is ever our fault: odd parameters, ids, bodies and tags, each on its own."""

import itertools

import pytest
from litestar import Litestar

from tests.house.walk import MINE, address, asked, every_route, fill, ids_of, routes_with_keys
from tests.http import Api

# NUL, half a surrogate pair, no date at all, dates and numbers beyond what is kept, very long, empty
ODD = [
    "%00",
    "%ED%A0%80",
    "0001-01-01",
    "9999-12-31",
    "99999999999999999999",
    "-1",
    "x" * 3_000,
    "",
    "%F0%9F%90%80",
]
BODIES = [
    b"null",
    b"[]",
    b"7",
    b"1e400",
    b"\xff",
    b"[" * 5_000,
    b'{"a":' * 5_000,
    b'{"a\\u0000": 1}',
    b'{"\\ud800": 1}',
    b'{"id": "\\ud800", "name": "\\ud800", "property_id": "\\u0000", "notes": {}}',
    b'{"id": null, "name": null, "visit_id": 7, "quota": 1e400}',
    b'{"quota": 123456789012345678901234567890, "hold_hours": -0.0}',
    # RFC 3339 allows an offset that PostgreSQL does not read
    b'{"opened_at": "1900-01-01T00:00:00+23:59", "at": "2026-05-14T00:00:00-23:59"}',
    b'{"applied_at": "0000-00-00T00:00:00Z", "from_on": "0001-01-01"}',
]
TAGS = ["*", '"1"', "garbage,,"]


@pytest.fixture
async def mine(two: tuple[Api, Api]) -> Api:
    """A business with one of each noun."""
    await fill(two[0], MINE)
    return two[0]


async def test_no_parameter_of_a_query_is_our_fault(mine: Api, app: Litestar) -> None:
    ids = await ids_of(mine)
    for one in routes_with_keys(app):
        for name in one.queries:
            for value in ODD:
                await mine.send(one.method, asked(one, ids, name, value))


async def test_no_step_of_an_address_is_our_fault(mine: Api, app: Litestar) -> None:
    for one in [each for each in every_route(app) if "{" in each.path]:
        for value in ODD:
            steps = [value if step.startswith("{") else step for step in one.path.split("/")]
            await mine.send(one.method, "/".join(steps))


async def test_no_body_and_no_tag_is_our_fault(mine: Api, app: Litestar) -> None:
    ids = await ids_of(mine)
    for one in routes_with_keys(app):
        if one.opt["takes"] is None:
            continue
        for body, tag in itertools.product(BODIES, TAGS):
            headers = {"Content_Type": one.opt["media"][0], "If_Match": tag}
            await mine.send(one.method, address(one, ids), body, **headers)
