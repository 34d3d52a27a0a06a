"""Permits and packs for tests: two texts that were read, and a permit that names neither animal nor mechanism."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

import msgspec

from service.packs.models import NewPack
from service.permits.models import Reporting

NEW_YORK, LOS_ANGELES = "America/New_York", "America/Los_Angeles"
PERMIT_ID = UUID("0198f3a0-0000-7000-8000-0000000000a1")
# RCSA 26-47-1: the year from 1 December to 30 November, reported by 31 December, also where nothing was taken
CONNECTICUT = {
    "region": "US-CT",
    "authority": "Wildlife authority of Connecticut",
    "citation": "RCSA 26-47-1",
    "rules": [
        {
            "kind": "report_due",
            "id": "yearly-report",
            "sentence": "A report of the year to 30 November by 31 December, also where nothing was taken.",
            "periods": [{"ends": "11-30", "due": "12-31"}],
            "nil": True,
        }
    ],
}
# OAR 635-435-0055: reports due 31 July and 31 January even if nothing was done; that they speak of half-years is ours
OREGON = {
    "region": "US-OR",
    "authority": "Wildlife authority of Oregon",
    "citation": "OAR 635-435-0055",
    "rules": [
        {
            "kind": "report_due",
            "id": "half-yearly-report",
            "sentence": "Reports by 31 July and 31 January, even if nothing was done.",
            "periods": [{"ends": "06-30", "due": "07-31"}, {"ends": "12-31", "due": "01-31"}],
            "nil": True,
        }
    ],
}


def a_pack(text: dict[str, Any], **members: Any) -> NewPack:
    """A pack as it is read from JSON."""
    whole = {"name": "a-text", "verified_on": "2026-05-01", "state": "law", **text, **members}
    return msgspec.convert(whole, NewPack)


def a_rule(text: dict[str, Any], **members: Any) -> dict[str, Any]:
    """The text with its one rule changed."""
    return {**text, "rules": [{**text["rules"][0], **members}]}


def a_permit(**members: Any) -> Reporting:
    """A permit of Connecticut without end, kept by a business in New York."""
    whole = {
        "id": PERMIT_ID,
        "version": 1,
        "received_at": datetime.fromisoformat("2026-01-01T00:00:00+00:00"),
        "number": "17",
        "authority": "State",
        "region": "US-CT",
        "from_on": date(2025, 12, 1),
        "zone": NEW_YORK,
        "packs": [],
        **members,
    }
    return msgspec.convert(whole, Reporting, strict=False)


def utc(text: str) -> datetime:
    """An instant, stated in UTC."""
    return datetime.fromisoformat(f"{text}+00:00")
