"""Rows of a file as the book would give them."""

from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID

from service.property_file.models import Asked, Audience, Chosen, Part, TenureRow, Version

FIRST = date(2026, 1, 5)
TODAY = date(2026, 5, 14)
HOLDER = UUID(int=7)


def a_version(number: int, on: date = FIRST, version: int = 1, **more: Any) -> Version:
    """The first version of a record, which stands and whose claims hold."""
    stated = {
        "sequence": number * 10 + version,
        "number": f"2026-{number:06}",
        "version": version,
        "first_on": on,
        "service_on": on,
        "issued_at": datetime(on.year, on.month, on.day, 20, tzinfo=UTC) + timedelta(days=1),
        "customer_id": HOLDER,
        "withdrawn": False,
        "pesticide_free_by_us": True,
        "pesticide_known_at_property": True,
        "sha256": f"{number:064x}",
        "replaced": False,
    }
    return Version(**stated | more)


def a_tenure(number: int, customer: int, from_on: date, until_on: date | None = None) -> TenureRow:
    return TenureRow(
        id=UUID(int=number),
        customer_id=UUID(int=customer),
        from_on=from_on,
        until_on=until_on,
        customer_name="A.",
    )


def asked(audience: Audience = "auditor", **more: Any) -> Asked:
    return Asked(**{"audience": audience, "from_on": None, "until_on": None, "customer_id": None} | more)


def chosen_of(audience: Audience, versions: list[Version]) -> Chosen:
    """One holder's days since the first of the year, with these versions."""
    until_on = TODAY + timedelta(days=1)
    return Chosen(
        asked=asked(audience),
        from_on=FIRST,
        until_on=until_on,
        today=TODAY,
        parts=[Part(from_on=FIRST, until_on=until_on, customer_id=HOLDER, customer_name="A.")],
        versions=[versions],
        left_out=0,
    )
