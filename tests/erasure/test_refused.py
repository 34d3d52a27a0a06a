"""Bodies that were refused and name somebody who is erased: before it, and after it."""

import json
from typing import Any

import asyncpg
import pytest

from tests.bodies import a_visit, an_id
from tests.books import run_to
from tests.erasure.spoken import CUSTOMER, GROUND, SECOND, WORD, sell, tables_with, the_visit
from tests.http import PROPERTY, VISIT, Api, Clock, a_property

Owner = asyncpg.Connection
OF_FIRST, OF_SECOND = "2026-05-14T10:40:00-07:00", "2026-05-15T10:40:00-07:00"


async def test_a_visit_that_was_refused_and_never_accepted_loses_its_texts_too(
    spoken_of: Api, owner: "Owner[Any]"
) -> None:
    """Its id is no visit's, and only the body names the property."""
    new_id = an_id(310)
    refused = await spoken_of.put(f"visits/{new_id}", the_visit() | {"outcome": WORD, "custmer_note": WORD})
    assert refused.status_code == 422, refused.text
    kept = await owner.fetchval("select count(*) from refusal where claimed_id = $1", new_id)
    assert kept == 1
    held = (await spoken_of.get(f"customers/{CUSTOMER}/personal-data")).json()["held"]
    assert any(one["noun"] == "refused visit" and "custmer_note" in one["data"]["body"] for one in held)
    answer = await spoken_of.post(f"customers/{CUSTOMER}/erase", GROUND)
    assert answer.status_code == 200, answer.text
    assert {"refusal.body", "refusal.problem"} & await tables_with(owner, WORD) == set()


def a_refused(number: int, **members: Any) -> tuple[str, dict[str, Any]]:
    """A body that is refused for a member that no visit has, and where it is sent."""
    return f"visits/{an_id(number)}", a_visit(custmer_note=f"{WORD} {number}", **members)


async def test_of_a_property_of_two_each_takes_the_refused_bodies_of_the_own_days(
    spoken_of: Api, owner: "Owner[Any]"
) -> None:
    """A body whose day cannot be read may be of either: it goes with the first of them, and is shown to none."""
    await sell(spoken_of, "2026-05-15")
    sent = {
        340: {"arrived_at": OF_FIRST},
        341: {"arrived_at": OF_SECOND},
        342: {"arrived_at": "in the morning"},
        343: {"arrived_at": OF_FIRST, "property_id": PROPERTY.upper()},
        344: {"arrived_at": OF_FIRST, "property_id": an_id(999)},
    }
    for number, members in sent.items():
        path, body = a_refused(number, **members)
        answer = await spoken_of.put(path, body)
        assert (answer.status_code, "refusal_id" in answer.json()) == (422, True), answer.text

    async def kept() -> list[int]:
        rows = await owner.fetch(
            "select claimed_id from refusal where body <> '' and claimed_id <> $1", VISIT
        )
        return sorted(int(str(row["claimed_id"])[-3:], 16) for row in rows)

    held = (await spoken_of.get(f"customers/{CUSTOMER}/personal-data")).json()["held"]
    told = {one["data"]["body"] for one in held if one["noun"] == "refused visit"}
    assert [any(f"{WORD} {number}" in body for body in told) for number in sent] == [
        True,
        False,
        False,
        True,
        False,
    ]
    assert await kept() == [*sent]
    await spoken_of.post(f"customers/{CUSTOMER}/erase", GROUND)
    assert await kept() == [341, 344]
    await spoken_of.post(f"customers/{SECOND}/erase", GROUND)
    assert await kept() == [344]


@pytest.mark.parametrize(
    "members",
    [
        {"arrived_at": OF_FIRST},
        {"arrived_at": "2025-01-01T10:00:00Z"},
        {"arrived_at": None},
        {"arrived_at": OF_FIRST, "property_id": None, "place": PROPERTY},
    ],
)
async def test_a_body_that_is_refused_after_an_erasure_is_not_kept(
    spoken_of: Api, owner: "Owner[Any]", members: dict[str, Any]
) -> None:
    """It has no `refusal_id`: whoever sent it still holds it, and mends it."""
    await spoken_of.post(f"customers/{CUSTOMER}/erase", GROUND)
    path, body = a_refused(330, **members)
    answer = await spoken_of.put(path, body)
    assert answer.status_code == 422
    assert "refusal_id" not in answer.json()
    assert "the customer of that day was erased" in answer.json()["detail"]
    assert await tables_with(owner, WORD) == set()
    assert await tables_with(owner, "custmer_note") == set()


async def test_a_visit_of_an_erased_customer_is_not_amended_into_what_is_kept(
    spoken_of: Api, owner: "Owner[Any]"
) -> None:
    """Whatever day and place the body names, the id is that of a visit of theirs."""
    await spoken_of.post(f"customers/{CUSTOMER}/erase", GROUND)
    elsewhere = an_id(320)
    await spoken_of.made(
        f"properties/{elsewhere}",
        {"name": "Next", "kind": "garden", "zone": "America/Los_Angeles", "region": "US-ID"},
    )
    other = a_visit(property_id=elsewhere, arrived_at="2026-05-13T10:00:00-07:00", notes=WORD)
    for tag, status in (({}, 428), ({"If_Match": '"7"'}, 412)):
        answer = await spoken_of.put(f"visits/{VISIT}", other, **tag)
        assert (answer.status_code, "refusal_id" in answer.json()) == (status, False)
    assert await tables_with(owner, WORD) == set()


async def test_at_a_property_of_two_a_refused_body_is_kept_for_who_is_not_erased(spoken_of: Api) -> None:
    await sell(spoken_of, "2026-05-15")
    await spoken_of.post(f"customers/{CUSTOMER}/erase", GROUND)
    for number, (at, kept) in enumerate([(OF_FIRST, False), (OF_SECOND, True), ("soon", False)], 345):
        path, body = a_refused(number, arrived_at=at)
        answer = await spoken_of.put(path, body)
        assert (answer.status_code, "refusal_id" in answer.json()) == (422, kept), at


async def test_bytes_that_a_mended_body_was_accepted_for_answer_the_same_after_an_erasure(
    spoken_of: Api, owner: "Owner[Any]"
) -> None:
    path, body = a_refused(330, arrived_at=OF_FIRST)
    refusal = (await spoken_of.put(path, body)).json()["refusal_id"]
    answer = await spoken_of.post(f"refusals/{refusal}/accept", a_visit(arrived_at=OF_FIRST, notes=WORD))
    assert answer.status_code == 201, answer.text
    await spoken_of.post(f"customers/{CUSTOMER}/erase", GROUND)
    again = await spoken_of.put(path, body)
    assert (again.status_code, again.json()["outcome"]) == (200, "same")
    assert await tables_with(owner, WORD) == set()


@pytest.mark.parametrize(
    "at", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00", "1899-12-31T23:59:59Z", "\ud800"]
)
async def test_a_body_with_an_arrival_that_no_visit_may_have_is_handed_to_nobody_and_erased(
    spoken_of: Api, owner: "Owner[Any]", at: str
) -> None:
    """It says no day, so it may be of the customer's; the first two lie outside the calendar in UTC."""
    await sell(spoken_of, "2026-05-15")
    path, body = a_refused(350, arrived_at=at)
    answer = await spoken_of.put(path, json.dumps(body).encode(), Content_Type="application/json")
    assert (answer.status_code, "refusal_id" in answer.json()) == (422, True), answer.text
    assert f"{WORD} 350" not in (await spoken_of.get(f"customers/{CUSTOMER}/personal-data")).text
    erased = await spoken_of.post(f"customers/{CUSTOMER}/erase", GROUND)
    assert erased.status_code == 200, erased.text
    assert await tables_with(owner, f"{WORD} 350") == set()


async def test_a_waiting_body_that_an_erasure_emptied_holds_no_other_up(
    spoken_of: Api, clock: Clock, clock_pool: Any, pool: Any
) -> None:
    """Both came before their property; the first also names the customer's."""
    unknown = an_id(9)
    for number, members in ((360, {"appointment_id": PROPERTY}), (361, {})):
        body = a_visit(property_id=unknown, notes="early", **members)
        assert (await spoken_of.put(f"visits/{an_id(number)}", body)).status_code == 422
    await spoken_of.post(f"customers/{CUSTOMER}/erase", GROUND)
    await spoken_of.made(f"properties/{unknown}", a_property(name="Second field"))
    await run_to(clock_pool, pool, clock.now)
    assert (await spoken_of.get(f"visits/{an_id(360)}")).status_code == 404
    assert (await spoken_of.get(f"visits/{an_id(361)}")).json()["notes"] == "early"
