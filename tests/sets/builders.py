"""Facts of one set for tests of its rules: placings, checks and places, in local time."""

from datetime import UTC, datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from service.deadlines.models import Attempt, Derived, Place
from service.identity.models import HousePolicy
from service.sets import rules
from service.sets.models import Check, Mention, Placing, SetBook, SetFacts

LOS_ANGELES = "America/Los_Angeles"
HOME = UUID(int=1)
ELSEWHERE = UUID(int=2)
SET = UUID(int=0xA1)
NEW_SET = UUID(int=0xA2)
EVERY_DAY = HousePolicy(calendar_days=1)


def utc(text: str) -> datetime:
    """An instant as the contract writes it."""
    return datetime.fromisoformat(text)


def local(text: str, zone: str = LOS_ANGELES) -> datetime:
    """A wall clock reading in a zone, as an instant in UTC."""
    return datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(zone)).astimezone(UTC)


def a_place(zone: str = LOS_ANGELES, *policies: HousePolicy, attempts: tuple[Attempt, ...] = ()) -> Place:
    """The set's property under the default house policy, or under those given."""
    return Place(
        property_id=HOME, zone=zone, house_policies=list(policies or (EVERY_DAY,)), attempts=list(attempts)
    )


def a_placing(placed_at: datetime, traps: int = 1, **members: Any) -> Placing:
    """A set of as many traps, numbered from 1."""
    stated = {"visit_id": UUID(int=0x10), "property_id": HOME, "mechanism": "scissor_jaw", **members}
    return Placing(placed_at=placed_at, trap_nos=list(range(1, traps + 1)), **stated)


def a_check(number: int, checked_at: datetime, *said: str, **members: Any) -> Check:
    """Check 1, 2, ... each of a visit of its own; `said` is finding and action, else undisturbed and left."""
    finding, action = said or ("undisturbed", "left")
    stated = {"visit_id": UUID(int=0x20 + number), "property_id": HOME, "finding": finding, "action": action}
    return Check(id=check_id(number), checked_at=checked_at, **{**stated, **members})


def check_id(number: int) -> UUID:
    """The id of check 1, 2, ..."""
    return UUID(int=0xC0 + number)


def a_mention(noun: str = "set", **members: Any) -> Mention:
    """A new set that says it was moved from this one, or a repair."""
    stated = {"fact_id": NEW_SET, "visit_id": UUID(int=0x30), "property_id": HOME}
    return Mention(**{"noun": noun, "at": local("2026-03-03 10:00"), **stated, **members})


def book_of(
    placing: Placing | None, *checks: Check, place: Place | None = None, mentions: tuple[Mention, ...] = ()
) -> SetBook:
    """All that follows from these facts."""
    facts = SetFacts(set_id=SET, placing=placing, checks=list(checks), mentions=list(mentions))
    return rules.derive(facts, place or a_place())


def looks_due(book: SetBook) -> list[tuple[str, datetime]]:
    """State and due instant of each `check` deadline, in the order they started."""
    return [(one.state, one.due_at) for one in book.deadlines if one.kind == "check"]


def still_open(book: SetBook) -> list[Derived]:
    """What is still due."""
    return [one for one in book.deadlines if one.state == "open"]


def conflict_kinds(book: SetBook) -> list[tuple[str, UUID]]:
    """Kind and fact of each conflict, sorted."""
    return sorted((one.kind, one.fact_id) for one in book.conflicts)
