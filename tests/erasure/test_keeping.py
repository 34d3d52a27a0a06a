"""How long persons are kept, each kind by the business's setting and by the texts that bid to keep."""

from datetime import timedelta
from typing import Any

import asyncpg
import pytest

from service.kernel.migrate import migrations
from tests.bodies import NOW, a_visit, an_id
from tests.books import run_to
from tests.erasure.spoken import CUSTOMER, GROUND, SECOND, TENURE, WORD, tables_with
from tests.http import PROPERTY, VISIT, WORKER, Api, Clock, pointers

Owner = asyncpg.Connection


async def test_what_a_text_bids_to_keep_is_kept_until_then(api: Api, clock: Clock) -> None:
    """California Education Code § 17611: a school keeps its records of pesticide use for four years."""
    school = an_id(310)
    place = {"name": "School", "kind": "school", "zone": "America/Los_Angeles", "region": "US-CA"}
    await api.made(f"properties/{school}", place)
    await api.made(f"customers/{CUSTOMER}", {"name": WORD})
    await api.made(
        f"properties/{school}/tenures/{TENURE}", {"customer_id": CUSTOMER, "from_on": "2026-01-01"}
    )
    await api.made(f"visits/{VISIT}", a_visit(property_id=school))
    bait = {"property_id": school, "method": "bait", "applied_at": "2026-05-14T10:00:00-07:00"}
    await api.made(f"treatments/{an_id(68)}", bait)
    answer = await api.post(f"customers/{CUSTOMER}/erase", GROUND)
    assert answer.status_code == 409
    assert "until 2030-05-14" in answer.json()["detail"]
    assert "17611" in answer.json()["detail"]
    clock.now = NOW.replace(year=2030)
    assert (await api.post(f"customers/{CUSTOMER}/erase", GROUND)).status_code == 200


async def set_keep_years(api: Api, **years: int) -> None:
    """The business's keeping times, each by its kind."""
    business = await api.get("business")
    answer = await api.patch("business", {"keep_years": years}, If_Match=business.headers["etag"])
    assert answer.status_code == 200, answer.text
    assert answer.json()["keep_years"] == years


async def leave(api: Api) -> None:
    """The worker works here no more."""
    worker = await api.get(f"workers/{WORKER}")
    gone = {"name": "Osprey", "active": False}
    answer = await api.patch(f"workers/{WORKER}", gone, If_Match=worker.headers["etag"])
    assert answer.status_code == 200, answer.text


async def is_erased(api: Api, path: str) -> bool:
    """Whether a tombstone is all that is left."""
    return "erased" in (await api.get(path)).json()


async def test_the_clock_erases_who_is_past_the_keeping_time(
    spoken_of: Api, owner: "Owner[Any]", clock: Clock, clock_pool: Any, pool: Any
) -> None:
    tenure = await spoken_of.get(f"properties/{PROPERTY}/tenures/{TENURE}")
    until = {"until_on": "2026-05-20"}
    await spoken_of.patch(f"properties/{PROPERTY}/tenures/{TENURE}", until, If_Match=tenure.headers["etag"])
    await spoken_of.made(f"customers/{SECOND}", {"name": "B. Sample"})
    await leave(spoken_of)
    await set_keep_years(spoken_of, customers=2)
    for at, gone in (
        (clock.now, False),
        (NOW.replace(year=2028, day=19), False),
        (NOW.replace(year=2028, day=20), True),
    ):
        clock.now = at
        await run_to(clock_pool, pool, clock.now)
        assert await is_erased(spoken_of, f"customers/{CUSTOMER}") is gone
    assert await tables_with(owner, WORD) == set()
    assert not await is_erased(spoken_of, f"customers/{SECOND}"), "nobody's tenure of theirs ended"
    assert not await is_erased(spoken_of, f"workers/{WORKER}"), "no time is set for workers"
    erased = (await spoken_of.get(f"customers/{CUSTOMER}")).json()["erased"]
    assert erased["ground"] == "The keeping time of 2 years is over."


async def test_one_person_whose_erasure_fails_holds_no_other_up(
    spoken_of: Api, owner: "Owner[Any]", clock: Clock, clock_pool: Any, pool: Any
) -> None:
    """What the failed one wrote and told is undone; the next day it is tried again."""
    tenure = await spoken_of.get(f"properties/{PROPERTY}/tenures/{TENURE}")
    until = {"until_on": "2026-05-15"}
    await spoken_of.patch(f"properties/{PROPERTY}/tenures/{TENURE}", until, If_Match=tenure.headers["etag"])
    await spoken_of.made(f"customers/{SECOND}", {"name": "B. Sample"})
    short = {"customer_id": SECOND, "from_on": "2025-05-14", "until_on": "2025-06-14"}
    await spoken_of.made(f"properties/{PROPERTY}/tenures/{an_id(305)}", short)
    await set_keep_years(spoken_of, customers=2)
    (kept,) = await owner.fetch("select id, body from refusal")
    await owner.execute("update refusal set body = '{'")
    clock.now = NOW.replace(year=2028, day=15)
    # it would go after 90 days, before anybody is past a keeping time
    await owner.execute("delete from work where kind = 'refusals_old'")
    await run_to(clock_pool, pool, clock.now)
    assert not await is_erased(spoken_of, f"customers/{CUSTOMER}")
    assert await is_erased(spoken_of, f"customers/{SECOND}")
    assert [one["data"]["customer_id"] for one in await spoken_of.told("customer.erased")] == [SECOND]
    await owner.execute("update refusal set body = $1 where id = $2", kept["body"], kept["id"])
    clock.now += timedelta(days=1)
    await run_to(clock_pool, pool, clock.now)
    assert await is_erased(spoken_of, f"customers/{CUSTOMER}")


async def test_former_workers_have_a_keeping_time_of_their_own(
    spoken_of: Api, owner: "Owner[Any]", clock: Clock, clock_pool: Any, pool: Any
) -> None:
    """It counts from the last day of work, or from the day on which they left where that is later."""
    at_work, left_later = an_id(311), an_id(312)
    for worker_id in (at_work, left_later):
        await spoken_of.made(f"workers/{worker_id}", {"name": "Osprey", "active": worker_id == at_work})
    await leave(spoken_of)
    clock.now = NOW.replace(month=8)
    went = {"arrived_at": "2026-07-20T23:30:00-07:00", "with_worker_ids": [left_later]}
    await spoken_of.made(f"visits/{an_id(313)}", a_visit(**went))
    await set_keep_years(spoken_of, workers=1)
    for at, gone in (
        (clock.now, []),
        (NOW.replace(year=2027, month=7, day=19), []),
        (NOW.replace(year=2027, month=7, day=20), [WORKER, left_later]),
        (NOW.replace(year=2036), [WORKER, left_later]),
    ):
        clock.now = at
        await run_to(clock_pool, pool, clock.now)
        erased = [
            one for one in (WORKER, at_work, left_later) if await is_erased(spoken_of, f"workers/{one}")
        ]
        assert erased == gone, at
    assert not await is_erased(spoken_of, f"customers/{CUSTOMER}"), "no time is set for customers"
    assert "worker.name" in await tables_with(owner, "Osprey"), "who works here stays"


async def test_a_worker_counts_from_the_day_of_leaving_and_a_key_in_force_holds_it_up(
    api: Api, clock: Clock, clock_pool: Any, pool: Any
) -> None:
    await api.made(f"visits/{VISIT}", a_visit())
    clock.now = NOW.replace(year=2027)
    await leave(api)
    worker = await api.get(f"workers/{WORKER}")
    clock.now = NOW.replace(year=2028)
    await api.patch(f"workers/{WORKER}", {"name": "Osprey jr"}, If_Match=worker.headers["etag"])
    key = await api.post("api-keys", {"name": "phone", "scopes": ["record"], "worker_id": WORKER})
    await set_keep_years(api, workers=2)
    for at, gone in ((NOW.replace(year=2029, day=13), False), (NOW.replace(year=2029), False)):
        clock.now = at
        await run_to(clock_pool, pool, clock.now)
        assert await is_erased(api, f"workers/{WORKER}") is gone
    await api.delete(f"api-keys/{key.json()['id']}")
    clock.now = NOW.replace(year=2029, day=15)
    await run_to(clock_pool, pool, clock.now)
    assert await is_erased(api, f"workers/{WORKER}")


async def test_a_text_is_a_floor_for_workers_too(api: Api, clock: Clock, clock_pool: Any, pool: Any) -> None:
    """7 CFR 205.103: an organic farm keeps its records for five years beyond their making."""
    farm = an_id(310)
    place = {"name": "Farm", "kind": "organic_farm", "zone": "America/Los_Angeles", "region": "US-ID"}
    await api.made(f"properties/{farm}", place)
    await api.made(f"visits/{VISIT}", a_visit(property_id=farm))
    await leave(api)
    answer = await api.post(f"workers/{WORKER}/erase", GROUND)
    assert answer.status_code == 409
    assert "this worker is to be kept until 2031-05-14" in answer.json()["detail"]
    assert "205.103" in answer.json()["detail"]
    await set_keep_years(api, workers=1)
    for at, gone in ((NOW.replace(year=2031, day=13), False), (NOW.replace(year=2031), True)):
        clock.now = at
        await run_to(clock_pool, pool, clock.now)
        assert await is_erased(api, f"workers/{WORKER}") is gone


@pytest.mark.parametrize(
    ("years", "pointer"),
    [
        ({"customers": 0}, "#/keep_years/customers"),
        ({"animals": 3}, "#/keep_years/animals"),
        (7, "#/keep_years"),
    ],
)
async def test_a_keeping_time_that_is_none_says_what_to_mend(api: Api, years: Any, pointer: str) -> None:
    business = await api.get("business")
    answer = await api.patch("business", {"keep_years": years}, If_Match=business.headers["etag"])
    assert answer.status_code == 422
    assert [where for where, _ in pointers(answer)] == [pointer]


async def test_a_refused_body_goes_after_ninety_days_though_none_comes_after_it(
    api: Api, owner: "Owner[Any]", clock: Clock, clock_pool: Any, pool: Any
) -> None:
    wrong = a_visit(outcome="perhaps")
    for number, days in ((320, 0), (321, 30)):
        clock.now = NOW + timedelta(days=days)
        assert (await api.put(f"visits/{an_id(number)}", wrong)).status_code == 422
    for days, left in ((89, 2), (90, 1), (119, 1), (120, 0), (300, 0)):
        clock.now = NOW + timedelta(days=days)
        await run_to(clock_pool, pool, clock.now)
        assert await owner.fetchval("select count(*) from refusal") == left, days
    assert await owner.fetchval("select count(*) from work where kind = 'refusals_old'") == 0


async def test_what_lies_here_from_before_is_moved_and_goes_in_time(
    two: tuple[Api, Api], owner: "Owner[Any]"
) -> None:
    """The migration: nobody is kept shorter or longer for it."""
    await two[0].put(f"visits/{VISIT}", a_visit(outcome="perhaps"))
    await owner.execute("delete from work where kind = 'refusals_old'")
    await owner.execute("alter table business drop column keep_years, add column keep_personal_years int")
    await owner.execute(
        "update business set keep_personal_years = 9 where business_id = $1", two[0].business_id
    )
    (moving,) = [one for one in migrations() if one.name == "0017_keeping.sql"]
    await owner.execute(moving.text)
    assert [(await one.get("business")).json()["keep_years"] for one in two] == [{"customers": 9}, {}]
    waiting = await owner.fetch("select subject_id, run_at from work where kind = 'refusals_old'")
    assert [tuple(one) for one in waiting] == [(two[0].business_id, NOW + timedelta(days=90))]
