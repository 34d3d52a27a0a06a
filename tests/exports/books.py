"""Visits and their records in a book that is met over HTTP, for pulls of every form."""

import hashlib
import json
from typing import Any

from tests.bodies import a_visit, an_id
from tests.http import Api


def visit_on(day: int, **more: Any) -> dict[str, Any]:
    """Twenty minutes from ten o'clock on a day of May 2026 in Los Angeles."""
    return a_visit(
        arrived_at=f"2026-05-{day:02}T10:00:00-07:00", left_at=f"2026-05-{day:02}T10:20:00-07:00", **more
    )


def oil(number: int, day: int, **more: Any) -> dict[str, Any]:
    """A treatment at nine on that day, by the customer unless said otherwise."""
    at = f"2026-05-{day:02}T09:00:00-07:00"
    return {"id": an_id(number), "method": "castor_oil", "applied_at": at, "applied_by": "customer", **more}


async def visited(api: Api, day: int, **more: Any) -> None:
    """The visit of that day; its number is a hundred more."""
    await api.made(f"visits/{an_id(100 + day)}", visit_on(day, **more))


async def issued(api: Api, day: int) -> dict[str, Any]:
    """The record of the visit of that day, as it is now."""
    answer = await api.post("service-records", {"visit_id": an_id(100 + day)})
    assert answer.status_code in (200, 201), answer.text
    return dict(answer.json()["record"])


async def amended(api: Api, day: int) -> dict[str, Any]:
    """The visit of that day stated otherwise, and the next version of its record."""
    await api.put(f"visits/{an_id(100 + day)}", visit_on(day, treatments_none=True), If_Match='"1"')
    return await issued(api, day)


def name_of(record: dict[str, Any]) -> str:
    """Number and version of a record, or of a line of a table."""
    plain = record.get("record", record)
    return f"{plain['number']}.{plain['version']}"


def whole(text: bytes) -> tuple[list[dict[str, Any]], dict[str, Any]] | None:
    """Records and closing line of NDJSON, as a puller takes them; None where the answer was cut."""
    *lines, last = text.splitlines(keepends=True) or [b""]
    try:
        closing = json.loads(last)
    except ValueError:
        return None
    if not closing.get("closing") or not last.endswith(b"\n"):
        return None
    assert closing["count"] == len(lines)
    assert closing["sha256"] == hashlib.sha256(b"".join(lines)).hexdigest()
    return [json.loads(line) for line in lines], closing


async def pulled(api: Api, query: str = "") -> tuple[list[str], str]:
    """The names of the records of a whole answer, and the cursor to go on from."""
    found = whole((await api.get(f"service-records?format=ndjson{query}")).content)
    assert found is not None
    records, closing = found
    return [name_of(one) for one in records], closing["next"]
