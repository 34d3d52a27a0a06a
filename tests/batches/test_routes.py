"""A phone's queue in one request: each line stored by itself and answered in its order."""

from collections.abc import AsyncIterator
from typing import Any

import msgspec

from tests.bodies import a_check, a_set, a_visit, an_id
from tests.http import PROPERTY, Api, a_property

CUSTOMER, FIELD, JOB, SET = an_id(60), an_id(61), an_id(62), an_id(30)


def lines(*members: Any) -> bytes:
    """NDJSON."""
    return b"".join(msgspec.json.encode(one) + b"\n" for one in members)


async def sent(api: Api, body: bytes | AsyncIterator[bytes]) -> list[dict[str, Any]]:
    """What is answered, line by line."""
    answer = await api.post("visits/batch", body, Content_Type="application/x-ndjson")
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"].startswith("application/x-ndjson")
    results = [msgspec.json.decode(line) for line in answer.content.splitlines()]
    assert [one["line"] for one in results] == list(range(1, len(results) + 1))
    return results


def short(results: list[dict[str, Any]]) -> list[tuple[int, str | None, str | None]]:
    """Status, kind and outcome of each."""
    return [(one["status"], one.get("kind"), one.get("outcome")) for one in results]


async def test_a_phone_brings_all_that_it_made_offline_in_one_batch(api: Api) -> None:
    queue = lines(
        {"customer": {"id": CUSTOMER, "name": "Alder Court School"}},
        {"property": {"id": FIELD, **a_property(name="Second field")}},
        {
            "job": {
                "id": JOB,
                "property_id": FIELD,
                "target": "unidentified",
                "opened_at": "2026-05-14T00:00:00Z",
            }
        },
        {"visit": a_visit(id=an_id(3), property_id=FIELD, job_id=JOB, sets=[a_set()])},
    )
    first = await sent(api, queue)
    assert short(first) == [
        (201, "customer", "recorded"),
        (201, "property", "recorded"),
        (201, "job", "recorded"),
        (201, "visit", "recorded"),
    ]
    assert [(one["id"], one["etag"]) for one in first] == [
        (CUSTOMER, '"1"'),
        (FIELD, '"1"'),
        (JOB, '"1"'),
        (an_id(3), '"1"'),
    ]
    assert (await api.get(f"sets/{SET}")).json()["job_id"] == JOB
    assert [one["type"] for one in await api.told()] == ["job.opened", "visit.recorded", "set.placed"]
    again = await sent(api, queue)
    assert [one[2] for one in short(again)] == ["same"] * 4
    assert len(await api.told()) == 3


async def test_lines_amend_with_the_tag_they_replace(api: Api) -> None:
    visit = a_visit(id=an_id(3), notes="first")
    field = {"id": FIELD, **a_property(name="Second field")}
    await sent(api, lines({"visit": visit}, {"property": field}))
    results = await sent(
        api,
        lines(
            {"visit": {**visit, "notes": "second"}},
            {"visit": {**visit, "notes": "second", "amends": '"1"'}},
            {"visit": {**visit, "notes": "third", "amends": '"1"'}},
            {"property": {**field, "name": "Third field"}},
            {"property": {**field, "name": "Third field", "amends": '"1"'}},
        ),
    )
    assert short(results) == [
        (428, "visit", None),
        (200, "visit", "amended"),
        (412, "visit", None),
        (428, "property", None),
        (200, "property", "amended"),
    ]
    assert ["refusal_id" in one.get("problem", {}) for one in results] == [True, False, True, False, False]


async def test_a_refused_line_stops_none_of_the_others(api: Api) -> None:
    visits = [a_visit(id=an_id(number), notes=f"visit {number}") for number in range(3, 6)]
    body = (
        lines({"visit": visits[0]}, {"visit": {**visits[1], "worker_id": an_id(99)}})
        + b"not json\n\n  \n"
        + b'{"visit": {"notes": "\xff"}}\n'
        + lines({"bird": {}}, {"visit": visits[1], "job": {}}, [], 7, {"visit": {}}, {"visit": visits[2]})
        + lines({"visit": visits[0]})
        + b'{"visit": {"id": "0198f3a0-0000-7000-'
    )
    results = await sent(api, body)
    assert short(results) == [
        (201, "visit", "recorded"),
        (422, "visit", None),
        (400, None, None),
        (400, "visit", None),
        (422, None, None),
        (422, None, None),
        (422, None, None),
        (422, None, None),
        (422, "visit", None),
        (201, "visit", "recorded"),
        (200, "visit", "same"),
        (400, None, None),
    ]
    assert [one["id"] for one in await api.items("visits")] == [an_id(3), an_id(5)]
    for one in results:
        assert ("problem" in one) == (one["status"] >= 400)
    # the two bodies of a visit that could be read; ids of one millisecond are in no order
    kept = {one["id"]: one.get("claimed_id") for one in await api.items("refusals")}
    told = [one["problem"]["refusal_id"] for one in results if "refusal_id" in one.get("problem", {})]
    assert (len(kept), [kept[one] for one in told]) == (2, [an_id(4), None])


async def test_a_check_may_stand_before_the_placing_of_its_set(api: Api) -> None:
    results = await sent(
        api,
        lines(
            {"visit": a_visit(id=an_id(4), checks=[a_check(checked_at="2026-05-14T10:30:00-07:00")])},
            {"visit": a_visit(id=an_id(3), sets=[a_set()])},
        ),
    )
    assert [[each["code"] for each in one.get("warnings", [])] for one in results] == [["set_awaited"], []]
    assert (await api.get(f"sets/{SET}")).json()["state"] == "standing"
    assert await api.items("conflicts") == []


async def test_a_visit_waits_for_a_property_further_down_and_is_then_the_same(api: Api) -> None:
    visit = {"visit": a_visit(id=an_id(3), property_id=FIELD)}
    field = {"property": {"id": FIELD, **a_property(name="Second field")}}
    assert [one["status"] for one in await sent(api, lines(visit, field, visit))] == [422, 201, 201]


async def test_another_business_is_asked_for_nothing(api: Api, two: tuple[Api, Api]) -> None:
    await two[1].made(f"properties/{FIELD}", a_property(name="Theirs"))
    own = {"property": {"id": FIELD, **a_property(name="Ours")}}
    assert [one["status"] for one in await sent(api, lines(own))] == [201]
    assert (await two[1].get(f"properties/{FIELD}")).json()["name"] == "Theirs"


async def test_a_thousand_lines_are_answered_in_their_order(api: Api) -> None:
    # so many answers that they are spooled to a file; most lines change nothing, and a few do
    names = {number: f"Customer {number}" for number in range(0, 1_000, 100)}
    queue = lines(
        *(
            {"customer": {"id": an_id(0x1000 + number), "name": names[number]}}
            if number in names
            else {"customer": {"id": an_id(1), "colour": "red" * 30}}
            for number in range(1_000)
        )
    )
    results = await sent(api, queue)
    assert len(results) == 1_000
    assert len(msgspec.json.encode(results)) > 256 * 1024
    assert [place for place, one in enumerate(results) if one["status"] == 201] == list(names)
    assert [one["name"] for one in await api.items("customers")] == list(names.values())


async def test_a_batch_needs_its_media_type_and_may_be_empty(api: Api) -> None:
    wrong = await api.post("visits/batch", b"", Content_Type="application/json")
    assert wrong.status_code == 415
    assert await sent(api, b"") == []
    assert await sent(api, b"\n \n") == []


async def test_a_line_beyond_all_measure_is_refused_alone(api: Api) -> None:
    visits = [{"visit": a_visit(id=an_id(number))} for number in (3, 4)]

    async def pieces() -> AsyncIterator[bytes]:
        yield lines(visits[0]) + b'{"visit": "'
        for _ in range(9):
            yield b"x" * 1_000_000
        yield b'"}\n' + lines(visits[1])

    results = await sent(api, pieces())
    assert [one["status"] for one in results] == [201, 413, 201]
    assert [one["id"] for one in await api.items(f"visits?property_id={PROPERTY}")] == [an_id(3), an_id(4)]


async def test_an_arrival_that_no_calendar_holds_in_utc_is_its_lines_own_refusal(api: Api) -> None:
    odd = ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00"]
    queue = [{"visit": a_visit(id=an_id(3 + place), arrived_at=at)} for place, at in enumerate(odd)]
    results = await sent(api, lines(*queue, {"visit": a_visit(id=an_id(9))}))
    assert [one["status"] for one in results] == [422, 422, 201]
    assert all("refusal_id" in one["problem"] for one in results[:2])
