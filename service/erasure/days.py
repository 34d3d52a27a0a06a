"""Whose days: what may be of a customer is erased with them; what surely is, is handed out to them. Pure."""

from collections.abc import Mapping
from datetime import date, datetime
from uuid import UUID
from zoneinfo import ZoneInfo

import msgspec

from service.erasure.models import History, Home, RefusedBody, VisitVersion
from service.kernel.bodies import read_json
from service.kernel.days import local_date
from service.refusals.rules import arrival_in

Homes = Mapping[UUID, Home]
# The members that say of which day a thing is that was stated alone.
DAYS = ("applied_at", "at", "happened_at", "opened_at")


def is_visit_of(version: VisitVersion, homes: Homes) -> bool:
    """Whether a version of a visit is the customer's, by the place and the arrival that it states itself."""
    return _is_of(homes.get(version.property_id), version.arrived_at)


def may_be_history_of(history: History, homes: Homes) -> bool:
    """Whether a stated version may speak of the customer: it is of a day or a visit of theirs, or came on such a day.

    Of a property that nobody held after, every version may.
    """
    home = homes.get(history.property_id) if history.property_id else None
    return (
        history.of_visit
        or (home is not None and home.is_last and history.noun == "property")
        or _is_of(home, history.received_at)
        or _is_of(home, _day_in(history))
    )


def is_history_of(history: History, homes: Homes) -> bool:
    """Whether a stated version is of a day of the customer's; one that states no day, whether it came on one."""
    home = homes.get(history.property_id) if history.property_id else None
    return _is_of(home, _day_in(history) or history.received_at)


def may_be_refused_of(refused: RefusedBody, homes: Homes) -> bool:
    """Whether a refused body is of a day on which the customer held what it names; of no readable day, it may be."""
    at = arrival_in(read_json(refused.body))
    return refused.is_theirs or at is None or any(_is_of(homes.get(id_), at) for id_ in refused.property_ids)


def is_refused_of(refused: RefusedBody, homes: Homes) -> bool:
    """Whether a refused body states a place and an arrival of the customer's; what cannot be placed is nobody's."""
    body = read_json(refused.body)
    stated = body.get("property_id") if isinstance(body, dict) else None
    try:
        home = homes.get(msgspec.convert(stated, UUID))
    except msgspec.ValidationError:
        return False
    return _is_of(home, arrival_in(body))


def _is_of(home: Home | None, at: datetime | None) -> bool:
    """What nobody else ever held is the customer's on every day, and on one that is not known."""
    if home is None:
        return False
    if home.is_theirs or at is None:
        return home.is_theirs
    day = local_date(at, ZoneInfo(home.zone))
    return any(days.from_on <= day < (days.until_on or date.max) for days in home.held)


def _day_in(history: History) -> datetime | None:
    """The instant that a stated body is of; None where its noun has none."""
    stated = next((history.body[name] for name in DAYS if name in history.body), None)
    return None if stated is None else msgspec.convert(stated, datetime)
