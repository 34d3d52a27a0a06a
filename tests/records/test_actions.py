"""Issuing: numbers, versions, what makes a new one and what does not; dates are our own arithmetic."""

import asyncio
import base64
import hashlib
import itertools
from datetime import UTC, datetime, timedelta
from typing import Any

import msgspec
import pytest

from service.events.outbox import entry
from service.kernel.errors import Missing
from service.records.actions import issue
from service.records.models import Party
from service.records.rules import party_hash
from tests.http import SEALING_KEY
from tests.records.book import an_id, la
from tests.records.conftest import BUSINESS, CUSTOMER_ID, MATE_ID, NOW, Book, castor_oil

QUIET = NOW + timedelta(minutes=10)
MINUTE = timedelta(minutes=1)


def a_set(number: int, at: datetime, **more: Any) -> dict[str, Any]:
    return {"id": an_id(number), "placed_at": at, "mechanism": "scissor_jaw", "traps": [{"no": 1}], **more}


def a_check(number: int, of: int, at: datetime, **more: Any) -> dict[str, Any]:
    stated = {"id": an_id(number), "set_id": an_id(of), "checked_at": at}
    return {**stated, "finding": "undisturbed", "action": "left", **more}


# Numbers and versions --------------------------------------------------------------------------------------
async def test_parallel_issuers_number_without_gaps_and_in_the_order_of_the_log(book: Book):
    numbers = range(100, 112)
    for number in numbers:
        await book.visit(number, la(1, 6) + number * MINUTE, 1)
    issued = await asyncio.gather(*(book.issue(number) for number in numbers))
    assert sorted(one.number for one in issued if one) == [f"2026-{count:06}" for count in range(1, 13)]
    assert [number for number, _, _ in await book.versions()] == [
        f"2026-{count:06}" for count in range(1, 13)
    ]


async def test_a_crash_after_the_number_was_taken_leaves_no_gap(book: Book):
    await book.visit(11, la(1, 10), 40)

    async def issue_and_die() -> None:
        async with entry(book.pool, BUSINESS, NOW) as opened:
            assert await issue(opened, SEALING_KEY, an_id(11)) is not None
            raise ConnectionError

    with pytest.raises(ConnectionError):
        await issue_and_die()
    assert await book.versions() == []
    issued = await book.issue(11)
    assert issued is not None
    assert issued.number == "2026-000001"


async def test_numbers_begin_again_with_the_year_in_the_zone_of_the_business(book: Book):
    await book.visit(11, la(1, 10), 40)
    await book.visit(12, la(8, 10), 30)
    new_year = datetime(2027, 1, 1, 8, tzinfo=UTC)
    assert [
        one.number
        for one in (await book.issue(11, new_year - MINUTE), await book.issue(12, new_year))
        if one is not None
    ] == ["2026-000001", "2027-000001"]


async def test_the_same_content_issues_nothing_and_a_further_version_names_what_it_replaces(book: Book):
    await book.visit(11, la(1, 10), 40)
    assert await book.issue(11) is not None
    assert await book.issue(11) is None
    assert (await book.latest(11))["replaces"] is None
    await book.visit(11, la(1, 10), 45, if_match='"1"', amend_reason="left later")
    assert await book.issue(11) is not None
    assert await book.versions() == [("2026-000001", 1, 11), ("2026-000001", 2, 11)]
    assert (await book.latest(11))["replaces"] == "2026-000001.1"
    [first, second] = await book.rows(
        "select type, data from event where type like 'record.%' order by sequence"
    )
    assert (first["type"], second["type"]) == ("record.issued", "record.amended")
    assert second["data"]["replaces"] == "2026-000001.1"


async def test_a_record_stands_in_the_log_at_the_event_that_told_of_it(book: Book):
    await book.visit(11, la(1, 10), 40)
    await book.issue(11)
    [row] = await book.rows(
        "select e.type, e.data::jsonb ->> 'sha256' as sha256, r.bytes, encode(r.sha256, 'hex') as kept "
        "from service_record r join event e using (business_id, sequence)"
    )
    assert row["type"] == "record.issued"
    assert row["sha256"] == row["kept"] == hashlib.sha256(row["bytes"].encode()).hexdigest()


async def test_a_visit_that_is_not_in_the_book_has_no_record(book: Book):
    with pytest.raises(Missing):
        await book.issue(99)


# What stands in it -----------------------------------------------------------------------------------------
async def test_a_record_binds_its_party_and_holds_ids_only(book: Book):
    await book.visit(
        11, la(1, 10), 40, with_worker_ids=[MATE_ID], customer_note="Gate closed again.", notes="dog"
    )
    await book.issue(11)
    [row] = await book.rows("select bytes, party from service_record")
    record = await book.latest(11)
    party = msgspec.convert(row["party"], Party)
    assert party.customer_name == "Alder Court School"
    assert party.worker_names == ["R. Example", "T. Sample"]
    assert party.customer_note == "Gate closed again."
    assert len(base64.urlsafe_b64decode(party.salt + "=")) == 32
    assert record["party_hash"] == party_hash(party)
    assert record["refs"] == {"customer": "C-104", "property": "P-7"}
    assert record["content"]["customer_id"] == str(CUSTOMER_ID)
    for private in ("Alder", "Example", "Sample", "Gate", "dog", "Lower field"):
        assert private not in row["bytes"]


async def test_the_customer_is_whose_property_it_was_on_that_day(book: Book):
    """Tenures are half-open: the last day of this one is 11 May."""
    await book.visit(11, la(11, 23), 10)
    await book.visit(12, la(12, 0, 5), 10)
    await book.issue(11)
    await book.issue(12)
    assert (await book.latest(11))["content"]["customer_id"] == str(CUSTOMER_ID)
    assert (await book.latest(12))["content"]["customer_id"] is None
    assert (await book.latest(12))["refs"]["customer"] is None


async def test_facts_of_every_kind_stand_in_the_record_as_at_the_end(book: Book):
    at = la(8, 10, 5)
    await book.visit(11, la(1, 10), 40, sets=[a_set(31, la(1, 10, 5))], surveys=[])
    await book.visit(
        12,
        la(8, 10),
        30,
        signs=[{"id": an_id(61), "kind": "mound", "seen_at": at, "on_turf": False, "count": 3}],
        sets=[
            a_set(
                32,
                at,
                position={"type": "Point", "coordinates": [-122.4512345, 37.5500001]},
                mechanism="harpoon",
            )
        ],
        checks=[
            a_check(
                41,
                31,
                at,
                finding="catch",
                action="pulled",
                catches=[{"id": an_id(51), "species": "Scapanus latimanus", "fate": "dead_in_trap"}],
            )
        ],
        catches=[
            {
                "id": an_id(52),
                "caught_at": at,
                "method": "by hand",
                "species": "Microtus californicus",
                "fate": "released_here",
            }
        ],
        clearings=[{"id": an_id(71), "sign_id": an_id(61), "cleared_at": at}],
        repairs=[
            {"id": an_id(81), "set_id": an_id(31), "repaired_at": at, "how": "reseeded", "area_m2": "0.25"}
        ],
        told=[{"id": an_id(86), "who": "the porter", "how": "in person", "at": at, "what": "traps_standing"}],
        treatments_none=True,
    )
    await book.issue(12)
    content = (await book.latest(12))["content"]
    assert [(one["set_id"], one["done"], one["state"]) for one in content["sets"]] == [
        (str(an_id(31)), ["checked", "pulled"], "pulled"),
        (str(an_id(32)), ["placed"], "standing"),
    ]
    assert content["sets"][1]["longitude_e7"] == -1224512345
    assert [one["method"] for one in content["methods"]] == ["by hand", "harpoon", "scissor_jaw"]
    assert sum(one["count"] for one in content["catches"]) == 2
    assert content["mounds_cleared"] == 3
    assert content["repairs"][0]["area_m2"] == "0.25"
    assert content["told"] == [
        {"told_id": str(an_id(86)), "told_at": "2026-05-08T17:05:00Z", "what": "traps_standing"}
    ]
    assert content["next_due"] == [
        {"set_id": str(an_id(32)), "kind": "check", "due_at": "2026-05-10T07:00:00Z"}
    ]
    assert content["treatments_none"] is True
    assert content["pesticide_free_by_us"]["visits_stating_none"] == 1


async def test_treated_seed_breaks_what_is_claimed_of_us(book: Book):
    """What is meant to repel or kill is a pesticide (FIFRA § 2(u)): treated seed is taken for one."""
    sown = {
        "id": an_id(81),
        "repaired_at": la(1, 10, 5),
        "how": "reseeded",
        "area_m2": "1",
        "seed_treated": True,
    }
    await book.visit(11, la(1, 10), 40, signs=[], repairs=[{**sown, "sign_id": an_id(61)}])
    await book.issue(11)
    content = (await book.latest(11))["content"]
    assert content["pesticide_free_by_us"]["free"] is False
    assert content["pesticide_free_by_us"]["broken_by"][0]["method"] == "treated_seed"


async def test_what_is_awaited_and_how_late_it_came_is_said_and_never_compared(book: Book):
    await book.visit(12, la(8, 10), 30, checks=[a_check(41, 31, la(8, 10, 5))])
    await book.issue(12, NOW + timedelta(days=1))
    basis = (await book.latest(12))["basis"]
    assert basis["awaited"] == [{"noun": "set", "id": str(an_id(31))}]
    [rested] = basis["rests_on"]
    assert (rested["visit_id"], rested["version"]) == (str(an_id(12)), 1)
    assert rested["late_by"] == "PT282H30M0S"
    assert [one["received_at"] for one in basis["complete_as_of"]] == ["2026-05-20T12:00:00Z"]
    await book.visit(13, la(12, 9), 20, now=NOW + timedelta(days=2))
    assert await book.issue(12, NOW + timedelta(days=3)) is None


@pytest.mark.parametrize("more", [{"notes": "wet soil"}, {"customer_note": "Gate open."}])
async def test_a_note_alone_issues_no_version(book: Book, more: dict[str, str]):
    await book.visit(11, la(1, 10), 40)
    await book.issue(11)
    await book.visit(11, la(1, 10), 40, if_match='"1"', amend_reason="a note", **more)
    assert await book.issue(11) is None


# The claim cases, end to end --------------------------------------------------------------------------------
async def claim_of(book: Book, number: int) -> tuple[int, str, bool, bool]:
    """(version, from, by us, known) of a visit's record."""
    record = await book.latest(number)
    by_us, known = (record["content"][one] for one in ("pesticide_free_by_us", "pesticide_known_at_property"))
    return record["version"], by_us["from_at"], by_us["free"], known["free"]


async def test_a_treatment_a_late_visit_and_a_withdrawal_make_the_versions_they_should(book: Book):
    await book.set_up(issue="on_receipt")
    await book.visit(11, la(1, 10), 40)
    await book.visit(12, la(8, 10), 30)
    await book.work()
    await book.work(QUIET)
    later = NOW + timedelta(hours=1)
    await book.visit(13, la(12, 9), 20, now=later, treatments=[castor_oil()])
    await book.work(later)
    assert await claim_of(book, 12) == (1, "2026-05-01T17:00:00Z", True, True)
    await book.work(later + timedelta(minutes=10))
    assert await claim_of(book, 12) == (2, "2026-05-01T17:00:00Z", True, False)
    assert (await claim_of(book, 11))[0] == (await claim_of(book, 13))[0] == 1
    assert "castor oil" in (await book.latest(12))["content"]["statement"]

    later += timedelta(hours=1)
    await book.visit(14, la(4, 10), 15, now=later)
    await book.work(later)
    await book.work(later + timedelta(minutes=10))
    assert await claim_of(book, 12) == (3, "2026-05-04T17:00:00Z", True, False)
    assert await claim_of(book, 14) == (1, "2026-05-01T17:00:00Z", True, True)
    assert (await claim_of(book, 11))[0] == (await claim_of(book, 13))[0] == 1

    later += timedelta(hours=1)
    await book.withdraw(13, later)
    await book.work(later + timedelta(minutes=10))
    assert await claim_of(book, 12) == (4, "2026-05-04T17:00:00Z", True, True)
    gone = await book.latest(13)
    assert (gone["version"], gone["content"]["kind"]) == (2, "withdrawn")
    [row] = await book.rows(
        "select withdrawn from service_record where visit_id = $1 and version = 2", an_id(13)
    )
    assert row["withdrawn"]


async def test_the_latest_content_is_the_same_for_every_order_of_arrival(book: Book):
    visits: dict[int, dict[str, Any]] = {
        11: {"arrived_at": la(1, 10), "sets": [a_set(31, la(1, 10, 5)), a_set(32, la(1, 10, 6))]},
        12: {"arrived_at": la(8, 10), "checks": [a_check(41, 31, la(8, 10, 5), action="pulled")]},
        13: {
            "arrived_at": la(12, 9),
            "treatments": [castor_oil()],
            "checks": [a_check(42, 32, la(12, 9, 5))],
        },
    }
    await book.set_up(issue="on_receipt")
    found = set()
    for turn, order in enumerate(itertools.permutations(visits)):
        now = NOW + timedelta(days=turn)
        # each turn before left two versions: the visit, and its withdrawal
        tag = f'"{2 * turn}"' if turn else None
        for number in order:
            await book.visit(number, minutes=20, now=now, if_match=tag, **visits[number])
            await book.work(now)
            now += timedelta(minutes=5)
        await book.work(now + timedelta(minutes=10))
        rows = await book.rows(
            "select distinct on (visit_id) visit_id, content_sha256 from service_record "
            "order by visit_id, version desc"
        )
        found.add(tuple((row["visit_id"], row["content_sha256"]) for row in rows))
        for number in visits:
            await book.withdraw(number, now)
        await book.work(now + timedelta(minutes=20))
    assert len(found) == 1


# When -------------------------------------------------------------------------------------------------------
async def test_after_a_hold_the_record_goes_out_and_not_before(book: Book):
    await book.set_up(issue="after_hold", hold_hours=24)
    await book.visit(11, la(1, 10), 40)
    over = NOW + timedelta(hours=24)
    await book.visit(11, la(1, 10), 45, now=over - timedelta(hours=1), if_match='"1"')
    await book.work(over - timedelta(seconds=1))
    assert await book.versions() == []
    await book.work(over)
    assert await book.versions() == [("2026-000001", 1, 11)]
    assert (await book.latest(11))["basis"]["rests_on"][0]["version"] == 2


async def test_a_record_that_the_office_issued_before_the_hold_is_over_stays_the_only_one(book: Book):
    await book.set_up(issue="after_hold", hold_hours=1)
    await book.visit(11, la(1, 10), 40)
    await book.issue(11)
    await book.work(QUIET)
    await book.visit(11, la(1, 10), 45, now=NOW + timedelta(minutes=55), if_match='"1"')
    await book.work(NOW + timedelta(hours=1))
    assert len(await book.versions()) == 1
    await book.work(NOW + timedelta(minutes=65))
    assert [version for _, version, _ in await book.versions()] == [1, 2]


async def test_by_the_office_nothing_goes_out_by_itself_but_new_versions_do(book: Book):
    await book.visit(11, la(1, 10), 40)
    await book.work(NOW + timedelta(days=2))
    assert await book.versions() == []
    await book.issue(11, NOW + timedelta(days=2))
    await book.visit(11, la(1, 10), 45, now=NOW + timedelta(days=3), if_match='"1"')
    await book.work(NOW + timedelta(days=3, minutes=10))
    assert await book.versions() == [("2026-000001", 1, 11), ("2026-000001", 2, 11)]


async def test_each_later_change_moves_the_comparison_but_not_beyond_an_hour(book: Book):
    await book.set_up(issue="on_receipt")
    await book.visit(11, la(1, 10), 40)
    await book.work()
    tag = 1
    for minutes in range(9, 60, 9):
        now = NOW + minutes * MINUTE
        await book.visit(11, la(1, 10), 40 + minutes, now=now, if_match=f'"{tag}"')
        await book.work(now)
        tag += 1
    await book.work(NOW + 60 * MINUTE - timedelta(seconds=1))
    assert len(await book.versions()) == 1
    await book.work(NOW + 60 * MINUTE)
    assert len(await book.versions()) == 2


async def test_more_visits_than_fit_into_one_transaction_are_all_compared(book: Book, monkeypatch):
    monkeypatch.setattr("service.records.ticks.MOST_AT_ONCE", 2)
    numbers = range(100, 105)
    for number in numbers:
        await book.visit(number, la(1, 10) + (number % 2) * MINUTE + (number // 2) * MINUTE, 5)
        await book.issue(number)
    await book.owner.execute("update property set zone = 'America/New_York'")
    await book.visit(99, la(1, 9), 5)
    for _ in numbers:
        await book.work(QUIET)
    assert {version for _, version, _ in await book.versions()} == {1, 2}
    assert len(await book.versions()) == 2 * len(numbers)
    assert await book.rows("select * from work where kind = 'records_anew'") == []
