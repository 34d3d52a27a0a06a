"""Visits that are refused: what each answer names, which bodies are kept, and how a kept one gets in."""

import json
from collections.abc import AsyncIterator
from datetime import timedelta
from typing import Any

import pytest

from service.kernel.db import Pool
from service.work import ticks as work
from tests.bodies import AT, a_check, a_set, a_sign, a_visit, an_id
from tests.books import HANDLERS
from tests.http import PROPERTY, VISIT, WORKER, Api, Clock, a_property, codes, pointers

PATH = f"visits/{VISIT}"
JSON = "application/json"
BOW_TIE = [[[-122.5, 45.5], [-122.4, 45.6], [-122.4, 45.5], [-122.5, 45.6], [-122.5, 45.5]]]


async def test_two_faults_are_one_answer_with_both_pointers(api: Api) -> None:
    body = a_visit(
        checks=[a_check(checked_at="2126-05-14T10:00:00-07:00")],
        sets=[a_set(position={"type": "Point", "coordinates": [-122.4, 95]})],
    )
    refused = await api.put(PATH, body)
    assert refused.status_code == 422
    assert pointers(refused) == [
        ("#/checks/0/checked_at", "in_future"),
        ("#/sets/0/position/coordinates/1", "off_the_globe"),
    ]
    assert all(fault["detail"].endswith(".") for fault in refused.json()["errors"])


@pytest.mark.parametrize(
    ("members", "expected"),
    [
        ({"notes": "a\0b"}, [("#/notes", "nul")]),
        ({"arrived_at": "2026-05-14T10:00:00"}, [("#/arrived_at", "no_offset")]),
        ({"arrived_at": 1778778000}, [("#/arrived_at", "wrong_type")]),
        ({"colour": "red", "sings": []}, [("#/colour", "unknown_field"), ("#/sings", "unknown_field")]),
        (
            {"property_id": None, "worker_id": "7"},
            [("#/property_id", "wrong_type"), ("#/worker_id", "not_a_uuid")],
        ),
        (
            {
                "surveys": [
                    {
                        "id": an_id(9),
                        "surveyed_at": AT,
                        "fresh_signs": 0,
                        "area": {"type": "Polygon", "coordinates": BOW_TIE},
                    }
                ]
            },
            [("#/surveys/0/area/coordinates/0", "ring_crosses")],
        ),
        ({"signs": [a_sign(), a_sign()]}, [("#/signs/1/id", "id_repeated")]),
        (
            {"treatments_none": True, "treatments": [{"id": an_id(9), "method": "m", "applied_at": AT}]},
            [("#/treatments_none", "contradiction")],
        ),
        (
            {"worker_id": an_id(99), "with_worker_ids": [WORKER, an_id(98)]},
            [("#/worker_id", "unknown_worker"), ("#/with_worker_ids/1", "unknown_worker")],
        ),
    ],
)
async def test_each_fault_is_named_and_the_bytes_are_kept(
    api: Api, members: dict[str, Any], expected: list[tuple[str, str]]
) -> None:
    sent = json.dumps(a_visit(**members)).encode()
    refused = await api.put(PATH, sent, Content_Type=JSON)
    assert (refused.status_code, sorted(pointers(refused))) == (422, sorted(expected))
    kept = (await api.get(f"refusals/{refused.json()['refusal_id']}")).json()
    assert kept["text"].encode() == sent
    assert kept["problem"]["errors"] == refused.json()["errors"]
    assert (await api.get(PATH)).status_code == 404


@pytest.mark.parametrize("body", [b"null", b"[]", b'"visit"', b"7", b"{}"])
async def test_json_that_is_no_visit_is_422_and_kept(api: Api, body: bytes) -> None:
    refused = await api.put(PATH, body, Content_Type=JSON)
    assert (refused.status_code, "refusal_id" in refused.json()) == (422, True)
    # by POST nothing says which visit it is meant to be
    refused = await api.post("visits", body, Content_Type=JSON)
    assert (refused.status_code, "refusal_id" in refused.json()) == (422, True)


@pytest.mark.parametrize(
    ("body", "media", "status"),
    [
        (b"{", JSON, 400),
        (b"", JSON, 400),
        (b'{"notes": "\xff"}', JSON, 400),
        (b'{"notes": "a\0b"}', JSON, 400),
        (b"[" * 100_000, JSON, 400),
        (b'{"count": NaN}', JSON, 400),
        (b" " * 20_000_000, JSON, 413),
        (b"{}", "text/plain", 415),
        (b"{}", "", 415),
    ],
    ids=["torn", "empty", "no UTF-8", "raw NUL", "nested", "NaN", "20 MB", "text", "no type"],
)
async def test_what_cannot_be_read_is_not_kept(api: Api, body: bytes, media: str, status: int) -> None:
    refused = await api.put(PATH, body, Content_Type=media)
    assert refused.status_code == status
    assert "refusal_id" not in refused.json()
    assert refused.json()["detail"].endswith(".")
    assert await api.items("refusals") == []


async def test_a_body_that_grows_too_large_while_it_comes_is_413(api: Api) -> None:
    async def pieces() -> AsyncIterator[bytes]:
        for _ in range(20):
            yield b" " * 1_000_000

    refused = await api.put(PATH, pieces(), Content_Type=JSON)
    assert refused.status_code == 413
    assert "8 MB" in refused.json()["detail"]


async def test_a_phone_may_be_ten_minutes_ahead_and_no_more(api: Api, clock: Clock) -> None:
    ahead = clock.now + timedelta(minutes=10)
    assert (await api.put(PATH, a_visit(arrived_at=ahead.isoformat()))).status_code == 201
    beyond = (ahead + timedelta(microseconds=1)).isoformat()
    refused = await api.put(f"visits/{an_id(4)}", a_visit(arrived_at=beyond))
    assert pointers(refused) == [("#/arrived_at", "in_future")]


async def test_the_key_of_a_worker_records_visits_at_which_that_worker_was(api: Api) -> None:
    await api.made(f"workers/{an_id(9)}", {"name": "T. Sample"})
    phone = await api.key_with("record", worker_id=an_id(9))
    refused = await phone.put(PATH, a_visit())
    assert (refused.status_code, pointers(refused)) == (422, [("#/worker_id", "other_key")])
    assert (await phone.put(PATH, a_visit(with_worker_ids=[an_id(9)]))).status_code == 201
    assert (await phone.put(f"visits/{an_id(4)}", a_visit(worker_id=an_id(9)))).status_code == 201


async def test_the_same_bytes_refused_twice_are_one_refusal(api: Api, clock: Clock) -> None:
    first = await api.put(PATH, a_visit(worker_id=an_id(99)))
    clock.now += timedelta(hours=1)
    again = await api.put(PATH, a_visit(worker_id=an_id(99)))
    other = await api.put(PATH, a_visit(worker_id=an_id(98)))
    assert again.json()["refusal_id"] == first.json()["refusal_id"] != other.json()["refusal_id"]
    kept = [one.json()["refusal_id"] for one in (first, other)]
    assert [one["id"] for one in await api.items("refusals")] == sorted(kept)


async def test_a_refused_visit_is_mended_and_its_first_bytes_are_then_the_same(api: Api) -> None:
    wrong = a_visit(notes="first", worker_id=an_id(99))
    refusal = (await api.put(PATH, wrong)).json()["refusal_id"]
    still_wrong = await api.post(f"refusals/{refusal}/accept", a_visit(worker_id=an_id(98)))
    assert (still_wrong.status_code, pointers(still_wrong)) == (422, [("#/worker_id", "unknown_worker")])
    elsewhere = await api.post(f"refusals/{refusal}/accept", a_visit(id=an_id(98)))
    assert (elsewhere.status_code, pointers(elsewhere)) == (422, [("#/id", "other_id")])
    accepted = await api.post(f"refusals/{refusal}/accept", a_visit(notes="mended"))
    assert (accepted.status_code, accepted.json()["outcome"]) == (201, "recorded")
    assert (accepted.json()["id"], accepted.headers["etag"]) == (VISIT, '"1"')
    again = await api.put(PATH, wrong)
    assert (again.status_code, again.json()["outcome"], again.json()["version"]) == (200, "same", 1)
    assert again.json()["visit"]["notes"] == "mended"
    assert await api.items("refusals?open=true") == []
    (closed,) = await api.items("refusals?open=false")
    assert (closed["id"], closed["accepted_visit_id"]) == (refusal, VISIT)
    assert (await api.post(f"refusals/{refusal}/accept", a_visit())).status_code == 409
    assert (await api.post(f"refusals/{an_id(97)}/accept", a_visit())).status_code == 404


async def test_a_refused_amendment_is_accepted_with_the_current_tag(api: Api) -> None:
    await api.made(PATH, a_visit(notes="first"))
    refusal = (await api.put(PATH, a_visit(notes="second"))).json()["refusal_id"]
    without = await api.post(f"refusals/{refusal}/accept", a_visit(notes="second"))
    assert without.status_code == 428
    accepted = await api.post(f"refusals/{refusal}/accept", a_visit(notes="second"), If_Match='"1"')
    assert (accepted.status_code, accepted.json()["outcome"], accepted.headers["etag"]) == (
        200,
        "amended",
        '"2"',
    )
    again = await api.put(PATH, a_visit(notes="second"))
    assert again.json()["outcome"] == "same"


async def test_a_visit_without_an_id_is_accepted_with_one(api: Api) -> None:
    body = a_visit(notes="no id")
    refusal = (await api.post("visits", body)).json()["refusal_id"]
    accepted = await api.post(f"refusals/{refusal}/accept", {**body, "id": VISIT})
    assert (accepted.status_code, accepted.json()["id"]) == (201, VISIT)
    again = await api.post("visits", body)
    assert (again.status_code, again.json()["outcome"]) == (200, "same")


async def test_a_visit_waits_for_its_property_and_is_then_taken_by_itself(
    api: Api, clock: Clock, pool: Pool, clock_pool: Pool
) -> None:
    body = a_visit(property_id=an_id(9), notes="early", signs=[a_sign()])
    refused = await api.put(PATH, body)
    assert (refused.status_code, pointers(refused)) == (422, [("#/property_id", "unknown_property")])
    # this one is wrong besides: it stays for a person
    other = await api.put(f"visits/{an_id(4)}", a_visit(property_id=an_id(9), worker_id=an_id(99)))
    await api.made(f"properties/{an_id(9)}", a_property(name="Second field"))
    await work.run(clock_pool, pool, clock.now, HANDLERS)
    visit = (await api.get(PATH)).json()
    assert (visit["notes"], visit["version"]) == ("early", 1)
    (version,) = (await api.get(f"{PATH}/versions")).json()
    assert version["key_id"] == (await api.get("me")).json()["key_id"]
    assert [one["id"] for one in await api.items("signs")] == [an_id(20)]
    again = await api.put(PATH, body)
    assert (again.status_code, again.json()["outcome"]) == (200, "same")
    assert [one["id"] for one in await api.items("refusals?open=true")] == [other.json()["refusal_id"]]
    (told,) = await api.told("visit.recorded")
    assert told["data"]["visit_id"] == VISIT


async def test_one_waiting_visit_that_no_longer_fits_holds_no_other_up(
    api: Api, clock: Clock, pool: Pool, clock_pool: Pool
) -> None:
    for number in (4, 5, 6):
        body = a_visit(property_id=an_id(9), signs=[a_sign(id=an_id(20 + number % 2))])
        assert (await api.put(f"visits/{an_id(number)}", body)).status_code == 422
        clock.now += timedelta(minutes=1)
    await api.made(f"properties/{an_id(9)}", a_property(name="Second field"))
    await work.run(clock_pool, pool, clock.now, HANDLERS)
    # 4 and 6 claim the same sign: the first that came has it
    assert [one["id"] for one in await api.items("visits")] == [an_id(4), an_id(5)]
    (left,) = await api.items("refusals?open=true")
    assert left["claimed_id"] == an_id(6)
    told = await api.told("visit.recorded")
    assert [one["data"]["visit_id"] for one in told] == [an_id(4), an_id(5)]


async def test_a_property_of_another_business_is_an_unknown_one(api: Api, two: tuple[Api, Api]) -> None:
    unknown = await api.put(PATH, a_visit(property_id=an_id(9)))
    await two[1].made(f"properties/{an_id(9)}", a_property())
    foreign = await api.put(PATH, a_visit(property_id=an_id(9)))
    assert foreign.json() == unknown.json()
    assert foreign.status_code == unknown.status_code == 422


async def test_a_visit_that_shows_nothing_wrong_by_itself_is_never_refused(api: Api) -> None:
    odd = a_visit(
        job_id=an_id(90),
        appointment_id=an_id(91),
        sets=[a_set(sign_id=an_id(92), moved_from_set_id=an_id(93))],
        checks=[
            a_check(set_id=an_id(94)),
            a_check(id=an_id(41), set_id=an_id(30), checked_at="2026-05-14T09:00:00-07:00"),
        ],
        looks=[{"id": an_id(42), "sign_id": an_id(95), "looked_at": AT}],
        surveys=[{"id": an_id(43), "surveyed_at": AT, "fresh_signs": 0, "feature_id": an_id(96)}],
    )
    beside_other_facts = ["job_awaited", *["set_awaited", "sign_awaited"] * 2, "check_before_placing"]
    made = await api.put(PATH, odd)
    assert made.status_code == 201
    assert sorted(codes(made)) == sorted(["unknown_feature", *beside_other_facts])
    listed = await api.items(f"conflicts?property_id={PROPERTY}")
    assert sorted(one["kind"] for one in listed) == sorted(beside_other_facts)
    again = await api.put(PATH, odd)
    assert again.json()["outcome"] == "same"
