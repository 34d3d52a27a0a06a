"""The book of one who asks to be erased."""

import pytest

from tests.bodies import an_id
from tests.erasure.spoken import CUSTOMER, FEATURE, JOB, TENURE, WORD, the_visit
from tests.http import PROPERTY, VISIT, Api


@pytest.fixture
async def spoken_of(api: Api) -> Api:
    """A book in which a customer is named wherever somebody can be."""
    place = await api.get(f"properties/{PROPERTY}")
    home = {
        "name": f"{WORD}'s",
        "address": f"1 {WORD} Row",
        "access_notes": f"ask {WORD}",
        "ref": "P-7",
    }
    answer = await api.patch(f"properties/{PROPERTY}", home, If_Match=place.headers["etag"])
    assert answer.status_code == 200, answer.text
    person = {
        "name": WORD,
        "email": f"{WORD}@example.org",
        "phone": WORD,
        "ref": "C-104",
        "addresses": [WORD],
    }
    await api.made(f"customers/{CUSTOMER}", person)
    await api.made(
        f"properties/{PROPERTY}/tenures/{TENURE}", {"customer_id": CUSTOMER, "from_on": "2026-01-01"}
    )
    await api.made(f"properties/{PROPERTY}/features/{FEATURE}", {"name": f"{WORD}'s bed", "kind": "bed"})
    opened = {"property_id": PROPERTY, "target": "Scapanus latimanus", "opened_at": "2026-05-01T00:00:00Z"}
    await api.made(f"jobs/{JOB}", {**opened, "ref": WORD})
    alone = {"property_id": PROPERTY, "told_by": WORD}
    await api.made(f"upkeep/{an_id(66)}", {**alone, "kind": "mown", "at": "2026-05-13T10:00:00-07:00"})
    hurt = {
        "property_id": PROPERTY,
        "kind": "other",
        "happened_at": "2026-05-13T10:00:00Z",
        "description": WORD,
    }
    await api.made(f"incidents/{an_id(67)}", hurt)
    await api.made(f"visits/{VISIT}", the_visit())
    again = await api.put(f"visits/{VISIT}", the_visit() | {"customer_note": f"Very dear {WORD}"})
    assert again.status_code == 428, "a body is kept with the refusal"
    for body in ({"visit_id": VISIT}, {"property_id": PROPERTY, "month": "2026-04"}):
        answer = await api.post("service-records", body)
        assert answer.status_code == 201, answer.text
    return api
