"""The record of a property's month, over HTTP and by the clock: May 2026 in Los Angeles, asked for in June."""

import csv
import io
from collections.abc import AsyncIterator
from datetime import UTC, datetime, timedelta
from itertools import permutations
from typing import Any

import pytest

from service.records.ticks import handlers
from service.work import ticks as work
from tests.bodies import a_visit, an_id
from tests.books import run_to
from tests.http import PROPERTY, SEALING_KEY, Api, Clock, a_property

JUNE = datetime(2026, 6, 2, 16, tzinfo=UTC)
SETTLED = timedelta(minutes=61)
MAY = {"property_id": PROPERTY, "month": "2026-05"}


def at(day: int, clock: str = "10:00") -> str:
    """An instant of May 2026 there."""
    return f"2026-05-{day:02}T{clock}:00-07:00"


def visit_on(day: int, **more: Any) -> dict[str, Any]:
    return a_visit(arrived_at=at(day), left_at=at(day, "10:20"), **more)


def oil(number: int, day: int) -> dict[str, Any]:
    said = {"method": "castor_oil", "applied_at": at(day, "09:00"), "applied_by": "customer"}
    return {"id": an_id(number), **said}


async def month(api: Api, asked: dict[str, Any] = MAY, status: int = 201) -> dict[str, Any]:
    answer = await api.post("service-records", asked)
    assert answer.status_code == status, answer.text
    return dict(answer.json()["record"])


@pytest.fixture
async def june(api: Api, clock: Clock) -> AsyncIterator[Api]:
    """Two visits in May, and it is June."""
    clock.now = JUNE
    await api.made(f"visits/{an_id(101)}", visit_on(8, treatments_none=True, customer_note="Gate open."))
    await api.made(f"visits/{an_id(102)}", visit_on(9))
    return api


class Wakes:
    """The clock of the service, a while later each time."""

    def __init__(self, clock: Clock, clock_pool: Any, pool: Any) -> None:
        self.clock, self.clock_pool, self.pool = clock, clock_pool, pool

    async def __call__(self) -> None:
        self.clock.now += SETTLED
        while await work.run(self.clock_pool, self.pool, self.clock.now, handlers(SEALING_KEY)):
            pass


@pytest.fixture
def wake(clock: Clock, clock_pool: Any, pool: Any) -> Wakes:
    return Wakes(clock, clock_pool, pool)


async def test_a_month_has_a_number_like_every_record_and_names_its_visits_and_their_records(
    june: Api,
) -> None:
    await june.post("service-records", {"visit_id": an_id(101)})
    answer = await june.post("service-records", MAY)
    assert answer.headers["location"] == "/v1/service-records/2026-000002.1"
    record = answer.json()["record"]
    content = record["content"]
    assert (content["kind"], content["month"], content["service_on"]) == ("month", "2026-05", "2026-05-31")
    assert [one["visit_id"] for one in content["visits"]] == [an_id(101), an_id(102)]
    by_us = content["pesticide_free_by_us"]
    assert (by_us["from_at"], by_us["until_at"]) == ("2026-05-01T07:00:00Z", "2026-06-01T06:59:59.999999Z")
    assert (len(by_us["visit_ids"]), by_us["visits_stating_none"]) == (2, 1)
    assert record["basis"]["records"] == ["2026-000001.1"]
    assert [one["visit_id"] for one in record["basis"]["rests_on"]] == [an_id(101), an_id(102)]
    shown = (await june.get("service-records/2026-000002.1?party=true")).json()
    assert shown["party"]["worker_names"] == ["R. Example"]
    assert shown["party"]["customer_note"] == "2026-05-08: Gate open."
    assert "Gate open" not in answer.text
    versions = (await june.get("service-records/2026-000002")).json()["versions"]
    assert [(one["visit_id"], one["month"]) for one in versions] == [(None, "2026-05")]
    [told] = [one["data"] for one in await june.told("record.issued") if "month" in one["data"]]
    assert (told["month"], told["property_id"], told["record"]) == ("2026-05", PROPERTY, "2026-000002.1")
    assert "visit_id" not in told
    assert (await june.post("service-records", MAY)).status_code == 200


async def test_a_month_without_any_visit_is_issued_too_and_stands_in_the_lists_of_its_month(
    june: Api,
) -> None:
    content = (await month(june, MAY | {"month": "2026-03"}))["content"]
    assert (content["visits"], content["pesticide_free_by_us"]["free"]) == ([], True)
    assert "0 visits" in content["statement"]
    for path in ("service-records?month=2026-03", "service-records?since=2026-03-15&until=2026-04-01"):
        assert [one["record"]["content"]["kind"] for one in await june.items(path)] == ["month"]
    assert await june.items("service-records?month=2026-04") == []
    table = (await june.get("service-records?format=csv&month=2026-03")).text
    [row] = csv.DictReader(io.StringIO(table, newline=""))
    assert (row["number"], row["service_on"], row["visit_id"]) == ("2026-000001", "2026-03-31", "")
    summary = (await june.get("months/2026-03")).json()
    assert summary["records"]["issued"] == ["2026-000001.1"]


@pytest.mark.parametrize(
    ("asked", "status", "sentence"),
    [
        (MAY | {"month": "2026-06"}, 409, "from 2026-07-01T00:00:00-07:00 on"),
        (MAY | {"property_id": an_id(77)}, 404, "This property is not in your book"),
        (MAY | {"month": "2026-13"}, 422, "month"),
        (MAY | {"month": "May"}, 422, "month"),
        (MAY | {"visit_id": an_id(101)}, 422, "either `visit_id`, or `property_id` with `month`"),
        ({"month": "2026-05"}, 422, "either `visit_id`, or `property_id` with `month`"),
        ({}, 422, "either `visit_id`, or `property_id` with `month`"),
    ],
)
async def test_what_is_no_month_to_issue_is_refused_in_a_sentence(
    june: Api, asked: dict[str, Any], status: int, sentence: str
) -> None:
    answer = await june.post("service-records", asked)
    assert answer.status_code == status, answer.text
    assert sentence in answer.text


async def test_another_business_issues_no_month_of_a_property_that_is_not_its_own(
    two: tuple[Api, Api], clock: Clock
) -> None:
    clock.now = JUNE
    mine, other = two
    place = an_id(55)
    await mine.made(f"properties/{place}", a_property(name="Lower field"))
    asked = {"property_id": place, "month": "2026-05"}
    assert (await other.post("service-records", asked)).status_code == 404
    assert (await mine.post("service-records", asked)).status_code == 201


async def test_what_becomes_known_of_the_month_makes_its_next_version_by_itself(
    june: Api, wake: Wakes
) -> None:
    """A late fact, an amended visit, a treatment on its own, a withdrawn visit: each names what it replaces."""
    await month(june)
    await wake()
    seen = [1]

    async def version() -> dict[str, Any]:
        await wake()
        record = (await june.items("service-records?month=2026-05"))[-1]["record"]
        seen.append(record["version"])
        assert record["replaces"] == f"2026-000001.{record['version'] - 1}"
        return dict(record["content"])

    await june.made(f"visits/{an_id(103)}", visit_on(5))
    assert len((await version())["visits"]) == 3
    await june.put(f"visits/{an_id(102)}", visit_on(9, treatments_none=True), If_Match='"1"')
    assert (await version())["pesticide_free_by_us"]["visits_stating_none"] == 2
    told = {name: value for name, value in oil(201, 20).items() if name != "id"}
    await june.made(f"treatments/{an_id(201)}", {"property_id": PROPERTY, **told})
    broken = await version()
    assert (broken["pesticide_free_by_us"]["free"], broken["pesticide_known_at_property"]["free"]) == (
        True,
        False,
    )
    assert broken["treatments_said"] == "listed"
    await june.delete(f"visits/{an_id(103)}", If_Match='"1"')
    assert len((await version())["visits"]) == 2
    assert seen == [1, 2, 3, 4, 5]
    assert [one["data"]["replaces"] for one in await june.told("record.amended")] == [
        f"2026-000001.{number}" for number in (1, 2, 3, 4)
    ]


async def test_a_fact_of_another_month_or_a_note_leaves_it_as_it_is_and_one_of_before_may_not(
    june: Api, wake: Wakes
) -> None:
    await month(june)
    mechanism = {"mechanism": "box", "traps": [{"no": 1}]}
    placed = {"id": an_id(30), "placed_at": "2026-06-01T09:00:00-07:00", **mechanism}
    arrived = {"arrived_at": "2026-06-01T09:00:00-07:00", "left_at": "2026-06-01T09:10:00-07:00"}
    await june.made(f"visits/{an_id(104)}", a_visit(**arrived, sets=[placed]))
    await june.put(
        f"visits/{an_id(101)}",
        visit_on(8, treatments_none=True, customer_note="Gate closed.", notes="dog"),
        If_Match='"1"',
    )
    await wake()
    assert (await june.items("service-records?month=2026-05"))[-1]["record"]["version"] == 1
    earlier = {"id": an_id(31), "placed_at": "2026-04-30T09:00:00-07:00", **mechanism}
    arrived = {"arrived_at": "2026-04-30T09:00:00-07:00", "left_at": "2026-04-30T09:10:00-07:00"}
    await june.made(f"visits/{an_id(105)}", a_visit(**arrived, sets=[earlier]))
    await wake()
    record = (await june.items("service-records?month=2026-05"))[-1]["record"]
    assert record["version"] == 2
    assert [(one["set_id"], one["done"], one["state"]) for one in record["content"]["sets"]] == [
        (an_id(31), [], "standing")
    ]
    assert [one["visit_id"] for one in record["basis"]["rests_on"]] == [an_id(105), an_id(101), an_id(102)]


async def test_the_latest_content_of_a_month_is_the_same_for_every_order_of_arrival(
    api: Api, clock: Clock, wake: Wakes, owner: Any
) -> None:
    mound = {
        "id": an_id(20),
        "kind": "mound",
        "seen_at": at(4),
        "on_turf": True,
        "length_mm": 430,
        "width_mm": 400,
    }
    trap = {
        "id": an_id(30),
        "placed_at": at(4),
        "mechanism": "box",
        "traps": [{"no": 1}],
        "opening_on_turf": True,
    }
    look = {
        "id": an_id(40),
        "set_id": an_id(30),
        "checked_at": at(6),
        "finding": "undisturbed",
        "action": "left",
    }
    cleared = {"id": an_id(70), "sign_id": an_id(20), "cleared_at": at(6)}
    told = {"id": an_id(86), "who": "the porter", "how": "in person", "at": at(6), "what": "cautions"}
    visits = {
        101: visit_on(4, signs=[mound], sets=[trap]),
        102: visit_on(6, checks=[look], clearings=[cleared], told=[told], treatments=[oil(202, 5)]),
        103: visit_on(9, surveys=[{"id": an_id(10), "surveyed_at": at(3), "fresh_signs": 0}]),
    }
    clock.now = JUNE
    found = set()
    for turn, order in enumerate(permutations(visits)):
        for place, number in enumerate(order):
            tag = {"If_Match": f'"{2 * turn}"'} if turn else {}
            assert (await api.put(f"visits/{an_id(number)}", visits[number], **tag)).is_success
            if place == turn % 3:
                await api.post("service-records", MAY)
            if place == 1:
                await wake()
        await wake()
        digests = await owner.fetch(
            "select content_sha256, bytes from service_record where month_on is not null order by version desc limit 1"
        )
        found.add(digests[0]["content_sha256"])
        for number in visits:
            await api.delete(f"visits/{an_id(number)}", If_Match="*")
        await wake()
        empty = (await api.items("service-records?month=2026-05"))[-1]["record"]["content"]
        assert (empty["kind"], empty["visits"], empty["sets"], empty["turf"]) == ("month", [], [], [])
    assert len(found) == 1


async def test_who_was_told_and_how_stands_beside_the_bytes_and_in_none_of_them(june: Api) -> None:
    told = {"id": an_id(86), "who": "the porter", "how": "by phone", "at": at(10), "what": "cautions"}
    await june.made(f"visits/{an_id(104)}", visit_on(10, told=[told]))
    for asked in ({"visit_id": an_id(104)}, MAY):
        answer = await june.post("service-records", asked)
        assert "porter" not in answer.text
        assert [one["told_id"] for one in answer.json()["record"]["content"]["told"]] == [an_id(86)]
        name = answer.headers["location"].rpartition("/")[2]
        party = (await june.get(f"service-records/{name}?party=true")).json()["party"]
        assert party["told"] == [{"told_id": an_id(86), "who": "the porter", "how": "by phone"}]
    nobody = await june.post("service-records", {"visit_id": an_id(101)})
    name = nobody.headers["location"].rpartition("/")[2]
    assert "told" not in (await june.get(f"service-records/{name}?party=true")).json()["party"]


async def test_a_month_that_was_issued_keeps_up_where_the_zone_is_amended_so_that_it_has_not_ended(
    june: Api, clock: Clock, clock_pool: Any, pool: Any
) -> None:
    """Half an hour into June in Los Angeles, it is still May in Honolulu."""
    clock.now = datetime(2026, 6, 1, 7, 30, tzinfo=UTC)
    await month(june)
    place = await june.get(f"properties/{PROPERTY}")
    moved = await june.patch(
        f"properties/{PROPERTY}", {"zone": "Pacific/Honolulu"}, If_Match=place.headers["etag"]
    )
    assert moved.status_code == 200, moved.text
    await run_to(clock_pool, pool, clock.now)
    clock.now += SETTLED
    await run_to(clock_pool, pool, clock.now)
    assert clock.now < datetime(2026, 6, 1, 10, tzinfo=UTC)
    assert (await month(june, status=200))["version"] == 2
