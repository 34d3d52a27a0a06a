"""The seals in a property's folder: which go in, and that the folder is held against them."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from service.kernel.db import Pool
from service.verify.files import Given
from service.verify.report import report
from tests.bodies import a_visit, an_id
from tests.books import run_to
from tests.http import PROPERTY, Api, Clock, a_property
from tests.property_file.book import members_of, unpacked
from tests.verify.signed import flipped

FILE = f"properties/{PROPERTY}/file"
CUSTOMER, ELSEWHERE = an_id(100), an_id(7)
JUNE = datetime(2026, 6, 5, 12, tzinfo=UTC)


def visit_on(day: str, **more: Any) -> dict[str, Any]:
    return a_visit(arrived_at=f"{day}T10:00:00-07:00", left_at=f"{day}T10:20:00-07:00", **more)


async def issued(api: Api, number: int, visit: dict[str, Any], **headers: str) -> None:
    """The record of the visit in its newest version."""
    answer = await api.put(f"visits/{an_id(number)}", visit, **headers)
    assert answer.status_code in (200, 201), answer.text
    answer = await api.post("service-records", {"visit_id": an_id(number)})
    assert answer.status_code in (200, 201), answer.text


@pytest.fixture
async def sealed(api: Api, clock: Clock) -> Api:
    """Two records of April, one of them of another property, and one of May; both months are sealed."""
    clock.now = JUNE
    await api.made(f"customers/{CUSTOMER}", {"name": "Alder Court School District"})
    tenure = {"customer_id": CUSTOMER, "from_on": "2026-01-01"}
    await api.made(f"properties/{PROPERTY}/tenures/{an_id(101)}", tenure)
    await api.made(f"properties/{ELSEWHERE}", a_property(name="Elsewhere"))
    await issued(api, 201, visit_on("2026-04-20"))
    await issued(api, 202, visit_on("2026-04-21", property_id=ELSEWHERE))
    await issued(api, 203, visit_on("2026-05-04"))
    for month in ("2026-04", "2026-05"):
        assert (await api.post(f"months/{month}/seal")).status_code == 201
    return api


async def seals_in(api: Api, query: str = "audience=auditor") -> list[str]:
    """The names of the seals in the folder."""
    members = members_of((await api.get(f"{FILE}?{query}&format=zip")).content)
    return [name for name in members if name.startswith("seals/")]


def said_of(*paths: Path) -> tuple[bool, list[str]]:
    said: list[str] = []
    return report(Given(list(paths), None), said.append), said


async def laid_out(api: Api, into: Path, query: str = "audience=auditor") -> list[Path]:
    """The folder, as a shell names what is in it by FOLDER/*."""
    members = unpacked((await api.get(f"{FILE}?{query}&format=zip")).content, into)
    return [into / name for name in sorted({name.partition("/")[0] for name in members})]


@pytest.mark.parametrize("audience", ["customer", "auditor"])
async def test_records_are_held_against_the_seals_that_came_along(sealed: Api, tmp_path: Path, audience: str):
    given = await laid_out(sealed, tmp_path, f"audience={audience}")
    assert [one.name for one in given] == ["README.txt", "file.pdf", "keys.json", "records", "seals"]
    seal = (await sealed.get("months/2026-04/seal")).content
    assert (tmp_path / "seals/2026-04.1.json").read_bytes() == seal
    for paths in (given, [tmp_path]):
        holds, said = said_of(*paths)
        assert holds, said
        assert "seal 2026-04.1: 1 of its 2 records are here, each as it was sealed." in said
        assert "seal 2026-05.1: its one record is here, and no other of the month." in said
        assert said[-1] == "All holds: 2 records and 2 seals; not looked at: 2 other files."


async def test_a_flipped_byte_of_a_record_or_seal_is_named(sealed: Api, tmp_path: Path):
    given = await laid_out(sealed, tmp_path)
    for name in ("records/2026-000001.1.json", "seals/2026-04.1.json"):
        whole = (tmp_path / name).read_bytes()
        for place in range(0, len(whole), len(whole) // 40):
            (tmp_path / name).write_bytes(flipped(whole, place, 1))
            holds, said = said_of(*given)
            assert not holds
            assert any(name in one for one in said), (place, said)
        (tmp_path / name).write_bytes(whole)
    assert said_of(*given)[0]


async def test_a_record_that_its_months_seal_does_not_hold_is_named(
    sealed: Api, tmp_path: Path, clock_pool: Pool, pool: Pool
):
    """Signed by the same key, and issued into the month after it was sealed: the older seal does not hold it."""
    older = (await sealed.get("months/2026-05/seal")).content
    await issued(sealed, 204, visit_on("2026-05-20"))
    await run_to(clock_pool, pool, JUNE)
    given = await laid_out(sealed, tmp_path)
    (tmp_path / "seals/2026-05.2.json").write_bytes(older)
    holds, said = said_of(*given)
    assert not holds
    assert any("record 2026-000004.1: It is of 2026-05, and the seal 2026-05.1" in one for one in said), said


async def test_the_public_gets_no_seal(sealed: Api):
    assert await seals_in(sealed, "audience=public") == []


async def test_only_months_of_the_file_and_sealed_ones(sealed: Api):
    assert await seals_in(sealed) == ["seals/2026-04.1.json", "seals/2026-05.1.json"]
    assert await seals_in(sealed, "audience=auditor&from=2026-05-01") == ["seals/2026-05.1.json"]
    assert await seals_in(sealed, "audience=auditor&from=2026-06-01") == []


async def test_a_month_that_waits_to_be_sealed_anew_has_no_seal_until_it_is(
    sealed: Api, clock_pool: Pool, pool: Pool
):
    query = f"{FILE}?audience=auditor&format=zip"
    await issued(sealed, 204, visit_on("2026-05-20"))
    waiting = await sealed.get(query)
    assert await seals_in(sealed) == ["seals/2026-04.1.json"]
    await run_to(clock_pool, pool, JUNE)
    assert await seals_in(sealed) == ["seals/2026-04.1.json", "seals/2026-05.2.json"]
    # a reader who has the folder of before is given the one with the seal; the PDF has none
    assert (await sealed.get(query, If_None_Match=waiting.headers["etag"])).status_code == 200


async def test_a_record_that_went_to_another_month_and_file_takes_the_seal_along(
    sealed: Api, tmp_path: Path, clock_pool: Pool, pool: Pool
):
    moved = visit_on("2026-06-02", property_id=ELSEWHERE)
    await issued(sealed, 203, moved, If_Match='"1"')
    await run_to(clock_pool, pool, JUNE)
    assert await seals_in(sealed) == ["seals/2026-04.1.json"]
    holds, said = said_of(*await laid_out(sealed, tmp_path))
    assert holds, said


async def test_a_record_that_went_to_another_month_of_the_file_is_seen_to_have_moved(
    sealed: Api, tmp_path: Path, clock_pool: Pool, pool: Pool
):
    await issued(sealed, 203, visit_on("2026-04-28"), If_Match='"1"')
    await run_to(clock_pool, pool, JUNE)
    assert await seals_in(sealed) == ["seals/2026-04.2.json", "seals/2026-05.2.json"]
    holds, said = said_of(*await laid_out(sealed, tmp_path))
    assert holds, said
    assert "seal 2026-04.2: 2 of its 3 records are here, each as it was sealed." in said
    # the earlier days alone hold the version that left May no more, and May's seal would not know it
    assert await seals_in(sealed, "audience=auditor&from=2026-05-01") == []
