"""What is not issued yet, over HTTP: the three ways of issuing, why a record is held, and what it would say."""

from datetime import timedelta
from typing import Any

import pytest

from service.records.ticks import handlers
from service.work import ticks as work
from tests.bodies import NOW, a_visit, an_id
from tests.http import PROPERTY, SEALING_KEY, VISIT, Api, Clock

HOUR = timedelta(hours=1)


class Office:
    """A business whose setting a test changes, and the clock that does what is due."""

    def __init__(self, api: Api, clock: Clock, clock_pool: Any, pool: Any) -> None:
        self.api, self.clock, self.clock_pool, self.pool = api, clock, clock_pool, pool

    async def sets(self, **settings: Any) -> None:
        answer = await self.api.patch("business", settings, If_Match="*")
        assert answer.status_code == 200, answer.text

    async def tick(self, after: timedelta = timedelta()) -> None:
        self.clock.now += after
        await work.run(self.clock_pool, self.pool, self.clock.now, handlers(SEALING_KEY))

    async def drafts(self) -> list[Any]:
        return await self.api.items("service-records/drafts")

    async def issued(self) -> list[str]:
        return [
            f"{one['record']['number']}.{one['record']['version']}"
            for one in await self.api.items("service-records")
        ]


@pytest.fixture
def office(api: Api, clock: Clock, clock_pool: Any, pool: Any) -> Office:
    return Office(api, clock, clock_pool, pool)


async def test_on_receipt_the_clock_issues_at_once(office: Office) -> None:
    await office.sets(issue="on_receipt")
    await office.api.made(f"visits/{VISIT}", a_visit())
    assert [(one["reason"], one["sentence"]) for one in await office.drafts()] == [
        ("due", "Due now; the clock is at it.")
    ]
    await office.tick()
    assert (await office.drafts(), await office.issued()) == ([], ["2026-000001.1"])


async def test_after_a_hold_the_record_is_held_until_then_and_says_so(office: Office) -> None:
    await office.sets(issue="after_hold", hold_hours=24)
    await office.api.made(f"visits/{VISIT}", a_visit())
    [held] = await office.drafts()
    due_at = f"{NOW + 24 * HOUR:%Y-%m-%dT%H:%M:%SZ}"
    assert held == {
        "visit_id": VISIT,
        "property_id": PROPERTY,
        "service_on": held["service_on"],
        "reason": "held",
        "due_at": due_at,
        "sentence": (
            f"Held until {due_at}, as the business has set it; POST /v1/service-records issues it now."
        ),
    }
    await office.tick(24 * HOUR - timedelta(seconds=1))
    assert (len(await office.drafts()), await office.issued()) == (1, [])
    await office.tick(timedelta(seconds=1))
    assert (await office.drafts(), await office.issued()) == ([], ["2026-000001.1"])


async def test_by_the_office_it_waits_and_goes_out_when_the_office_says_so(office: Office) -> None:
    await office.sets(issue="by_office")
    await office.api.made(f"visits/{VISIT}", a_visit())
    await office.tick(1000 * HOUR)
    [waiting] = await office.drafts()
    assert (waiting["reason"], "due_at" in waiting) == ("waits_for_office", False)
    assert waiting["sentence"] == "Waits for the office; POST /v1/service-records issues it."
    await office.api.post("service-records", {"visit_id": VISIT})
    assert (await office.drafts(), await office.issued()) == ([], ["2026-000001.1"])


async def test_what_was_on_hold_waits_for_the_office_once_the_business_says_so(office: Office) -> None:
    await office.sets(issue="after_hold", hold_hours=1)
    await office.api.made(f"visits/{VISIT}", a_visit())
    await office.sets(issue="by_office")
    assert [one["reason"] for one in await office.drafts()] == ["waits_for_office"]
    await office.tick(2 * HOUR)
    assert (len(await office.drafts()), await office.issued()) == (1, [])


async def test_a_draft_says_what_would_be_issued_and_then_is(office: Office) -> None:
    await office.api.made(f"visits/{VISIT}", a_visit(customer_note="Gate open.", treatments_none=True))
    answer = await office.api.get(f"service-records/drafts/{VISIT}")
    draft = answer.json()
    assert "Gate open" not in answer.text
    assert not {"number", "version", "signature", "sha256", "party_hash"} & set(draft)
    again = await office.api.get(f"service-records/drafts/{VISIT}", If_None_Match=answer.headers["etag"])
    assert again.status_code == 304
    record = (await office.api.post("service-records", {"visit_id": VISIT})).json()["record"]
    for member in ("issuer", "refs", "content", "basis"):
        assert draft[member] == record[member]
    gone = await office.api.get(f"service-records/drafts/{VISIT}")
    assert (gone.status_code, gone.json()["detail"]) == (
        404,
        "This visit has record 2026-000001; read it at /v1/service-records/2026-000001.",
    )


async def test_a_visit_that_is_unknown_or_withdrawn_has_no_draft(office: Office) -> None:
    assert (await office.api.get(f"service-records/drafts/{an_id(9)}")).status_code == 404
    await office.api.made(f"visits/{VISIT}", a_visit())
    await office.api.delete(f"visits/{VISIT}", If_Match='"1"')
    answer = await office.api.get(f"service-records/drafts/{VISIT}")
    assert (answer.status_code, "withdrawn" in answer.json()["detail"]) == (404, True)
    assert await office.drafts() == []


async def test_drafts_come_in_pages_and_of_one_property(office: Office) -> None:
    ids = [an_id(number) for number in (101, 102, 103)]
    for one in ids:
        await office.api.made(f"visits/{one}", a_visit())
    first = await office.api.get("service-records/drafts?limit=2")
    assert [one["visit_id"] for one in first.json()["items"]] == ids[:2]
    second = await office.api.get(first.links["next"]["url"])
    assert [one["visit_id"] for one in second.json()["items"]] == ids[2:]
    assert await office.api.items(f"service-records/drafts?property_id={an_id(77)}") == []
