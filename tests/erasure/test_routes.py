"""Persons handed out and erased, over HTTP: no table holds a word of theirs, and what was issued verifies on."""

import io
from datetime import timedelta
from typing import Any

import asyncpg
import pytest
from pypdf import PdfReader

from service.work import ticks as work
from tests.bodies import a_visit, an_id
from tests.books import HANDLERS, book_of, differences
from tests.erasure.spoken import CUSTOMER, GROUND, SECOND, WORD, sell, tables_with, verified
from tests.http import PROPERTY, WORKER, Api, Clock

Owner = asyncpg.Connection


async def test_the_word_stands_in_many_places_before(spoken_of: Api, owner: "Owner[Any]") -> None:
    """So that the search below finds something where there is something."""
    held = await tables_with(owner, WORD)
    assert {"customer.name", "visit.notes", "visit_version.body", "refusal.body", "service_record.party",
            "stated_version.body", "told.who", "property.address", "sign.told_by"} <= held  # fmt: skip


async def test_after_erasing_no_table_holds_a_word_of_the_person(
    spoken_of: Api, owner: "Owner[Any]", clock: Clock, clock_pool: Any, pool: Any
) -> None:
    before = await book_of(owner, spoken_of.business_id)
    answer = await spoken_of.post(f"customers/{CUSTOMER}/erase", GROUND)
    assert answer.status_code == 200, answer.text
    assert answer.json()["records"] == 2
    for _ in range(3):
        clock.now += timedelta(hours=2)
        await work.run(clock_pool, pool, clock.now, HANDLERS)
    assert await tables_with(owner, WORD) == set()
    erased = {"at": "2026-05-14T18:00:00Z", "ground": GROUND["ground"]}
    for name in ("2026-000001.1", "2026-000002.1"):
        shown = await verified(spoken_of, name)
        assert (shown["party"], shown["erased"]) == (None, erased)
    page = (await spoken_of.get("service-records/2026-000001.1?format=html")).text
    assert "Erased on 14 May 2026: The person asked for it." in page
    pdf = await spoken_of.get("service-records/2026-000001.1?format=pdf")
    assert pdf.status_code == 200
    # what follows from the facts is as it was, record for record and deadline for deadline
    after = await book_of(owner, spoken_of.business_id)
    for part in ("set_state", "sign_state", "record", "lawn_patch", "conflict"):
        assert before[PROPERTY].get(part) == after[PROPERTY].get(part), part
    left = [line for line in differences(before, after, [PROPERTY]) if line.startswith("deadline")]
    assert all("attempts" in line for line in left)


@pytest.mark.parametrize(
    ("zone", "day"), [("America/Los_Angeles", "14 May 2026"), ("Pacific/Auckland", "15 May 2026")]
)
async def test_a_page_tells_the_day_of_the_business_on_which_persons_were_erased(
    spoken_of: Api, clock: Clock, zone: str, day: str
) -> None:
    business = await spoken_of.get("business")
    await spoken_of.patch("business", {"zone": zone}, If_Match=business.headers["etag"])
    clock.now += timedelta(hours=8)  # two in the morning by UTC
    await spoken_of.post(f"customers/{CUSTOMER}/erase", GROUND)
    page = await spoken_of.get("service-records/2026-000001.1?format=html")
    paper = PdfReader(io.BytesIO((await spoken_of.get("service-records/2026-000001.1?format=pdf")).content))
    assert f"Erased on {day}: " in page.text
    assert f"Erased on {day}: " in " ".join(paper.pages[0].extract_text().split())


async def test_what_is_left_of_a_person_is_a_tombstone_that_states_nothing_again(spoken_of: Api) -> None:
    first = await spoken_of.post(f"customers/{CUSTOMER}/erase", GROUND)
    again = await spoken_of.post(f"customers/{CUSTOMER}/erase", {"ground": "Another time."})
    assert again.json()["erased"] == first.json()["erased"]
    left = await spoken_of.get(f"customers/{CUSTOMER}")
    assert left.json() | {"version": 1, "received_at": ""} == {
        "id": CUSTOMER, "name": "erased", "version": 1, "received_at": "", "erased": first.json()["erased"],
    }  # fmt: skip
    answer = await spoken_of.patch(f"customers/{CUSTOMER}", {"name": WORD}, If_Match=left.headers["etag"])
    assert answer.status_code == 409
    assert "erased on 2026-05-14" in answer.json()["detail"]
    told = await spoken_of.told("customer.erased")
    assert [one["data"]["customer_id"] for one in told] == [CUSTOMER]


async def test_where_two_held_a_property_each_takes_the_texts_of_the_own_days(
    spoken_of: Api, owner: "Owner[Any]"
) -> None:
    await sell(spoken_of, "2026-05-15")
    theirs = a_visit(arrived_at="2026-05-14T10:40:00-07:00", customer_note="for the first")
    await spoken_of.made(f"visits/{an_id(306)}", theirs)
    await spoken_of.post(f"customers/{SECOND}/erase", GROUND)
    assert (await spoken_of.get(f"visits/{an_id(306)}")).json()["customer_note"] == "for the first"
    await spoken_of.post(f"customers/{CUSTOMER}/erase", GROUND)
    assert "customer_note" not in (await spoken_of.get(f"visits/{an_id(306)}")).json()
    # the last of them is gone as well, and with that one the property's name
    assert await tables_with(owner, WORD) == {"feature.name"}


async def test_a_worker_is_erased_once_no_key_is_in_force(spoken_of: Api, owner: "Owner[Any]") -> None:
    former = await spoken_of.get(f"workers/{WORKER}")
    await spoken_of.patch(f"workers/{WORKER}", {"name": "Osprey"}, If_Match=former.headers["etag"])
    key = await spoken_of.post(
        "api-keys", {"name": "Osprey's phone", "scopes": ["record"], "worker_id": WORKER}
    )
    held = (await spoken_of.get(f"workers/{WORKER}/personal-data")).json()["held"]
    assert {"worker", "api key", "visit", "service record"} <= {one["noun"] for one in held}
    answer = await spoken_of.post(f"workers/{WORKER}/erase", GROUND)
    assert answer.status_code == 409
    await spoken_of.delete(f"api-keys/{key.json()['id']}")
    answer = await spoken_of.post(f"workers/{WORKER}/erase", GROUND)
    assert answer.status_code == 200, answer.text
    assert answer.json()["records"] == 1
    assert await tables_with(owner, "Osprey") == set()
    assert (await verified(spoken_of, "2026-000001.1"))["party"] is None
    assert (await verified(spoken_of, "2026-000002.1"))["party"] is not None, "a month without the worker"


@pytest.mark.parametrize("body", [{}, {"ground": ""}, {"ground": "ok\n"}, {"why": "asked"}])
async def test_an_erasure_without_a_ground_says_what_to_mend(api: Api, body: dict[str, str]) -> None:
    await api.made(f"customers/{CUSTOMER}", {"name": WORD})
    answer = await api.post(f"customers/{CUSTOMER}/erase", body)
    assert answer.status_code == 422
    assert answer.json()["errors"]


@pytest.mark.parametrize(
    ("ground", "status"),
    [
        ("Asked for by j. sample.", 422),
        ("Wrote from j.sample@mail.example on Monday", 422),
        ("Asked for by J.  SAMPLE", 422),
        ("Asked for by a J. Samplewood", 200),
        ("The person asked for it.", 200),
    ],
)
async def test_a_ground_that_is_shown_for_ever_names_nobody(api: Api, ground: str, status: int) -> None:
    await api.made(f"customers/{CUSTOMER}", {"name": "J. Sample", "email": "j.sample@mail.example"})
    answer = await api.post(f"customers/{CUSTOMER}/erase", {"ground": ground})
    assert answer.status_code == status, answer.text
    if status == 422:
        (wrong,) = answer.json()["errors"]
        assert wrong["pointer"] == "#/ground"
        assert "say it without '" in wrong["detail"]
        assert (await api.get(f"customers/{CUSTOMER}")).json()["name"] == "J. Sample"


async def test_another_business_and_a_phone_erase_nobody(api: Api, other: Api) -> None:
    await api.made(f"customers/{CUSTOMER}", {"name": WORD})
    assert (await other.post(f"customers/{CUSTOMER}/erase", GROUND)).status_code == 404
    assert (await other.get(f"customers/{CUSTOMER}/personal-data")).status_code == 404
    phone = await api.key_with("record", "read")
    assert (await phone.post(f"customers/{CUSTOMER}/erase", GROUND)).status_code == 403
