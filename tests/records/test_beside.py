"""What stands around a record's content: whose property it was, what is awaited, and what may never change."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import asyncpg
import pytest

from service.customers.door import CUSTOMER
from service.customers.models import NewCustomer
from service.events.outbox import entry
from service.properties.door import TENURE
from service.properties.models import NewTenure
from service.records.actions import issue_month
from service.stated import door as stated
from tests.http import SEALING_KEY
from tests.records.book import an_id, la
from tests.records.conftest import BUSINESS, CUSTOMER_ID, NOW, PROPERTY_ID, Book

JUNE = datetime(2026, 6, 2, 16, tzinfo=UTC)
NEXT_HOLDER = an_id(9)


async def month(book: Book, first_on: date) -> dict[str, Any]:
    """The row of the month's record, issued in June."""
    async with entry(book.pool, BUSINESS, JUNE) as opened:
        await issue_month(opened, SEALING_KEY, PROPERTY_ID, first_on)
    [row] = await book.rows("select * from service_record where month_on = $1", first_on)
    return row


async def test_a_month_is_of_who_held_the_property_last_in_it(book: Book) -> None:
    """The school until 12 May, half-open; nobody for a week; another from the 20th on."""
    async with entry(book.pool, BUSINESS, NOW) as opened:
        await stated.put(opened, CUSTOMER, NEXT_HOLDER, NewCustomer(name="B. Buyer", addresses=[]), None)
        held = NewTenure(customer_id=NEXT_HOLDER, from_on=date(2026, 5, 20))
        await stated.put(opened, TENURE, an_id(10), held, None, PROPERTY_ID)
    found = {day: (await month(book, day))["customer_id"] for day in (date(2026, 4, 1), date(2026, 5, 1))}
    assert found == {date(2026, 4, 1): CUSTOMER_ID, date(2026, 5, 1): NEXT_HOLDER}
    assert (await month(book, date(2025, 12, 1)))["customer_id"] is None


async def test_a_customer_who_left_within_the_month_held_it_last(book: Book) -> None:
    row = await month(book, date(2026, 5, 1))
    assert (row["customer_id"], row["party"]["customer_name"]) == (CUSTOMER_ID, "Alder Court School")


async def test_sets_and_signs_that_a_placing_names_are_awaited_too(book: Book) -> None:
    placed = {"id": an_id(31), "placed_at": la(8, 10), "mechanism": "box", "traps": [{"no": 1}]}
    await book.visit(
        12, la(8, 10), 30, sets=[{**placed, "sign_id": an_id(61), "moved_from_set_id": an_id(30)}]
    )
    await book.issue(12)
    awaited = [{"noun": "set", "id": str(an_id(30))}, {"noun": "sign", "id": str(an_id(61))}]
    assert (await book.latest(12))["basis"]["awaited"] == awaited
    row = await month(book, date(2026, 5, 1))
    assert (
        f'"awaited":[{{"id":"{an_id(30)}","noun":"set"}},{{"id":"{an_id(61)}","noun":"sign"}}]'
        in row["bytes"]
    )


async def test_a_month_says_how_late_each_of_its_visits_came(book: Book) -> None:
    await book.visit(12, la(8, 10), 30, now=la(8, 13, 45))
    row = await month(book, date(2026, 5, 1))
    assert '"late_by":"PT3H15M0S"' in row["bytes"]
    assert '"received_at":"2026-05-08T20:45:00Z"' in row["bytes"]


@pytest.mark.parametrize(
    "column",
    ["bytes", "number", "sha256", "signature", "content_sha256", "withdrawn", "issued_at", "sequence"],
)
async def test_whoever_works_in_the_book_cannot_change_what_was_issued(book: Book, column: str) -> None:
    await book.visit(12, la(8, 10), 30)
    await book.issue(12)
    before = await book.rows("select * from service_record")
    with pytest.raises(asyncpg.InsufficientPrivilegeError):
        await book.pool.execute(f"update service_record set {column} = {column}")  # noqa: S608 names of columns
    with pytest.raises(asyncpg.InsufficientPrivilegeError):
        await book.pool.execute("delete from service_record")
    assert await book.rows("select * from service_record") == before


async def test_a_visit_moved_to_another_month_makes_a_version_of_both(book: Book) -> None:
    await book.visit(12, la(1, 10), 30)
    april, may = date(2026, 4, 1), date(2026, 5, 1)
    await month(book, april)
    await month(book, may)
    await book.visit(
        12, la(1, 10) - timedelta(days=2), 30, if_match='"1"', now=JUNE, amend_reason="the wrong day"
    )
    await book.work(JUNE + timedelta(minutes=10))
    rows = await book.rows(
        "select to_char(month_on, 'MM') as month, version, "
        " jsonb_array_length(bytes::jsonb #> '{content,visits}') as visits"
        " from service_record where month_on is not null order by month_on, version"
    )
    assert [tuple(row.values()) for row in rows] == [("04", 1, 0), ("04", 2, 1), ("05", 1, 1), ("05", 2, 0)]
