"""The report over HTTP, from visits as a phone sends them: each catch once, by its own local date."""

import csv
import io
from collections import Counter
from datetime import date, datetime, timedelta
from typing import Any

import pytest

from tests.bodies import a_check, a_set, a_visit, an_id
from tests.http import Api, Clock, a_property

WEST, EAST, FAR, PERMIT, JOB = an_id(1), an_id(110), an_id(111), an_id(60), an_id(61)
COAST, GOPHER, VOLE = "Scapanus orarius", "Thomomys bottae", "Microtus californicus"
SETS = {"box": an_id(301), "scissor_jaw": an_id(302)}
ONE_DAY = timedelta(days=1)


def catch(number: int, caught_at: str, **members: Any) -> dict[str, Any]:
    """An animal taken by hand."""
    animal = {"species": COAST, "sex": "male", "fate": "dispatched", "method": "by hand"}
    return {**animal, "id": an_id(number), "caught_at": caught_at, **members}


def caught(number: int, **members: Any) -> dict[str, Any]:
    """An animal found in a set."""
    return {"id": an_id(number), "species": COAST, "sex": "female", "fate": "dead_in_trap", **members}


def check(number: int, set_id: str, checked_at: str, *catches: dict[str, Any]) -> dict[str, Any]:
    """A look that found these animals."""
    return a_check(
        id=an_id(number), set_id=set_id, checked_at=checked_at, finding="catch", catches=list(catches)
    )


async def ask(api: Api, query: str) -> Any:
    """The report."""
    answer = await api.get(f"animals-taken?{query}")
    assert answer.status_code == 200, answer.text
    return answer.json()


async def ids(api: Api, first: date, end: date, more: str = "") -> Counter[str]:
    """Every catch of the report, as often as it stands there."""
    found = await ask(api, f"from={first}&until={end}{more}")
    assert found["total"] == sum(row["count"] for row in found["rows"])
    assert all(row["count"] == len(row["catch_ids"]) for row in found["rows"])
    return Counter(one for row in found["rows"] for one in row["catch_ids"])


@pytest.fixture
async def book(api: Api, clock: Clock) -> Api:
    """Three properties: Los Angeles' zone, New York's, and Kiritimati's; catches round the turn of the year.

    The permit is for coast moles, 20 of them, and its job stands at the first property from 2026 on.
    """
    clock.now = datetime.fromisoformat("2026-05-14T18:00:00Z")
    await api.patch(f"properties/{WEST}", {"county": "Lane", "region": "US-OR"}, If_Match='"1"')
    await api.made(f"properties/{EAST}", a_property(zone="America/New_York", region="US-NY", county="Orange"))
    await api.made(f"properties/{FAR}", a_property(zone="Pacific/Kiritimati", region="KI"))
    permit = {"number": "17", "authority": "State", "region": "XX", "from_on": "2026-01-01", "quota": 20}
    periods = [{"ends": "06-30", "due": "07-31"}, {"ends": "12-31", "due": "01-31"}]
    await api.made(
        f"permits/{PERMIT}", {**permit, "species": [COAST], "report_periods": periods, "report_nil": True}
    )
    job = {"property_id": WEST, "target": COAST, "permit_id": PERMIT, "opened_at": "2026-01-01T08:00:00Z"}
    await api.made(f"jobs/{JOB}", job)
    before = a_visit(
        arrived_at="2025-12-31T21:00:00-08:00",
        sets=[
            a_set(id=set_id, mechanism=mechanism, placed_at="2025-12-31T21:00:00-08:00")
            for mechanism, set_id in SETS.items()
        ],
        # the last and the first second of the year, by the clocks of the property
        catches=[catch(501, "2025-12-31T23:59:59-08:00"), catch(502, "2026-01-01T00:00:00-08:00")],
    )
    await api.made(f"visits/{an_id(201)}", before)
    under = a_visit(
        arrived_at="2026-01-05T09:00:00-08:00",
        checks=[
            check(
                401, SETS["box"], "2026-01-05T09:10:00-08:00", caught(503), caught(504), caught(505, sex=None)
            ),
            check(
                402, SETS["scissor_jaw"], "2026-01-05T09:20:00-08:00", caught(506), caught(507, species=VOLE)
            ),
            check(403, an_id(399), "2026-01-05T09:30:00-08:00", caught(508, sex="unknown")),
        ],
        catches=[catch(509, "2026-01-05T09:40:00-08:00", fate="escaped")],
    )
    await api.made(f"visits/{an_id(202)}", under)
    east = a_visit(
        property_id=EAST,
        arrived_at="2026-01-01T03:00:00Z",
        catches=[
            catch(510, "2026-01-01T04:59:59Z", species=GOPHER),
            catch(511, "2026-01-01T05:00:00Z", species=GOPHER),
        ],
    )
    await api.made(f"visits/{an_id(203)}", east)
    far = a_visit(
        property_id=FAR,
        arrived_at="2025-12-31T09:00:00Z",
        catches=[catch(512, "2025-12-31T09:59:59Z"), catch(513, "2025-12-31T10:00:00Z")],
    )
    await api.made(f"visits/{an_id(204)}", far)
    return api


ALL = {an_id(number) for number in range(501, 514)}
# by hand: 501 and 510 lie in the last second of 2025 by their clocks, 512 too
OF_2026 = ALL - {an_id(501), an_id(510), an_id(512)}


async def test_the_figures_of_a_year_by_hand(book: Api) -> None:
    found = await ask(book, "from=2026-01-01&until=2027-01-01")
    rows = [
        (
            row["species"],
            row["sex"],
            row["region"],
            row["county"],
            row["mechanism"],
            row["fate"],
            row["count"],
        )
        for row in found["rows"]
    ]
    assert rows == [
        (VOLE, "female", "US-OR", "Lane", "scissor_jaw", "dead_in_trap", 1),
        (COAST, "female", "US-OR", "Lane", "box", "dead_in_trap", 2),
        (COAST, "female", "US-OR", "Lane", "scissor_jaw", "dead_in_trap", 1),
        (COAST, "male", "KI", None, "by hand", "dispatched", 1),
        (COAST, "male", "US-OR", "Lane", "by hand", "dispatched", 1),
        (COAST, "male", "US-OR", "Lane", "by hand", "escaped", 1),
        (COAST, "unknown", "US-OR", "Lane", "box", "dead_in_trap", 1),
        # the set of that look is not in the book
        (COAST, "unknown", "US-OR", "Lane", "unknown", "dead_in_trap", 1),
        (GOPHER, "male", "US-NY", "Orange", "by hand", "dispatched", 1),
    ]
    assert found["rows"][1]["catch_ids"] == [an_id(503), an_id(504)]
    assert (found["total"], found["nil"], found["permit"], found["as_of"]) == (
        10, False, None, "2026-05-14T18:00:00Z",
    )  # fmt: skip
    assert found["sentence"] == "10 animals were taken from 2026-01-01 to 2026-12-31."
    assert found["notice"].startswith("Local codes and licensed practice come first.")


async def test_a_catch_belongs_to_its_own_local_date(book: Api) -> None:
    assert set(await ids(book, date(2026, 1, 1), date(2027, 1, 1))) == OF_2026
    assert set(await ids(book, date(2025, 12, 31), date(2026, 1, 1))) == ALL - OF_2026


async def test_each_catch_is_counted_once_however_the_dates_are_split(book: Api) -> None:
    first, end = date(2025, 12, 29), date(2026, 1, 8)
    whole = await ids(book, first, end)
    assert whole == Counter(ALL)
    by_day = {
        day: await ids(book, day, day + ONE_DAY) for day in (first + number * ONE_DAY for number in range(10))
    }
    assert sum(by_day.values(), Counter()) == whole
    for day in list(by_day)[1:]:
        assert await ids(book, first, day) + await ids(book, day, end) == whole


async def test_a_region_holds_its_parts(book: Api) -> None:
    year = date(2026, 1, 1), date(2027, 1, 1)
    assert set(await ids(book, *year, "&region=US-NY")) == {an_id(511)}
    assert set(await ids(book, *year, "&region=US")) == OF_2026 - {an_id(513)}
    assert set(await ids(book, *year, "&region=KI")) == {an_id(513)}
    nothing = await ask(book, "from=2026-01-01&until=2027-01-01&region=US-O")
    assert (nothing["total"], nothing["nil"], nothing["region"]) == (0, True, "US-O")


async def test_a_permit_holds_the_catches_of_its_jobs_beside_its_quota_and_periods(book: Api) -> None:
    found = await ask(book, f"from=2026-01-01&until=2026-07-02&permit={PERMIT}")
    # the visit of the last evening of 2025 arrived before the job was opened
    assert {one for row in found["rows"] for one in row["catch_ids"]} == {
        an_id(number) for number in range(503, 510)
    }
    assert found["permit"] == {
        "id": PERMIT,
        "number": "17",
        "authority": "State",
        "region": "XX",
        "from_on": "2026-01-01",
        "until_on": None,
        "quota": 20,
        # five coast moles: neither the vole nor the one that escaped
        "taken": 5,
        "left": 15,
        "nil_due": True,
        "periods": [
            {"first_on": "2026-01-01", "last_on": "2026-06-30", "due_on": "2026-07-31", "sent_on": None},
            {"first_on": "2026-07-01", "last_on": "2026-12-31", "due_on": "2027-01-31", "sent_on": None},
        ],
    }
    assert found["sentence"] == "7 animals were taken from 2026-01-01 to 2026-07-01 under permit 17."
    later = await ask(book, f"from=2026-02-01&until=2026-07-01&permit={PERMIT}")
    assert (later["nil"], later["permit"]["taken"]) == (True, 5)
    assert later["sentence"].endswith("this is a nil report, and one is due.")


async def test_another_permit_or_a_business_without_any_catch_has_a_nil_report(
    book: Api, two: tuple[Api, Api]
) -> None:
    permit = {"number": "18", "authority": "State", "region": "XX", "from_on": "2026-01-01"}
    await book.made(f"permits/{an_id(62)}", permit)
    found = await ask(book, f"from=2026-01-01&until=2027-01-01&permit={an_id(62)}")
    assert (found["total"], found["nil"], found["rows"]) == (0, True, [])
    assert (found["permit"]["quota"], found["permit"]["left"], found["permit"]["periods"]) == (None, None, [])
    nothing = await ask(two[1], "from=2026-01-01&until=2027-01-01")
    assert (nothing["nil"], nothing["sentence"]) == (
        True, "No animal was taken from 2026-01-01 to 2026-12-31: this is a nil report.",
    )  # fmt: skip


async def test_the_quota_counts_the_time_in_which_the_permit_holds(book: Api) -> None:
    await book.patch(f"permits/{PERMIT}", {"from_on": "2026-01-06"}, If_Match='"1"')
    found = await ask(book, f"from=2026-01-01&until=2027-01-01&permit={PERMIT}")
    assert (found["total"], found["permit"]["taken"]) == (7, 0)
    await book.patch(f"permits/{PERMIT}", {"from_on": "2026-01-05", "until_on": "2026-01-06"}, If_Match='"2"')
    assert (await ask(book, f"from=2026-01-01&until=2027-01-01&permit={PERMIT}"))["permit"]["taken"] == 5


async def test_a_withdrawn_visit_and_a_changed_county_follow_at_once(book: Api) -> None:
    await book.delete(f"visits/{an_id(203)}", If_Match='"1"')
    assert set(await ids(book, date(2025, 1, 1), date(2027, 1, 1))) == ALL - {an_id(510), an_id(511)}
    await book.patch(f"properties/{FAR}", {"county": "Line"}, If_Match='"1"')
    found = await ask(book, "from=2025-12-01&until=2027-01-01&region=KI")
    assert [(row["county"], row["count"]) for row in found["rows"]] == [("Line", 2)]


async def test_csv_says_the_same(book: Api) -> None:
    query = f"from=2026-01-01&until=2027-01-01&permit={PERMIT}"
    shown = await ask(book, query)
    answer = await book.get(f"animals-taken?{query}", Accept="text/csv")
    assert answer.headers["content-type"] == "text/csv; header=present; charset=utf-8"
    assert all(line.endswith("\r") for line in answer.text.split("\n")[:-1])
    rows = list(csv.DictReader(io.StringIO(answer.text, newline=""), strict=True))
    assert [{**row, "county": row["county"] or None} for row in rows] == [
        {
            "from_on": "2026-01-01",
            "until_on": "2027-01-01",
            **{name: row[name] for name in ("species", "sex", "fate", "region", "county", "mechanism")},
            "count": str(row["count"]),
            "catch_ids": " ".join(row["catch_ids"]),
            "permit": "17",
            "authority": "State",
        }
        for row in shown["rows"]
    ]


@pytest.mark.parametrize(
    ("accept", "media"),
    [("*/*", "application/json"), ("application/json", "application/json"), ("text/csv;q=0.5", "text/csv")],
)
async def test_accept_says_which_form(api: Api, accept: str, media: str) -> None:
    answer = await api.get("animals-taken?from=2026-01-01&until=2027-01-01", Accept=accept)
    assert (answer.status_code, answer.headers["content-type"].partition(";")[0]) == (200, media)
    other = await api.get("animals-taken?from=2026-01-01&until=2027-01-01", Accept="text/html")
    assert (other.status_code, other.json()["type"]) == (406, "/problems/not_acceptable")
    assert "application/json or text/csv" in other.json()["detail"]


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("from=2026-01-01&until=2026-01-01", "`until` is exclusive and must come after `from`"),
        ("from=2026-01-02&until=2026-01-01", "2026-01-01 does not come after 2026-01-02"),
        ("from=yesterday&until=2026-01-01", "from"),
        ("from=2026-02-30&until=2026-03-01", "from"),
        ("until=2026-01-01", "from"),
        ("from=2026-01-01", "until"),
        ("from=2026-01-01&until=2026-02-01&region=Oregon", "`region` is an ISO 3166-2 code such as US-OR"),
        ("from=2026-01-01&until=2026-02-01&permit=17", "permit"),
        ("from=2026-01-01&until=2026-02-01&species=x", "There is no parameter 'species' here"),
    ],
)
async def test_what_cannot_be_asked_is_400_in_one_sentence(api: Api, query: str, said: str) -> None:
    refused = await api.get(f"animals-taken?{query}")
    assert refused.status_code == 400
    assert said in refused.json()["detail"]


async def test_a_permit_that_is_not_in_the_book_is_404_whoever_else_has_it(
    book: Api, two: tuple[Api, Api]
) -> None:
    query = f"animals-taken?from=2026-01-01&until=2027-01-01&permit={PERMIT}"
    foreign, unknown = await two[1].get(query), await book.get(query.replace(PERMIT, an_id(99)))
    assert (foreign.status_code, foreign.json()) == (404, unknown.json())
    assert foreign.json()["detail"] == (
        "This permit is not in your book; check the id and the key's business."
    )


async def test_the_scope_is_read(book: Api) -> None:
    query = "animals-taken?from=2026-01-01&until=2027-01-01"
    assert (await (await book.key_with("read")).get(query)).status_code == 200
    assert (await (await book.key_with("record", "office")).get(query)).status_code == 403
