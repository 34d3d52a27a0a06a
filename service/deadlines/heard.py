"""When a word about a set asks for a look: an alarm, a notice, or the last contact of a monitor. Pure."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

from service.deadlines.models import Contact
from service.deadlines.sun import is_daytime, next_rise
from service.kernel.values import Point
from service.packs.models import SinceWord

# where the sun does not rise within two days, hours that count from sunrise count from the word itself
_TWO_DAYS = timedelta(days=2)


class Heard(NamedTuple):
    """The word that a rule counts from, the instant that it gives, and where hours count from a sunrise, that.

    `first_at` is when such a word came first: until then the rules that it stands in for held.
    """

    word_at: datetime
    sunrise_at: datetime | None
    due_at: datetime
    first_at: datetime


def hear(
    rule: SinceWord, contacts: Sequence[Contact], zone: ZoneInfo, position: Point | None
) -> Heard | None:
    """What a rule makes of the words since a starting fact, in any order; None where none concerns it.

    An alarm or a notice counts from the first. A monitor's contacts count from the last that came while the
    one before it still held: after a silence the look was owed, and a later contact does not undo that.
    """
    said = sorted(
        one.at for one in contacts if rule.word in one.words and _is_then(rule, one.at, zone, position)
    )
    if not said:
        return None
    word_at = said[0]
    if rule.word == "last_contact":
        for at in said[1:]:
            if at <= _due(rule, word_at, position)[0]:
                word_at = at
    due_at, sunrise_at = _due(rule, word_at, position)
    return Heard(word_at, sunrise_at, due_at, said[0])


def _due(rule: SinceWord, at: datetime, position: Point | None) -> tuple[datetime, datetime | None]:
    """Real hours after a word, or after the next sunrise, which comes with it."""
    at, rise = at.astimezone(UTC), None
    if rule.from_sunrise and position is not None:
        rise = next_rise(at, position, at + _TWO_DAYS)
    return (rise or at) + timedelta(hours=rule.hours), rise


def _is_then(rule: SinceWord, at: datetime, zone: ZoneInfo, position: Point | None) -> bool:
    """Whether a word came in the part of the day that the rule speaks of; in doubt it did."""
    if rule.part_of_day == "any" or position is None:
        return True
    is_day = is_daytime(at, position, zone)
    return is_day is None or is_day == (rule.part_of_day == "day")
