"""What stands on a record's page, on a screen and on paper; the PDF is read by pypdf, which did not make it."""

import io
from typing import Any

import msgspec
import pytest
from pypdf import PdfReader

from service.kernel.typeset import pdf_of
from service.pages.models import Page
from service.pages.routes import FOLDER, html_of
from tests.bodies import a_visit, an_id
from tests.http import Api
from tests.pages.samples import LONG, MONTH, PARTY, RICH, SAMPLES, WITHDRAWN, page, signed

HOSTILE = "<script>alert(1)</script> #panic() $x$ \u202egnp.exe {{ 7*7 }} *b* @ref \\ // /* "


def paper(shown: Page) -> PdfReader:
    return PdfReader(io.BytesIO(pdf_of(FOLDER / "record.typ", msgspec.json.encode(shown))))


def text_of(shown: Page) -> str:
    """All text of the PDF, with its line breaks as blanks."""
    return " ".join(" ".join(one.extract_text() for one in paper(shown).pages).split())


@pytest.mark.parametrize("record", SAMPLES.values(), ids=SAMPLES)
def test_the_paper_is_tagged_and_says_its_language_and_title(record: dict[str, Any]) -> None:
    """ISO 14289-1 (PDF/UA-1): a structure tree, marked, with language and title."""
    read = paper(page(record))
    root: Any = read.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/StructTreeRoot"]["/K"]
    assert root["/Lang"] == "en"
    assert read.metadata is not None
    assert read.metadata.title == page(record).title


def test_a_plain_visit_fits_one_page_and_forty_sets_do_not_lose_one() -> None:
    assert len(paper(page(signed())).pages) == 1
    assert len(paper(page(RICH)).pages) == 1
    long = page(LONG)
    assert len(paper(long).pages) <= 2
    assert text_of(long).count("37.55000") == 40


@pytest.mark.parametrize("region", ["US-CA", "GB-SCT"])
def test_the_sheet_is_the_one_used_there(region: str) -> None:
    """ANSI A letter is 612 by 792 points, ISO 216 A4 595 by 842."""
    sheet = paper(page(signed(region=region))).pages[0].mediabox
    wanted = {"US-CA": (612, 792), "GB-SCT": (595, 842)}[region]
    assert (round(sheet.width), round(sheet.height)) == wanted


def test_a_page_says_who_where_when_and_what_in_local_time() -> None:
    for text in (text_of(page(RICH)), html_of(page(RICH))):
        for said in (
            *("Greenway Trapping", "Service record 2026-000123.1", "Alder Court School", "12 Sample Row"),
            *("R. Example", "L-1 (Sample Board)", "14 May 2026, 10:00 to 10:40 (America/Los_Angeles)"),
            *("2 × scissor jaw", "looked at, set again", "in the ground, set", "1 mole (Scapanus latimanus)"),
            *("1 vole (Microtus californicus)", "3 mounds cleared", "reseeded 0.3 m²", "the caretaker"),
            *(
                "No pesticide was used by us; this rests on 2 visits, of which 1 states that no treatment was made.",
                "Not pesticide-free as far as is known: castor oil (minimum-risk pesticide), pellets",
            ),
            *(
                "Castor oil (minimum-risk pesticide), pellets, 2 kg",
                "Due by the end of 15 May 2026, at 1 set",
            ),
            "turf saved at 3 places (0.42 m²)",
            *(
                "Local codes and licensed practice come first.",
                "Traps stand here: touch none.",
                "ab" * 32,
                "kPrK",
            ),
        ):
            assert said in text
        assert "Keep the safety catch on" not in text, "that is for the worker"


@pytest.mark.parametrize("method_class", ["device_without_substance", "unclassified"])
def test_what_breaks_a_claim_and_is_no_pesticide_is_not_called_one(method_class: str) -> None:
    """A sound device breaks the claim (3 CCR 6695 treats some such as pest control) and is no substance."""
    used = {"method": "sound_device", "method_class": method_class, "applied_by": "us"}
    broken = {"free": False, "visit_ids": ["v1"], "visits_stating_none": 0, "broken_by": [used]}
    shown = page(signed(pesticide_free_by_us=broken, pesticide_known_at_property=broken))
    for claim in shown.claims:
        assert claim.text.startswith("Not pesticide-free")
        assert "sound device" in claim.text
        assert "pesticide was used" not in claim.text
        assert claim.text.endswith("this rests on 1 visit, of which 0 state that no treatment was made.")


def test_how_old_a_text_is_stands_apart_from_what_comes_first() -> None:
    notice = (
        "Local codes and licensed practice come first. Sample Act s 8: text as of 2022, read on 2026-11-25,"
        " not reviewed. a code of practice: text as of 2022, read on 2026-11-25, reviewed."
    )
    shown = page(signed(notice=notice))
    assert shown.notice == "Local codes and licensed practice come first."
    assert shown.texts.startswith("Sample Act s 8: text as of 2022")
    assert "not reviewed. A code of practice" in shown.texts
    for text in (text_of(shown), html_of(shown)):
        assert shown.texts in text


def test_a_page_says_how_complete_the_book_was() -> None:
    """The phone that brought its facts last the longest ago decides; 18:00 UTC is 11:00 in May in California."""
    basis = {
        "complete_as_of": [
            {"key_id": "k1", "received_at": "2026-05-14T18:00:00Z"},
            {"key_id": "k2", "received_at": "2026-05-15T02:00:00Z"},
        ],
        "awaited": [{"noun": "set", "id": "s9"}, {"noun": "sign", "id": "g1"}],
    }
    stated = signed()
    shown = page({**stated, "record": stated["record"] | {"basis": basis}})
    told = {one.label: one.text for one in shown.facts}
    assert told["Complete as of"] == "14 May 2026, 11:00"
    assert told["Still awaited"] == "2 sets or signs that nobody has stated yet"
    assert {"Complete as of", "Still awaited"}.isdisjoint(one.label for one in page(stated).facts)


def test_a_withdrawn_record_says_so_first_and_a_replaced_one_names_its_successor() -> None:
    assert page(WITHDRAWN).banner.startswith("Withdrawn")
    assert page(WITHDRAWN).sections == []
    assert "Replaced: version 2026-000123.2 stands" in text_of(page(signed(), newer="2026-000123.2"))


def test_a_month_is_named_with_its_visits() -> None:
    text = text_of(page(MONTH))
    assert "Service record of a month" in text
    assert "May 2026 (America/Los_Angeles)" in text


def test_where_names_were_erased_the_page_says_so_and_holds_none() -> None:
    gone = page(RICH, None, erased="Erased on 3 June 2026: asked for by the person.")
    for text in (text_of(gone), html_of(gone)):
        assert "Erased on 3 June 2026" in text
        for name in ("Alder", "Sample Row", "R. Example", "caretaker", "Gate closed"):
            assert name not in text


def test_no_text_is_taken_for_markup() -> None:
    hostile = PARTY | {"customer_name": HOSTILE, "customer_note": HOSTILE, "worker_names": [HOSTILE]}
    shown = page(signed(target=HOSTILE), hostile)
    html = html_of(shown)
    assert "<script" not in html
    assert "&lt;script&gt;" in html
    assert "{{ 7*7 }}" in html
    text = text_of(shown)
    assert "#panic()" in text
    assert "$x$" in text


def test_the_page_asks_nobody_for_anything() -> None:
    html = html_of(page(RICH))
    for loader in ("<script", "<link", "<img", "@import", "url(", "http://", "https://"):
        assert loader not in html


# Over HTTP ------------------------------------------------------------------------------------------------
@pytest.fixture
async def issued(api: Api) -> Api:
    """A book with record 2026-000001.1."""
    await api.made(f"visits/{an_id(101)}", a_visit(customer_note="Gate closed again."))
    answer = await api.post("service-records", {"visit_id": an_id(101)})
    assert answer.status_code == 201, answer.text
    return api


@pytest.mark.parametrize(
    ("accept", "media"),
    [
        ("application/pdf", "application/pdf"),
        ("text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8", "text/html; charset=utf-8"),
        ("*/*", "application/json"),
        ("application/json", "application/json"),
    ],
)
async def test_accept_chooses_the_form_and_the_same_bytes_come_again(
    issued: Api, accept: str, media: str
) -> None:
    first = await issued.get("service-records/2026-000001.1", Accept=accept)
    again = await issued.get("service-records/2026-000001.1", Accept=accept)
    assert first.headers["content-type"] == media
    assert first.content == again.content
    tag = first.headers["etag"]
    assert not tag.startswith("W/")
    known = await issued.get("service-records/2026-000001.1", Accept=accept, If_None_Match=tag)
    assert (known.status_code, known.content) == (304, b"")


async def test_a_page_carries_names_and_a_policy_that_lets_nothing_run(issued: Api) -> None:
    answer = await issued.get("service-records/2026-000001.1?format=html")
    assert "Gate closed again." in answer.text
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    assert answer.headers["x-content-type-options"] == "nosniff"


async def test_a_form_that_there_is_not_says_which_there_are(issued: Api) -> None:
    for path in ("2026-000001.1?format=docx", "2026-000001?format=pdf"):
        answer = await issued.get(f"service-records/{path}")
        assert answer.status_code == 406
        assert "JSON" in answer.json()["detail"] or "format=pdf" in answer.json()["detail"]
