"""The contract and health over HTTP, and what HTTP wants of every address."""

import pytest
from litestar import Litestar

from service.contract.problems import MEANINGS
from service.contract.routes import FOLDER
from service.kernel.errors import TITLES
from tests.http import Api


async def test_schemas_are_served_and_nothing_else_is(api: Api) -> None:
    nobody = api.holding("")
    for path in (FOLDER / "v1").iterdir():
        answer = await nobody.get(f"/schema/v1/{path.name}")
        assert answer.content == path.read_bytes()
        assert answer.headers["content-type"].partition(";")[0] == "application/schema+json"
    for name in ("nothing.json", "visit", "..%2Fopenapi.json", "%2Fetc%2Fpasswd"):
        assert (await nobody.get(f"/schema/v1/{name}")).status_code == 404


async def test_the_document_and_its_page_are_served_to_everybody(api: Api) -> None:
    nobody = api.holding("")
    document, page = await nobody.get("/openapi.json"), await nobody.get("/docs")
    assert document.content == (FOLDER / "openapi.json").read_bytes()
    assert page.headers["content-type"] == "text/html; charset=utf-8"
    assert "https://" not in page.text, "the page is complete in itself"


async def test_every_problem_says_what_it_means(api: Api) -> None:
    assert MEANINGS.keys() == TITLES.keys()
    for kind, (status, title) in TITLES.items():
        meaning = (await api.holding("").get(f"/problems/{kind}")).json()
        assert meaning == {
            "type": f"/problems/{kind}",
            "title": title,
            "status": status,
            "meaning": MEANINGS[kind],
        }
    assert (await api.get("/problems/none")).status_code == 404


async def test_health_is_never_kept_and_tells_of_a_lost_database(api: Api, app: Litestar) -> None:
    for path in ("/livez", "/readyz"):
        answer = await api.holding("").get(path)
        assert (answer.status_code, answer.headers["cache-control"]) == (200, "no-store")
    await app.state.pool.close()
    lost = await api.holding("").get("/readyz")
    assert (lost.status_code, lost.json()["type"]) == (503, "/problems/unavailable")
    assert lost.headers["retry-after"].isdigit()
    assert (await api.holding("").get("/livez")).status_code == 200


@pytest.mark.parametrize("path", ["/v1/me", "/livez", "/v1/jobs", "/v1/jobs/0"])
async def test_head_is_get_without_its_body(api: Api, path: str) -> None:
    """RFC 9110 section 9.3.2."""
    got, head = await api.get(path), await api.send("HEAD", path)
    assert (head.status_code, head.content) == (got.status_code, b"")
    assert head.headers == got.headers


@pytest.mark.parametrize("method", ["OPTIONS", "TRACE", "DELETE"])
async def test_an_address_names_its_methods(api: Api, method: str) -> None:
    """RFC 9110 sections 9.3.7 and 15.5.6."""
    answer = await api.send(method, "jobs")
    assert answer.status_code == (204 if method == "OPTIONS" else 405)
    assert set(answer.headers["allow"].split(", ")) == {"GET", "HEAD", "OPTIONS", "POST"}


@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ("propertyid=1", "There is no parameter 'propertyid' here; did you mean 'property_id'?"),
        ("x=1", "There is no parameter 'x' here."),
        ("limit=1&limit=2", "The parameter limit stands twice; give it once."),
        ("property_id=null", "The parameter property_id is null; leave it out instead."),
        ("after=%00", "The parameter after holds NUL (%00), which no text here does."),
        ("limit=501", "The parameter limit must be a whole number from 1 to 500, not '501'."),
        ("limit=few", "The parameter limit must be a whole number from 1 to 500, not 'few'."),
        (
            "property_id=1",
            "The parameter property_id must be a UUID such as 0198f3a0-0000-7000-8000-000000000001, not '1'.",
        ),
    ],
)
async def test_a_parameter_that_would_be_passed_over_is_refused(api: Api, query: str, sentence: str) -> None:
    answer = await api.get(f"jobs?{query}")
    assert (answer.status_code, answer.json()["detail"]) == (400, sentence)


async def test_a_parameter_is_called_as_it_is_sent(api: Api) -> None:
    answer = await api.get("deadlines?state=gone")
    assert answer.status_code == 400
    assert answer.json()["detail"] == (
        "The parameter state must be one of open, met, late, withdrawn, not 'gone'."
    )


@pytest.mark.parametrize(
    ("path", "sentence"),
    [
        (
            "rule-packs?region=California",
            "region must be a region such as US or US-WA (ISO 3166-2), not 'California'.",
        ),
        ("traps?mark=", "mark must be one line of text of 1 to 200 characters, not ''."),
        (
            "traps?mark=A%091",
            "mark must be one line of text of 1 to 200 characters, not 'A\\t1'.",
        ),
    ],
)
async def test_a_parameter_of_a_form_is_told_the_form(api: Api, path: str, sentence: str) -> None:
    answer = await api.get(path)
    assert (answer.status_code, answer.json()["detail"]) == (400, f"The parameter {sentence}")


async def test_a_parameter_that_is_missing_is_named(api: Api) -> None:
    answer = await api.get("animals-taken?from=2026-01-01")
    assert (answer.status_code, answer.json()["detail"]) == (
        400,
        "Add the query parameter until: it is missing here.",
    )


async def test_a_parameter_of_what_is_injected_says_as_well_what_it_may_be(api: Api) -> None:
    answer = await api.get("service-records?claim=all")
    assert answer.status_code == 400
    assert answer.json()["detail"].startswith("The parameter claim must be one of ")


@pytest.mark.parametrize(
    ("path", "sentence"),
    [
        (
            "/schema/v1/check.overdue",
            "There is no schema 'check.overdue' here; did you mean 'check.overdue.json'?",
        ),
        ("/schema/v1/zzz", "There is no schema 'zzz' here."),
        ("/problems/invald", "There is no problem 'invald' here; did you mean 'invalid'?"),
    ],
)
async def test_what_the_contract_does_not_have_names_the_nearest(api: Api, path: str, sentence: str) -> None:
    answer = await api.get(path)
    assert (answer.status_code, answer.json()["detail"]) == (404, sentence)


async def test_a_body_without_a_media_type_is_told_the_header(api: Api) -> None:
    answer = await api.client.post("/v1/jobs", content=b"{}", headers={"Authorization": f"Bearer {api.key}"})
    assert answer.status_code == 415
    assert answer.json()["detail"] == "Send a body as application/json: the header Content-Type is missing."


async def test_whoever_has_any_version_is_not_sent_one(api: Api) -> None:
    """RFC 9110 section 13.1.2: `*` stands for whatever there is."""
    answer = await api.get("business", If_None_Match="*")
    assert answer.status_code == 304
