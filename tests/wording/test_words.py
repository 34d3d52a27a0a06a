"""Words for people: areas, instants that are midnight somewhere, classes."""

from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import msgspec
import pytest

from service.wording.content import Stated
from service.wording.words import area_words, class_words, due_words, species_words, turf_words


@pytest.mark.parametrize(
    ("stated", "said"),
    [
        ("0.3", "0.3 m²"),
        ("0.50", "0.50 m²"),
        ("0.082545", "0.08 m²"),
        ("12", "12 m²"),
        ("0.004999", "under 0.01 m²"),
        ("0.005", "under 0.01 m²"),
        ("0.000000", "0.00 m²"),
    ],
)
def test_an_area_is_said_to_the_hundredth(stated: str, said: str) -> None:
    assert area_words(stated) == said


@pytest.mark.parametrize(
    ("at", "zone", "said"),
    [
        # the instant is the first of 16 May there, so the day before is the last one that will do
        (datetime(2026, 5, 16, 7, tzinfo=UTC), "America/Los_Angeles", "by the end of 15 May 2026"),
        (datetime(2026, 5, 16, 7, tzinfo=UTC), "Europe/London", "before 16 May 2026, 08:00"),
        (datetime(2026, 3, 1, 0, tzinfo=UTC), "UTC", "by the end of 28 February 2026"),
    ],
)
def test_what_is_due_at_midnight_is_due_by_the_end_of_the_day(at: datetime, zone: str, said: str) -> None:
    assert due_words(at, ZoneInfo(zone)) == said


def test_a_class_is_said_as_the_register_says_it_and_one_that_is_gone_by_its_name() -> None:
    assert class_words("minimum_risk_pesticide") == "minimum-risk pesticide"
    assert class_words("unclassified") == "not on the method register"
    assert class_words("phased_out") == "phased out"


def test_what_our_digging_opened_is_not_called_turf_that_was_lost() -> None:
    figures: dict[str, Any] = {
        "opened": {"count": 2, "area_m2": "0.082545"},
        "opened_still": {"count": 1, "area_m2": "0.041273"},
        "saved": {"count": 1, "area_m2": None},
        "lost": {"count": 0, "area_m2": None},
    }
    said = turf_words(msgspec.convert({"mounds_cleared": 1, "turf_figures": figures}, Stated))
    assert said == (
        "1 mound cleared; opened by our digging at 2 places (0.08 m²); still open at the end: 1 place (0.04 m²);"
        " turf saved at 1 place"
    )


def test_an_animal_is_called_as_people_call_it_beside_its_name() -> None:
    assert species_words("Talpa europaea") == "mole (Talpa europaea)"
    assert species_words("Pituophis catenifer") == "Pituophis catenifer"
    assert species_words("") == ""
