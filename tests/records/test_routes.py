"""The promises of /v1/service-records, over HTTP."""

import asyncio
import base64
import csv
import hashlib
import io
import json
from datetime import timedelta
from typing import Any

import pytest

from service.kernel.db import Pool
from service.records.ticks import handlers
from service.work import ticks as work
from tests.bodies import NOW, a_visit, an_id
from tests.http import PROPERTY, SEALING_KEY, Api, Clock


def visit_on(day: int, **more: Any) -> dict[str, Any]:
    """Twenty minutes from ten o'clock on a day of May 2026 in Los Angeles."""
    return a_visit(
        arrived_at=f"2026-05-{day:02}T10:00:00-07:00", left_at=f"2026-05-{day:02}T10:20:00-07:00", **more
    )


def oil(number: int, day: int, **more: Any) -> dict[str, Any]:
    """A treatment at nine on that day, by the customer unless said otherwise."""
    at = f"2026-05-{day:02}T09:00:00-07:00"
    return {"id": an_id(number), "method": "castor_oil", "applied_at": at, "applied_by": "customer", **more}


async def issue(api: Api, number: int) -> dict[str, Any]:
    answer = await api.post("service-records", {"visit_id": an_id(number)})
    assert answer.status_code in (200, 201), answer.text
    return dict(answer.json()["record"])


def digest_of(signed: bytes) -> str:
    """SHA-256, in hex, of the record inside a signed record, whose members are written in order."""
    return hashlib.sha256(signed.partition(b'"record":')[2].rpartition(b',"sha256":')[0]).hexdigest()


@pytest.fixture
async def five(api: Api) -> Api:
    """Records 1 to 5 of visits on five days; a treatment by others on the third day, by us on the fifth."""
    for day in range(1, 6):
        more = {3: {"treatments": [oil(203, 3)]}, 5: {"treatments": [oil(205, 5, applied_by="us")]}}.get(
            day, {}
        )
        await api.made(f"visits/{an_id(100 + day)}", visit_on(day, **more))
        await issue(api, 100 + day)
    return api


async def test_the_year_with_all_numbers_given_refuses_a_new_record_and_takes_further_versions(
    api: Api, pool: Pool
):
    for day in (1, 2, 3):
        await api.made(f"visits/{an_id(100 + day)}", visit_on(day))
    await issue(api, 101)
    # as after 999,998 records: nobody issues as many here
    async with pool.acquire() as connection, connection.transaction():
        await connection.execute("select set_config('setbook.business_id', $1, true)", str(api.business_id))
        await connection.execute("update counter set value = 999998 where name = 'record/2026'")
    assert (await issue(api, 102))["number"] == "2026-999999"
    for _ in range(2):
        refused = await api.post("service-records", {"visit_id": an_id(103)})
        assert refused.status_code == 409
        assert refused.json()["detail"].startswith(
            "All 999,999 numbers of 2026 are given; a new record can be issued from 1 January 2027 on"
        )
    await api.put(f"visits/{an_id(102)}", visit_on(2, treatments_none=True), If_Match='"1"')
    further = await issue(api, 102)
    assert (further["number"], further["version"]) == ("2026-999999", 2)


def numbers(records: list[dict[str, Any]]) -> list[str]:
    plain = [one.get("record", one) for one in records]
    return [f"{one['number'].removeprefix('2026-00000')}.{one['version']}" for one in plain]


async def ndjson(api: Api, query: str = "") -> tuple[list[dict[str, Any]], dict[str, Any]]:
    """Records and closing line, its count and digest checked."""
    answer = await api.get(f"service-records?format=ndjson{query}")
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "application/x-ndjson"
    *lines, closing = answer.content.splitlines(keepends=True)
    told = json.loads(closing)
    assert told["closing"] is True
    assert told["count"] == len(lines)
    assert told["sha256"] == hashlib.sha256(b"".join(lines)).hexdigest()
    of_itself = closing.rpartition(b',"closing_sha256":')[0]
    assert told["closing_sha256"] == hashlib.sha256(of_itself).hexdigest()
    return [json.loads(line) for line in lines], told


async def table(api: Api, query: str = "") -> list[dict[str, str]]:
    answer = await api.get(f"service-records?format=csv{query}")
    assert answer.status_code == 200, answer.text
    return list(csv.DictReader(io.StringIO(answer.text, newline="")))


# One record -----------------------------------------------------------------------------------------------
async def test_a_record_is_issued_once_and_given_again_while_nothing_changed(api: Api):
    await api.made(f"visits/{an_id(101)}", visit_on(1))
    first = await api.post("service-records", {"visit_id": an_id(101)})
    again = await api.post("service-records", {"visit_id": an_id(101)})
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.headers["location"] == "/v1/service-records/2026-000001.1"
    assert first.content == again.content
    assert first.headers["etag"] == f'"{digest_of(first.content)}"'


async def test_the_immutable_bytes_stay_after_a_further_version(api: Api):
    await api.made(f"visits/{an_id(101)}", visit_on(1))
    first = (await api.post("service-records", {"visit_id": an_id(101)})).content
    await api.put(f"visits/{an_id(101)}", visit_on(1, treatments_none=True), If_Match='"1"')
    second = await issue(api, 101)
    assert second["replaces"] == "2026-000001.1"
    answer = await api.get("service-records/2026-000001.1")
    assert answer.content == first
    digest = base64.b64encode(hashlib.sha256(first).digest()).decode()
    assert answer.headers["repr-digest"] == f"sha-256=:{digest}:"
    assert answer.headers["etag"] == f'"{digest_of(first)}"'
    unchanged = await api.get("service-records/2026-000001.1", If_None_Match=answer.headers["etag"])
    assert (unchanged.status_code, unchanged.content) == (304, b"")
    versions = (await api.get("service-records/2026-000001")).json()
    assert [one["version"] for one in versions["versions"]] == [1, 2]
    assert versions["versions"][0]["sha256"] == digest_of(first)


async def test_the_persons_stand_beside_the_record_on_request_and_nowhere_else(api: Api):
    await api.made(f"visits/{an_id(101)}", visit_on(1, customer_note="Gate closed again."))
    await issue(api, 101)
    with_party = (await api.get("service-records/2026-000001.1?party=true")).json()
    assert with_party["party"]["worker_names"] == ["R. Example"]
    assert with_party["party"]["customer_note"] == "Gate closed again."
    canonical = json.dumps(
        with_party["party"], sort_keys=True, separators=(",", ":"), ensure_ascii=False
    ).encode()
    assert with_party["record"]["party_hash"] == hashlib.sha256(canonical).hexdigest()
    for path in ("service-records/2026-000001.1", "service-records", "service-records?format=csv"):
        assert "Example" not in (await api.get(path)).text


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("service-records/2026-000001", 404),
        ("service-records/2026-000001.1", 404),
        ("service-records/2026-000001.0", 404),
        ("service-records/nonsense", 404),
        ("service-records?format=pdf", 406),
        ("service-records?month=2026-13", 400),
        ("service-records?since=yesterday", 400),
        ("service-records?claim=pure", 400),
        ("service-records?after=x", 400),
        ("service-records?limit=0", 400),
    ],
)
async def test_what_cannot_be_answered_says_in_a_sentence_what_to_mend(api: Api, path: str, status: int):
    answer = await api.get(path)
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    assert len(answer.json()["detail"]) > 20


async def test_a_visit_unknown_or_withdrawn_before_its_record_has_none(api: Api):
    assert (await api.post("service-records", {"visit_id": an_id(9)})).status_code == 404
    await api.made(f"visits/{an_id(101)}", visit_on(1))
    await api.delete(f"visits/{an_id(101)}", If_Match='"1"')
    assert (await api.post("service-records", {"visit_id": an_id(101)})).status_code == 409
    assert (await api.post("service-records", {"visit": 1})).status_code == 422


async def test_another_business_finds_nothing_and_a_phone_issues_nothing(five: Api, other: Api):
    assert (await other.get("service-records/2026-000001.1")).status_code == 404
    assert (await other.get("service-records/2026-000001")).status_code == 404
    assert await other.items("service-records") == []
    assert (await other.post("service-records", {"visit_id": an_id(101)})).status_code == 404
    phone = await five.key_with("record", "read")
    assert (await phone.post("service-records", {"visit_id": an_id(101)})).status_code == 403


# Lists ----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("query", "found"),
    [
        ("", ["1.1", "2.1", "3.1", "4.1", "5.1"]),
        ("&since=2026-05-02&until=2026-05-04", ["2.1", "3.1"]),
        ("&month=2026-05&since=2026-05-04", ["4.1", "5.1"]),
        ("&month=2026-04", []),
        ("&claim=by_us", ["1.1", "2.1", "3.1", "4.1"]),
        ("&claim=known", ["1.1", "2.1", "4.1"]),
        (f"&property_id={PROPERTY}", ["1.1", "2.1", "3.1", "4.1", "5.1"]),
        (f"&property_id={an_id(77)}", []),
        (f"&customer_id={an_id(77)}", []),
    ],
)
async def test_every_form_lists_the_same_records(five: Api, query: str, found: list[str]):
    assert numbers(await five.items(f"service-records?{query[1:]}")) == found
    assert numbers((await ndjson(five, query))[0]) == found
    assert numbers(await table(five, query)) == found  # type: ignore[arg-type]


async def test_what_a_claim_leaves_out_is_listed_with_the_reason(five: Api):
    page = (await five.get("service-records?claim=known")).json()
    _, closing = await ndjson(five, "&claim=known")
    assert numbers(page["excluded"]) == numbers(closing["excluded"]) == ["3.1", "5.1"]
    assert page["excluded"] == closing["excluded"]
    for one in page["excluded"]:
        record = (await five.get(f"service-records/{one['number']}.{one['version']}")).json()["record"]
        assert one["why"] == record["content"]["pesticide_known_at_property"]["why"]
        assert "castor oil" in one["why"]
    assert (await five.get("service-records")).json()["excluded"] == []


async def test_records_in_a_list_are_the_bytes_that_were_hashed(five: Api):
    whole = (await five.get("service-records/2026-000003.1")).content
    assert whole in (await five.get("service-records")).content
    assert whole + b"\n" in (await five.get("service-records?format=ndjson")).content


async def test_pages_walk_the_latest_versions_as_of_the_first_page(five: Api):
    first = await five.get("service-records?limit=2")
    assert numbers(first.json()["items"]) == ["1.1", "2.1"]
    await five.put(f"visits/{an_id(104)}", visit_on(4, treatments_none=True), If_Match='"1"')
    await issue(five, 104)
    second = await five.get(first.headers["link"].partition(">")[0][1:])
    assert numbers(second.json()["items"]) == ["3.1", "4.1"]
    third = await five.get(f"service-records?limit=2&after={second.json()['next']}")
    assert numbers(third.json()["items"]) == ["5.1"]
    assert "link" not in third.headers
    news = await five.get(f"service-records?after={third.json()['next']}")
    assert numbers(news.json()["items"]) == ["4.2"]


async def test_an_empty_cursor_walks_every_version_from_the_beginning(five: Api):
    await five.put(f"visits/{an_id(101)}", visit_on(1, treatments_none=True), If_Match='"1"')
    await issue(five, 101)
    assert numbers(await five.items("service-records?after=")) == ["1.1", "2.1", "3.1", "4.1", "5.1", "1.2"]
    assert numbers((await ndjson(five, "&after="))[0]) == ["1.1", "2.1", "3.1", "4.1", "5.1", "1.2"]
    assert numbers(await five.items("service-records")) == ["2.1", "3.1", "4.1", "5.1", "1.2"]


async def test_a_puller_sees_every_version_once_while_others_issue(api: Api):
    days = range(1, 13)
    for day in days:
        await api.made(f"visits/{an_id(100 + day)}", visit_on(day))
    seen: list[str] = []
    cursor = ""

    async def pull() -> None:
        nonlocal cursor
        records, closing = await ndjson(api, f"&after={cursor}")
        seen.extend(numbers(records))
        cursor = closing["next"]

    for some in (days[:4], days[4:8], days[8:]):
        await asyncio.gather(pull_while(pull), *(issue(api, 100 + day) for day in some))
    await pull()
    assert len(seen) == len(days)
    assert len(set(seen)) == len(days)


async def pull_while(pull: Any) -> None:
    for _ in range(3):
        await pull()


async def test_more_than_a_page_streams_whole(api: Api, monkeypatch: pytest.MonkeyPatch):
    for most in ("SELECTED", "FIRST", "MOST"):
        monkeypatch.setattr(f"service.exports.portions.{most}", 2)
    for day in range(1, 6):
        await api.made(
            f"visits/{an_id(100 + day)}",
            visit_on(day, treatments=[oil(200 + day, day, applied_at=f"2026-05-{day:02}T17:05:00Z")]),
        )
        await issue(api, 100 + day)
    records, closing = await ndjson(api, "&claim=known")
    assert numbers(records) == []
    assert numbers(closing["excluded"]) == [f"{day}.1" for day in range(1, 6)]
    assert len((await ndjson(api))[0]) == len(await table(api)) == 5


# CSV ------------------------------------------------------------------------------------------------------
async def test_csv_reads_back_and_every_line_ends_as_rfc_4180_says(five: Api):
    answer = await five.get("service-records", Accept="text/csv")
    assert answer.headers["content-type"] == "text/csv; header=present; charset=utf-8"
    assert answer.content.count(b"\r\n") == answer.content.count(b"\n") == 6
    rows = list(csv.reader(io.StringIO(answer.text, newline=""), strict=True))
    assert {len(row) for row in rows} == {40}
    third = (await table(five))[2]
    assert third["service_on"] == "2026-05-03"
    assert third["arrived_at"] == "2026-05-03T17:00:00Z"
    assert (third["pesticide_free_by_us"], third["pesticide_free_known_at_property"]) == ("true", "false")
    assert (third["visits_rested_on"], third["visits_stating_no_treatments"]) == ("2", "0")
    assert third["treatments"] == "castor_oil"
    assert third["customer_id"] == ""
    record = (await five.get("service-records/2026-000003.1")).content
    assert third["sha256"] == digest_of(record)
    assert third["statement"] == json.loads(record)["record"]["content"]["statement"]


@pytest.mark.parametrize(
    ("ref", "guarded"),
    [
        ("=1+1", True),
        ("+1 555 0100", True),
        ("-5", True),
        ("@sum", True),
        ("  =1+1", True),
        ("\u00a0=1+1", True),
        ("\u3000=1+1", True),
        ("＝1", True),
        ("＋1", True),
        ("－1", True),
        ("＠x", True),
        ("P-7", False),
        ('say "so", then', False),
        ("'quoted'", False),
        ("", False),
    ],
)
async def test_what_a_spreadsheet_would_take_for_a_formula_is_led_by_an_apostrophe(
    api: Api, ref: str, guarded: bool
):
    """OWASP, CSV injection: a field that begins with one of = + - @, a tab or a carriage return."""
    await api.patch(f"properties/{PROPERTY}", {"ref": ref}, If_Match='"1"')
    await api.made(f"visits/{an_id(101)}", visit_on(1))
    await issue(api, 101)
    [shown] = await table(api)
    assert shown["property_ref"] == (f"'{ref}" if guarded else ref)
    [raw] = await table(api, "&raw=true")
    assert raw["property_ref"] == ref


async def test_a_withdrawn_record_has_a_line_that_claims_nothing(five: Api):
    await five.delete(f"visits/{an_id(105)}?amend_reason=wrong+day", If_Match='"1"')
    await issue(five, 105)
    last = (await table(five))[-1]
    assert (last["number"], last["version"], last["withdrawn"]) == ("2026-000005", "2", "true")
    assert (last["pesticide_free_by_us"], last["arrived_at"], last["looks"]) == ("false", "", "")


async def test_a_further_version_comes_by_itself_when_the_clock_ticks(
    five: Api, clock: Clock, clock_pool: Any, pool: Any
):
    told = {name: value for name, value in oil(209, 2).items() if name != "id"}
    await five.made(f"treatments/{an_id(209)}", {"property_id": PROPERTY, **told})
    assert await work.run(clock_pool, pool, NOW, handlers(SEALING_KEY)) == 0
    clock.now = NOW + timedelta(minutes=10)
    await work.run(clock_pool, pool, clock.now, handlers(SEALING_KEY))
    assert numbers(await five.items("service-records"))[-1] == "2.2"
