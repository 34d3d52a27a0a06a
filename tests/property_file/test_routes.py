"""The promises of /v1/properties/{id}/file, over HTTP: what is in it, as what it comes, and that it can be verified."""

import io
import json
import subprocess
import zipfile
from pathlib import Path
from typing import Any

import pypdf
import pytest

from tests.bodies import AT, a_check, a_set, a_visit, an_id
from tests.http import PROPERTY, Api, a_property
from tests.property_file.book import members_of, text_of, unpacked

FILE = f"properties/{PROPERTY}/file"
CUSTOMER = an_id(100)


async def visited(api: Api, number: int, day: str, **more: Any) -> str:
    """A visit of twenty minutes from ten o'clock on that day, and the name of its record's first version."""
    arrived_at, left_at = f"{day}T10:00:00-08:00", f"{day}T10:20:00-08:00"
    visit = a_visit(arrived_at=arrived_at, left_at=left_at, **more)
    await api.made(f"visits/{an_id(number)}", visit)
    return await issued(api, number)


async def issued(api: Api, number: int) -> str:
    """The name of the visit's latest version."""
    answer = await api.post("service-records", {"visit_id": an_id(number)})
    assert answer.status_code in (200, 201), answer.text
    record = answer.json()["record"]
    return f"{record['number']}.{record['version']}"


def oil(day: str, **more: Any) -> dict[str, Any]:
    at = f"{day}T09:00:00-08:00"
    return {"id": an_id(900), "method": "castor_oil", "applied_at": at, "applied_by": "customer", **more}


async def read(api: Api, query: str = "audience=auditor", **headers: str) -> str:
    """The text of the PDF, spaces as one."""
    answer = await api.get(f"{FILE}?{query}", **headers)
    assert answer.status_code == 200, answer.text
    return " ".join(text_of(answer.content).split())


@pytest.fixture
async def school(api: Api) -> Api:
    """A customer who holds the property since January, and records of January, February and April."""
    await api.made(f"customers/{CUSTOMER}", {"name": "Alder Court School District"})
    tenure = {"customer_id": CUSTOMER, "from_on": "2026-01-01"}
    await api.made(f"properties/{PROPERTY}/tenures/{an_id(101)}", tenure)
    placed = a_set(placed_at="2026-01-12T10:05:00-08:00")
    caught = {"id": an_id(50), "species": "Scapanus latimanus", "fate": "dead_in_trap", "sex": "male"}
    looked = a_check(
        checked_at="2026-02-10T10:05:00-08:00", finding="catch", action="pulled", catches=[caught]
    )
    await visited(api, 201, "2026-01-12", sets=[placed], customer_note="Mind the flag.")
    await visited(api, 202, "2026-02-10", checks=[looked], treatments_none=True)
    await visited(api, 203, "2026-04-20")
    return api


# What is in it ----------------------------------------------------------------------------------------------
async def test_a_file_says_what_was_done_what_it_rests_on_and_what_comes_first(school: Api):
    said = await read(school, "audience=customer")
    assert "Local codes and licensed practice come first." in said
    assert "Alder Court School District" in said
    assert "12 January 2026 to 14 May 2026" in said
    assert "No pesticide was used by us: so say all of 3 records." in said
    assert "Who worked there states that no treatment was made: in 1 of 3 visits." in said
    assert "Without a record: March 2026, May 2026." in said
    assert "scissor jaw trap (mechanical trap)" in said
    assert "1 mole (Scapanus latimanus): male, dead in trap" in said
    assert "Note Mind the flag." in said
    assert said.count("Pesticide-free is not licence-free") == 1
    assert "R. Example" in said
    assert [name for name in ("2026-000001.1", "2026-000002.1", "2026-000003.1") if name not in said] == []


async def test_a_treatment_that_breaks_a_claim_is_named_with_the_record_and_not_with_a_product_to_the_public(
    school: Api,
):
    await school.made(f"visits/{an_id(204)}", a_visit(treatments=[oil("2026-04-10", product="Away")]))
    later = await issued(school, 203)
    said = await read(school)
    assert later == "2026-000003.2"
    assert (
        "No pesticide is known to have been used by anybody: this does not hold in 1 of 3 records. The first is"
        " 2026-000003.2 of 20 April 2026, which names castor oil (minimum-risk pesticide) on 10 April 2026 by the"
        " customer." in said
    )
    assert "Replaces 2026-000003.1." in said
    public = await read(school, "audience=public")
    assert "Pesticide used by those who did the work: none, as told in each of 3 records" in public
    assert "Pesticide used by anybody: yes, or what counts as one, as told in 1 of 3 records" in public
    assert "10 April 2026 minimum-risk pesticide somebody else" in public
    assert "Away" not in public


async def test_the_public_sees_each_month(school: Api):
    public = await read(school, "audience=public")
    assert "January 2026 1: 12 scissor jaw trap (mechanical trap) none none known" in public
    assert "1 mole (Scapanus latimanus)" in public
    assert "Traps stand here" in public
    assert "ask whoever shows you this, or Greenway Trapping" in public


async def test_a_withdrawn_visit_claims_nothing_and_is_said(school: Api):
    await school.delete(f"visits/{an_id(203)}?amend_reason=twice", If_Match='"1"')
    assert await issued(school, 203) == "2026-000003.2"
    said = await read(school)
    assert "so say all of 2 records" in said
    assert "Withdrawn, so that they claim nothing: 2026-000003.2." in said
    assert "Without a record: March 2026 to May 2026." in said


async def test_a_record_that_moved_to_another_property_is_replaced_and_not_shown(school: Api):
    elsewhere = an_id(7)
    await school.made(f"properties/{elsewhere}", a_property(name="Elsewhere"))
    moved = a_visit(arrived_at="2026-04-20T10:00:00-08:00", property_id=elsewhere)
    await school.put(f"visits/{an_id(203)}", moved, If_Match='"1"')
    assert await issued(school, 203) == "2026-000003.2"
    said = await read(school)
    assert "Replaced by a version of another day, property or holder: 2026-000003.1." in said
    assert "so say all of 2 records" in said
    members = members_of((await school.get(f"{FILE}?audience=auditor&format=zip")).content)
    assert "records/2026-000003.1.json" in members
    assert "records/2026-000003.2.json" not in members


async def test_a_period_is_half_open_by_local_days(school: Api):
    said = await read(school, "audience=auditor&from=2026-02-10&until=2026-04-20")
    assert "10 February 2026 to 19 April 2026" in said
    assert "2026-000002.1" in said
    assert "2026-000001.1" not in said
    assert "2026-000003.1" not in said


async def test_days_without_any_record_make_a_file_that_says_so(school: Api):
    for audience in ("customer", "auditor", "public"):
        said = await read(school, f"audience={audience}&from=2025-01-01&until=2026-01-01")
        assert "rests on 0 service records" in said


async def test_what_must_be_kept_there_is_said_with_its_citation(school: Api):
    answer = await school.patch(
        f"properties/{PROPERTY}",
        {"region": "US-CA"},
        If_Match='"1"',
        Content_Type="application/merge-patch+json",
    )
    assert answer.status_code == 200, answer.text
    # California Education Code § 17611
    assert "Schools keep their records of pesticide use for 4 years" in await read(school)
    assert "Education Code § 17611" in await read(school)


# As what it comes -------------------------------------------------------------------------------------------
async def test_the_pdf_is_tagged_titled_and_in_a_language(school: Api):
    answer = await school.get(f"{FILE}?audience=customer")
    assert answer.headers["content-type"] == "application/pdf"
    assert (
        answer.headers["content-disposition"]
        == 'attachment; filename="property-file-customer-2026-01-12-2026-05-15.pdf"'
    )
    reader = pypdf.PdfReader(io.BytesIO(answer.content))
    root: Any = reader.trailer["/Root"]
    # PDF/UA-1 (ISO 14289-1): tagged, a language, a title that is shown, and it says of itself that it conforms
    assert root["/MarkInfo"]["/Marked"].value is True
    assert root["/StructTreeRoot"]["/K"]
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"].value is True
    assert b"<pdfuaid:part>1</pdfuaid:part>" in root["/Metadata"].get_data()
    assert reader.metadata is not None
    assert reader.metadata.title == "File of service records"
    assert 1 <= len(reader.pages) <= 3


async def test_a_folder_holds_every_version_byte_for_byte_and_the_key_set(school: Api):
    await school.put(
        f"visits/{an_id(203)}",
        a_visit(arrived_at="2026-04-20T10:00:00-08:00", treatments_none=True),
        If_Match='"1"',
    )
    await issued(school, 203)
    answer = await school.get(f"{FILE}?audience=auditor", Accept="application/zip")
    assert answer.headers["content-type"] == "application/zip"
    members = members_of(answer.content)
    names = ["2026-000001.1", "2026-000002.1", "2026-000003.1", "2026-000003.2"]
    assert list(members) == ["README.txt", "keys.json", "file.pdf", *(f"records/{one}.json" for one in names)]
    for name in names:
        assert members[f"records/{name}.json"] == (await school.get(f"service-records/{name}")).content
    assert members["keys.json"] == (await school.get("/.well-known/jwks.json")).content


async def test_the_same_content_is_the_same_bytes_and_a_reader_who_has_them_is_told(school: Api):
    for query in ("audience=customer", "audience=auditor&format=zip", "audience=public&format=zip"):
        first, again = await school.get(f"{FILE}?{query}"), await school.get(f"{FILE}?{query}")
        assert first.content == again.content
        known = await school.get(f"{FILE}?{query}", If_None_Match=first.headers["etag"])
        assert (known.status_code, known.content) == (304, b"")
    before = (await school.get(f"{FILE}?audience=customer")).headers["etag"]
    await visited(school, 205, "2026-05-01")
    assert (await school.get(f"{FILE}?audience=customer", If_None_Match=before)).status_code == 200


async def test_the_public_folder_lists_digests_and_no_signed_bytes(school: Api):
    members = members_of((await school.get(f"{FILE}?audience=public&format=zip")).content)
    assert sorted(members) == ["README.txt", "digests.csv", "file.pdf"]
    latest = (await school.get("service-records")).json()["items"]
    lines = [
        f"{one['record']['number']}.{one['record']['version']},{one['sha256']}\r\n".encode() for one in latest
    ]
    assert members["digests.csv"] == b"".join([b"record,sha256\r\n", *sorted(lines)])


async def test_a_download_that_broke_off_opens_nowhere(school: Api):
    whole = (await school.get(f"{FILE}?audience=auditor&format=zip")).content
    with pytest.raises(zipfile.BadZipFile):
        members_of(whole[:-30])


async def test_the_notes_own_commands_verify_the_folder_and_name_what_was_changed(
    school: Api, tmp_path: Path
):
    """With a shell and openssl alone, as the README in the folder says."""
    assert (await school.post("months/2026-02/seal")).status_code == 201
    members = unpacked((await school.get(f"{FILE}?audience=auditor&format=zip")).content, tmp_path)
    script = members["README.txt"].decode().partition("\n  bytes() {")[2]

    def verify() -> str:
        run = subprocess.run(
            ["sh", "-c", f"bytes() {{{script}"], cwd=tmp_path, capture_output=True, text=True, check=True
        )
        return run.stdout + run.stderr

    assert verify() == ""
    changed, seal = tmp_path / "records/2026-000002.1.json", tmp_path / "seals/2026-02.1.json"
    assert json.loads(changed.read_bytes())["sha256"] in seal.read_text()
    for path in (changed, seal):
        path.write_bytes(path.read_bytes().replace(b'"count":1', b'"count":9'))
    assert verify().splitlines() == [
        "seals/2026-02.1.json: the SHA-256 does not fit",
        "seals/2026-02.1.json: the signature does not fit",
        "records/2026-000002.1.json: the SHA-256 does not fit",
        "records/2026-000002.1.json: the signature does not fit",
    ]


# What is refused ---------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("query", "status", "says"),
    [
        ("audience=parents", 400, "customer, auditor or public"),
        ("", 400, "audience"),
        ("audience=public&from=2026-05-01&until=2026-05-01", 400, "does not come after"),
        ("audience=public&from=May", 400, "from"),
        (f"audience=auditor&customer_id={CUSTOMER}", 400, "goes with audience=customer"),
        (f"audience=customer&customer_id={an_id(9)}", 404, "not in your book"),
        ("audience=public&format=docx", 406, "application/pdf (format=pdf) or application/zip (format=zip)"),
    ],
)
async def test_what_cannot_be_answered_says_in_a_sentence_what_to_mend(
    school: Api, query: str, status: int, says: str
):
    answer = await school.get(f"{FILE}?{query}")
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    assert says in answer.json()["detail"]


async def test_without_a_holder_today_a_customers_file_needs_a_name(api: Api):
    await api.made(f"visits/{an_id(201)}", a_visit(arrived_at=AT))
    await issued(api, 201)
    answer = await api.get(f"{FILE}?audience=customer")
    assert answer.status_code == 409
    assert "customer_id" in answer.json()["detail"]
    # the others read it all the same
    assert "nobody is stated to have held the property" in await read(api)
    assert "1 service record" in await read(api, "audience=public")


async def test_a_property_of_nobodys_book_or_of_anothers_is_not_there(school: Api, other: Api):
    assert (await school.get(f"properties/{an_id(77)}/file?audience=public")).status_code == 404
    await other.made(f"properties/{an_id(78)}", a_property())
    assert (await school.get(f"properties/{an_id(78)}/file?audience=public")).status_code == 404
