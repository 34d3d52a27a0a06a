"""Facts of one sign at one property, as the rules take them."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

from service.deadlines.models import Derived, Kind, Place
from service.identity.models import HousePolicy
from service.lawn.models import LawnPatch
from service.signs.models import (
    Bound,
    Cleared,
    Geometry,
    Looked,
    Mention,
    Seen,
    SignBook,
    SignFacts,
    Tamped,
)
from service.signs.rules import derive

PROPERTY, VISIT, SIGN = (UUID(int=0x0198F3A0_0000_7000_8000 << 48 | n) for n in range(2, 5))
F1, F2 = UUID(int=0xF1), UUID(int=0xF2)
PLACE = Place(property_id=PROPERTY, zone="America/Los_Angeles", house_policies=[])


def a_place(*policies: HousePolicy) -> Place:
    """The property under these house policies."""
    return Place(property_id=PROPERTY, zone="America/Los_Angeles", house_policies=list(policies))


def la(day: int, hour: int, minute: int = 0) -> datetime:
    """An instant of May 2026, by the clock on a wall in Los Angeles."""
    return datetime(2026, 5, day, tzinfo=UTC) + timedelta(hours=hour + 7, minutes=minute)


def utc(day: int, hour: int) -> datetime:
    return datetime(2026, 5, day, hour, tzinfo=UTC)


def fact_id(number: int) -> UUID:
    return UUID(int=0xFAC7 << 64 | number)


def mound(seen_at: datetime, *, on_turf: bool = True, **more: Any) -> Seen:
    return Seen(id=SIGN, visit_id=VISIT, property_id=PROPERTY, at=seen_at, on_turf=on_turf, **more)


def looked(at: datetime, number: int = 10, **more: Any) -> Looked:
    return Looked(id=fact_id(number), visit_id=VISIT, property_id=PROPERTY, at=at, **more)


def cleared(at: datetime, number: int = 20, count: int | None = None) -> Cleared:
    return Cleared(id=fact_id(number), visit_id=VISIT, property_id=PROPERTY, at=at, count=count)


def tamped(at: datetime, number: int = 30) -> Tamped:
    return Tamped(id=fact_id(number), visit_id=VISIT, property_id=PROPERTY, at=at)


def repaired(at: datetime, number: int = 40) -> Mention:
    return Mention(noun="repair", id=fact_id(number), visit_id=VISIT, property_id=PROPERTY, at=at)


def survey(at: datetime, feature_id: UUID | None = None, geometry: Geometry | None = None) -> Bound:
    own = fact_id(int(at.timestamp()))
    return Bound(id=own, kind="survey", property_id=PROPERTY, at=at, feature_id=feature_id, geometry=geometry)


def mown(at: datetime, feature_id: UUID | None = None) -> Bound:
    return Bound(id=fact_id(50), kind="mowing", property_id=PROPERTY, at=at, feature_id=feature_id)


def told(sign: Seen | None, *facts: Looked | Cleared | Tamped, mentions: Sequence[Mention] = ()) -> SignFacts:
    return SignFacts(
        sign_id=SIGN,
        sign=sign,
        looks=[one for one in facts if isinstance(one, Looked)],
        clearings=[one for one in facts if isinstance(one, Cleared)],
        tampings=[one for one in facts if isinstance(one, Tamped)],
        mentions=list(mentions),
    )


def book_of(
    sign: Seen | None,
    *facts: Looked | Cleared | Tamped,
    bounds: Sequence[Bound] = (),
    mentions: Sequence[Mention] = (),
    place: Place = PLACE,
) -> SignBook:
    return derive(told(sign, *facts, mentions=mentions), {PROPERTY: bounds}, {PROPERTY: place})


def patch_of(
    sign: Seen,
    *facts: Looked | Cleared,
    bounds: Sequence[Bound] = (),
    mentions: Sequence[Mention] = (),
    place: Place = PLACE,
) -> LawnPatch:
    (patch,) = book_of(sign, *facts, bounds=bounds, mentions=mentions, place=place).patches
    return patch


def deadlines_of(book: SignBook, kind: Kind) -> list[Derived]:
    return [one for one in book.deadlines if one.kind == kind]
