"""Packs, places and words for the arithmetic of looks."""

from datetime import UTC, date, datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from service.deadlines.looks import look_due
from service.deadlines.models import Contact, Covered, Due, Place
from service.identity.models import HousePolicy
from service.kernel.values import Point
from service.packs.models import Pack, Rule, Word

OFF = [HousePolicy()]
DAILY = [HousePolicy(calendar_days=1)]


def at(zone: str, text: str) -> datetime:
    """Local wall clock time as an instant."""
    return datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(zone)).astimezone(UTC)


def a_pack(*rules: Rule, **members: Any) -> Pack:
    """A business's own pack for a region that no shipped one covers."""
    stated: dict[str, Any] = {
        "id": UUID(int=1),
        "version": 1,
        "received_at": datetime(2026, 1, 1, tzinfo=UTC),
        "name": "sample-act",
        "region": "AQ",
        "authority": "Sample authority",
        "citation": "Sample Act s 1",
        "text_as_of": "2025",
        "verified_on": date(2026, 1, 1),
        "state": "law",
        "rules": list(rules),
    }
    return Pack(**stated | members)


def a_place(zone: str, *packs: Pack, policies: list[HousePolicy] = OFF, **members: Any) -> Place:
    """A property in that region; the house policy is off unless the test sets one."""
    return Place(
        property_id=UUID(int=7),
        zone=zone,
        house_policies=policies,
        packs=list(packs),
        **{"region": "AQ"} | members,
    )


def a_point(longitude: float, latitude: float) -> Point:
    """Degrees, WGS 84."""
    return Point(coordinates=[longitude, latitude])


def a_word(at: datetime, *words: Word, number: int = 1) -> Contact:
    """What a monitor said, or with `notice` a customer."""
    return Contact(
        check_id=UUID(int=number), at=at, by="customer" if "notice" in words else "monitor", words=list(words)
    )


def due_of(started_at: datetime, place: Place, *contacts: Contact, **covered: Any) -> Due:
    """The due that there is."""
    due = look_due(started_at, place, Covered(**covered), contacts)
    assert due is not None
    return due
