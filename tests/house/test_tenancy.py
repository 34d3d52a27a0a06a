"""Every route of the app, met without a key, with one that opens it not, and as another business."""

from typing import Any

import pytest
from litestar import Litestar

from tests.house.walk import (
    MINE,
    SCOPES,
    STATED,
    THEIRS,
    call,
    every_route,
    fill,
    ids_of,
    routes_with_keys,
)
from tests.http import Api


def listed(content: Any) -> list[Any]:
    """The rows of a list; none where it is no list."""
    return list(content.get("items", content.get("events", [])))


@pytest.fixture
async def mine(two: tuple[Api, Api]) -> Api:
    """A business with one of each noun."""
    await fill(two[0], MINE)
    return two[0]


async def everything(api: Api, app: Litestar, ids: dict[str, str]) -> dict[str, str]:
    """What every read of a business answers."""
    return {
        str(one): (await call(api, one, ids)).text for one in routes_with_keys(app) if one.method == "GET"
    }


def test_every_route_says_which_scope_it_needs_or_that_it_is_public(app: Litestar) -> None:
    for one in every_route(app):
        assert one.opt.get("public") or one.opt.get("scope") in SCOPES, f"{one} says neither scope nor public"
        assert one.opt.get("public") is None or not one.path.startswith("/v1"), f"{one} is public"


async def test_no_route_opens_without_a_key_that_holds(mine: Api, app: Litestar) -> None:
    ids = await ids_of(mine)
    revoked = await mine.key_with(*SCOPES)
    key_id = (await revoked.get("me")).json()["key_id"]
    await mine.delete(f"api-keys/{key_id}")
    for one in routes_with_keys(app):
        for nobody in (mine.holding(""), revoked):
            assert (await call(nobody, one, ids)).status_code == 401, one


async def test_no_route_opens_without_its_scope(mine: Api, app: Litestar) -> None:
    ids = await ids_of(mine)
    lacking = {scope: await mine.key_with(*(set(SCOPES) - {scope})) for scope in SCOPES}
    for one in routes_with_keys(app):
        assert (await call(lacking[one.opt["scope"]], one, ids)).status_code == 403, one


async def test_another_business_finds_nothing_and_changes_nothing(
    mine: Api, two: tuple[Api, Api], app: Litestar
) -> None:
    ids, stranger = await ids_of(mine), two[1]
    before = await everything(mine, app, ids)
    assert all(MINE in text for name, text in before.items() if name.endswith(("workers", "visits", "sets")))
    known = {*ids.values(), str(mine.business_id)} - {ids["months"], ids["rounds"], ids["deliveries"]}
    known -= {ids["sealed months"], ids["seals"]}
    # reads first: what a stranger sent itself is its own to read
    walked = sorted(routes_with_keys(app), key=lambda one: one.method != "GET")
    for one in [each for each in walked if each.method != "PUT"]:
        answer = await call(stranger, one, ids)
        assert MINE not in answer.text, one
        if one.names_one:
            assert answer.status_code == 404, f"{one}: {answer.status_code} {answer.text}"
        elif one.method == "GET":
            assert answer.status_code == 200, f"{one}: {answer.text}"
            assert not [each for each in known if each in answer.text], one
            # whoever calls has a key, and the rule packs of the package are everybody's
            is_never_empty = one.path.endswith(("/api-keys", "/rule-packs"))
            assert is_never_empty or not listed(answer.json()), one
    assert await everything(mine, app, ids) == before


async def test_an_id_that_another_business_uses_is_as_free_as_any(
    mine: Api, two: tuple[Api, Api], app: Litestar
) -> None:
    ids, second = await ids_of(mine), two[1]
    puts = {one.path.replace(":uuid", "") for one in routes_with_keys(app) if one.method == "PUT"}
    assert len(puts) == len(STATED), "name every noun that is put under an id of one's own in STATED"
    before = await everything(mine, app, ids)
    await fill(second, THEIRS)
    assert await everything(mine, app, ids) == before
    theirs = await everything(second, app, ids)
    assert all(MINE not in text for text in theirs.values())
    assert all(
        THEIRS in text for name, text in theirs.items() if name.endswith(("workers", "visits", "sets"))
    )
