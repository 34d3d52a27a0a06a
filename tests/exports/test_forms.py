"""Each form of a pull holds the same records, read back by libraries and rules that are not ours."""

import csv
import gzip
import hashlib
import io
import json
from datetime import datetime
from pathlib import Path
from typing import Any
from uuid import UUID

import asyncpg
import pytest
import zstandard
from openpyxl import load_workbook

from service.exports.columns import COLUMNS
from service.exports.selection import XLSX
from service.kernel.coding import coding_of
from service.verify.files import Given
from service.verify.report import report
from tests.bodies import an_id
from tests.exports.books import amended, issued, name_of, pulled, visited, whole
from tests.http import PROPERTY, Api

FORMULAS = ("=1+1", "+1 555 0100", "-5", "@sum", '=HYPERLINK("https://example.org";"here")')


def table(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


async def raw_answer(api: Api, path: str, **headers: str) -> tuple[dict[str, str], bytes]:
    """Headers and bytes as they came, in whatever coding."""
    sent = {"Authorization": f"Bearer {api.key}"} | {
        name.replace("_", "-"): value for name, value in headers.items()
    }
    async with api.client.stream("GET", f"/v1/{path}", headers=sent) as answer:
        return dict(answer.headers), b"".join([piece async for piece in answer.aiter_raw()])


# JSON -----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("query", ["", "?limit=2", "?limit=1", "?claim=known"])
async def test_a_page_is_verified_as_it_was_sent(five: Api, tmp_path: Path, query: str):
    page, keys = await five.get(f"service-records{query}"), await five.get("/.well-known/jwks.json")
    (tmp_path / "page.json").write_bytes(page.content)
    (tmp_path / "keys.json").write_bytes(keys.content)
    said: list[str] = []
    assert report(Given([tmp_path], None), said.append), said
    (tmp_path / "page.json").write_bytes(page.content.replace(b"2026-05-01", b"2026-05-02"))
    assert not report(Given([tmp_path], None), said.append), said


# CSV ------------------------------------------------------------------------------------------------------
async def test_a_line_of_csv_says_what_the_record_says(five: Api):
    """Worked out anew from the record's JSON."""
    records = (await five.get("service-records")).json()["items"]
    lines = table((await five.get("service-records?format=csv&raw=true")).text)
    for signed, line in zip(records, lines, strict=True):
        record, content = signed["record"], signed["record"]["content"]
        known = content["pesticide_known_at_property"]
        assert list(line) == list(COLUMNS)
        for name in ("number", "issued_at"):
            assert line[name] == record[name]
        for name in (
            "kind",
            "service_on",
            "visit_id",
            "property_id",
            "worker_id",
            "zone",
            "outcome",
            "statement",
        ):
            assert line[name] == content[name]
        assert line["visits_rested_on"] == str(len(known["visit_ids"]))
        assert line["pesticide_free_known_at_property"] == str(known["free"]).lower()
        assert line["pesticide_free_by_us"] == str(content["pesticide_free_by_us"]["free"]).lower()
        assert line["looks"] == str(len(content["checks"]))
        assert line["treatments"] == "; ".join(one["method"] for one in content["treatments"])
        assert line["sha256"] == signed["sha256"]


async def test_cells_with_quotes_and_line_ends_read_back(owner: "asyncpg.Connection[asyncpg.Record]"):
    texts = ['say "so"', "two\nlines", "two\r\nlines", "a, b", "", "\ttab", "=1\n+1", "ünï"]
    for guarded in (False, True):
        line = await owner.fetchval("select csv_texts($1, $2)", texts, guarded)
        [read] = list(csv.reader(io.StringIO(f"x{line}\r\n", newline=""), strict=True))
        led = ["'" if guarded and text.startswith(("\t", "=")) else "" for text in texts]
        assert read[1:] == [sign + text for sign, text in zip(led, texts, strict=True)]


# Whether it is whole --------------------------------------------------------------------------------------
@pytest.mark.parametrize("query", ["", "&claim=known", "&raw=true", "&month=2026-04", "&after=", "&limit=2"])
async def test_the_digest_of_the_same_query_is_that_of_the_csv(five: Api, query: str):
    answer = await five.get(f"service-records?format=csv{query}")
    told = (await five.get(f"service-records/digest?format=csv{query}")).json()
    assert told["sha256"] == hashlib.sha256(answer.content).hexdigest()
    assert told["bytes"] == len(answer.content)
    assert told["count"] == len(table(answer.text))
    assert told["excluded"] == (2 if "claim" in query else 0)


async def test_the_link_leads_to_the_digest_of_what_was_pulled_also_when_more_was_issued_since(five: Api):
    answer = await five.get("service-records?format=csv")
    await amended(five, 2)
    link = answer.headers["link"]
    assert 'rel="describedby"' in link
    digest = link.partition('rel="next", <')[2].partition(">")[0]
    told = (await five.get(digest)).json()
    assert told["sha256"] == hashlib.sha256(answer.content).hexdigest()
    again = await five.get(f"service-records?format=csv&as_of={told['next']}")
    assert again.content == answer.content
    now = (await five.get("service-records/digest")).json()
    assert now["sha256"] != told["sha256"]
    assert (await pulled(five, f"&after={told['next']}"))[0] == ["2026-000002.2"]


async def test_limited_pulls_walk_the_whole_list_as_of_the_first(five: Api):
    seen, cursor = await pulled(five, "&limit=2")
    await amended(five, 4)
    for _ in range(2):
        some, cursor = await pulled(five, f"&limit=2&after={cursor}")
        seen += some
    assert seen == [f"2026-00000{number}.1" for number in range(1, 6)]
    assert (await pulled(five, f"&limit=2&after={cursor}"))[0] == ["2026-000004.2"]


# XLSX -----------------------------------------------------------------------------------------------------
async def test_a_spreadsheet_has_real_values_and_no_formula(api: Api):
    """Read by openpyxl, which did not write it."""
    for day, ref in enumerate(FORMULAS, 1):
        await api.patch(f"properties/{PROPERTY}", {"ref": ref}, If_Match=f'"{day}"')
        await visited(api, day)
        await issued(api, day)
    answer = await api.get("service-records", Accept=XLSX)
    assert answer.headers["content-type"] == XLSX
    book = load_workbook(io.BytesIO(answer.content))
    records, about = book["records"], book["about"]
    assert (records.freeze_panes, records.auto_filter.ref) == ("A2", "A1:AN6")
    header, *rows = records.iter_rows()
    assert [cell.value for cell in header] == list(COLUMNS)
    assert {cell.data_type for sheet in book for row in sheet.iter_rows() for cell in row} <= set("snbd")
    lines = table((await api.get("service-records?format=csv&raw=true")).text)
    for row, line in zip(rows, lines, strict=True):
        found = dict(zip(COLUMNS, (cell.value for cell in row), strict=True))
        assert {name: as_csv(name, value) for name, value in found.items()} == line
    assert [row[list(COLUMNS).index("property_ref")].value for row in rows] == list(FORMULAS)
    told = (await api.get("service-records/digest?raw=true")).json()
    said = {row[0].value: row[1].value for row in about.iter_rows()}
    assert said["records"] == told["count"] == len(FORMULAS)
    assert said["sha256 of the CSV with raw=true"] == told["sha256"]
    assert said["next"] == told["next"]


def as_csv(name: str, value: Any) -> str:
    """A cell as the CSV writes it; asserts that its type is the column's."""
    kind = COLUMNS[name]
    if value is None:
        return ""
    if kind in ("day", "instant"):
        assert isinstance(value, datetime)
        if kind == "day":
            return f"{value:%Y-%m-%d}"
        return f"{value.isoformat()}Z"
    assert isinstance(value, {"text": str, "truth": bool, "whole": int, "decimal": int | float}[kind])
    return str(value).lower() if kind == "truth" else str(value)


async def test_a_spreadsheet_lists_what_a_claim_left_out_as_json_does(five: Api):
    told = (await five.get("service-records?claim=known")).json()
    assert told["excluded"]
    answer = await five.get("service-records?claim=known&format=xlsx")
    book = load_workbook(io.BytesIO(answer.content))
    header, *rows = book["left out"].iter_rows(values_only=True)
    assert [dict(zip(header, row, strict=True)) for row in rows] == told["excluded"]
    said = dict(book["about"].iter_rows(values_only=True))
    assert (said["claim"], said["left out"], said["records"]) == ("known", len(rows), len(told["items"]))
    assert "left out" not in load_workbook(
        io.BytesIO((await five.get("service-records", Accept=XLSX)).content)
    )


async def test_a_spreadsheet_of_too_many_is_refused_with_what_to_ask_instead(
    five: Api, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr("service.exports.sheet.MOST", 4)
    answer = await five.get("service-records?format=xlsx")
    assert answer.status_code == 400
    assert "4 records; ask for a month" in answer.json()["detail"]
    assert (await five.get("service-records?format=xlsx&month=2026-05&limit=4")).status_code == 200


# Content codings ------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("accepted", "coding"),
    [
        (None, "identity"),
        ("", "identity"),
        ("identity", "identity"),
        ("br, deflate", "identity"),
        ("gzip", "gzip"),
        ("x-gzip", "gzip"),
        ("GZIP", "gzip"),
        ("zstd", "zstd"),
        ("gzip, zstd", "zstd"),
        ("gzip, deflate, br, zstd", "zstd"),
        ("gzip;q=1.0, zstd;q=0.5", "gzip"),
        ("gzip;q=0.2, zstd;q=0", "gzip"),
        ("gzip;q=0", "identity"),
        ("zstd;q=0.5, identity", "identity"),
        ("gzip;q=0.5, identity;q=0.4", "gzip"),
        ("*", "zstd"),
        ("*;q=0.1, gzip;q=0.3", "gzip"),
        ("*;q=0", "identity"),
        ("zstd;q=0, *;q=0.5", "gzip"),
    ],
)
def test_the_coding_is_the_one_that_weighs_most(accepted: str | None, coding: str):
    """RFC 9110 section 12.5.3."""
    assert coding_of(accepted) == coding


@pytest.mark.parametrize("form", ["json", "ndjson", "csv"])
async def test_a_coded_answer_is_the_same_once_decoded(five: Api, form: str):
    path = f"service-records?format={form}"
    plain_headers, plain = await raw_answer(five, path, Accept_Encoding="identity")
    assert "content-encoding" not in plain_headers
    decoders = {"gzip": gzip.decompress, "zstd": zstandard.ZstdDecompressor().decompressobj().decompress}
    for coding, decode in decoders.items():
        headers, coded = await raw_answer(five, path, Accept_Encoding=coding)
        assert headers["content-encoding"] == coding
        assert headers["vary"] == plain_headers["vary"] == "Accept, Accept-Encoding"
        assert len(coded) < len(plain)
        assert decode(coded) == plain


async def test_a_spreadsheet_is_not_compressed_twice(five: Api):
    headers, _ = await raw_answer(five, "service-records?format=xlsx", Accept_Encoding="zstd, gzip")
    assert "content-encoding" not in headers


async def test_the_closing_line_digests_the_lines_before_any_coding(five: Api):
    _, coded = await raw_answer(five, "service-records?format=ndjson", Accept_Encoding="gzip")
    found = whole(gzip.decompress(coded))
    assert found is not None
    assert [name_of(one) for one in found[0]] == [f"2026-00000{number}.1" for number in range(1, 6)]


async def test_head_answers_as_get_without_the_body(five: Api):
    answer = await five.send("HEAD", "service-records?format=csv")
    assert (answer.status_code, answer.content) == (200, b"")
    assert 'rel="describedby"' in answer.headers["link"]


# What cannot be answered ----------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("path", "status", "said"),
    [
        ("service-records?since=2026-05-02&until=2026-05-02", 400, "it has to be a later day"),
        ("service-records?since=2026-05-03&until=2026-05-02&format=csv", 400, "it has to be a later day"),
        ("service-records?month=2026-05&since=2026-06-01", 400, "no day in common"),
        ("service-records?month=2026-5", 400, "A month is written as year and month"),
        ("service-records/digest?month=May", 400, "A month is written as year and month"),
        ("service-records?format=yaml", 406, XLSX),
        ("service-records?limit=501", 400, "NDJSON gives all at once"),
        ("service-records?format=csv&limit=0", 400, "limit"),
        ("service-records/2026-999999", 404, "Service record 2026-999999"),
        ("service-records/2026-000001.9", 404, "Service record 2026-000001.9"),
        ("service-records/2026-1", 404, "a number is written 2026-000123, a version of it 2026-000123.1"),
        ("service-records?as_of=x", 400, "`as_of` is no cursor"),
        ("service-records?after=x", 400, "`after` is no cursor"),
        (f"service-records?month=2026-05&job_id={an_id(1)}", 400, "There is no parameter"),
    ],
)
async def test_what_cannot_be_answered_says_so_in_a_sentence(five: Api, path: str, status: int, said: str):
    answer = await five.get(path)
    assert (answer.status_code, answer.headers["content-type"]) == (status, "application/problem+json")
    assert said in answer.json()["detail"]


@pytest.mark.parametrize("form", ["json", "ndjson", "csv", "xlsx"])
async def test_a_cursor_of_another_epoch_leads_to_a_full_sync(five: Api, app: Any, form: str):
    _, cursor = await pulled(five)
    app.state.epoch = UUID(int=7)
    for name in ("after", "as_of"):
        answer = await five.get(f"service-records?format={form}&{name}={cursor}")
        assert answer.status_code == 410
        assert f"leave `{name}` out and read all again" in json.loads(answer.content)["detail"]


async def test_another_business_digests_nothing_of_it(five: Api, other: Api):
    assert (await other.get("service-records/digest")).json()["count"] == 0
