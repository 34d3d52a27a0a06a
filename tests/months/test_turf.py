"""What a month says of turf: saved, lost, found late, under covers, opened by our own digging, repaired.

Areas are our own arithmetic: a mound of 430 mm by 400 mm is 0.135088 m2, an opening of 200 mm by 150 mm 0.023562 m2.
"""

from datetime import UTC, datetime
from typing import Any

import pytest

from tests.bodies import a_check, a_set, a_sign, a_visit, an_id
from tests.http import PROPERTY, Api, Clock, a_property
from tests.months.test_routes import at

OTHER = an_id(301)
# what the turf under each mound came to: cleared on that day, and how it was seen later
FATES: dict[int, tuple[int | None, str | None]] = {
    20: (5, "sound"),
    21: (5, None),
    22: (5, "thin"),
    23: (9, None),
    24: (9, "dead"),
    25: (9, "sound"),
    26: (None, None),
}
SIZE = {"length_mm": 430, "width_mm": 400}


def month_of(part: dict[str, Any]) -> dict[str, tuple[int, str | None]]:
    """By figure and kind: how many, and their area."""
    return {
        " ".join([one["figure"], *([one["kind"]] if "kind" in one else [])]): (
            one["count"],
            one.get("area_m2"),
        )
        for one in part["figures"]
        if one["figure"].startswith(("turf", "lawn", "covers", "repairs"))
    }


def ids_of(part: dict[str, Any], figure: str) -> list[str]:
    return [id_ for one in part["figures"] if one["figure"] == figure for id_ in one["ids"]]


@pytest.fixture
async def may(api: Api, clock: Clock) -> Api:
    """Mounds seen on the 4th, absent that night: due on the 7th. One more on a first call, dead when it was seen."""
    clock.now = datetime(2026, 6, 10, 18, tzinfo=UTC)
    signs = [a_sign(id=an_id(number), seen_at=at(4, 9), absent_since=at(4, 1), **SIZE) for number in FATES]
    signs.append(a_sign(id=an_id(27), seen_at=at(4, 9), **SIZE))
    looks = [{"id": an_id(90), "sign_id": an_id(27), "looked_at": at(4, 9, 5), "turf": "dead"}]
    clearings = [{"id": an_id(91), "sign_id": an_id(27), "cleared_at": at(4, 9, 10)}]
    await visit(api, 100, 4, signs=signs, looks=looks, clearings=clearings)
    for number, (day, turf) in FATES.items():
        if day is not None:
            cleared = {"id": an_id(number + 40), "sign_id": an_id(number), "cleared_at": at(day, 10)}
            await visit(api, 100 + number, day, clearings=[cleared])
        if turf is not None:
            look = {"id": an_id(number + 60), "sign_id": an_id(number), "looked_at": at(12, 9), "turf": turf}
            await visit(api, 200 + number, 12, looks=[look])
    return api


async def visit(api: Api, number: int, day: int, **lists: Any) -> None:
    await api.made(f"visits/{an_id(number)}", a_visit(arrived_at=at(day, 9), **lists))


async def test_turf_is_counted_by_what_became_of_it_with_areas_and_ids(may: Api) -> None:
    (school,) = (await may.get("months/2026-05")).json()["properties"]
    assert month_of(school) == {
        "lawn_patches found_late": (1, "0.135088"),
        "lawn_patches in_time": (3, "0.405264"),
        "lawn_patches late": (3, "0.405264"),
        "lawn_patches still_lying": (1, "0.135088"),
        "turf_saved not_looked_at": (1, "0.135088"),
        "turf_saved sound": (1, "0.135088"),
        "turf_lost dead": (1, "0.135088"),
        "turf_lost not_looked_at": (1, "0.135088"),
        "turf_found_late dead": (1, "0.135088"),
    }
    patches = {one["id"]: one["sign_id"] for one in await may.items("lawn-patches")}
    saved = {patches[one] for one in ids_of(school, "turf_saved")}
    lost = {patches[one] for one in ids_of(school, "turf_lost")}
    found = {patches[one] for one in ids_of(school, "turf_found_late")}
    assert (saved, lost, found) == ({an_id(20), an_id(21)}, {an_id(23), an_id(24)}, {an_id(27)})
    listed = await may.items(
        f"lawn-patches?property_id={PROPERTY}&since=2026-05-01&until=2026-06-01&verdict=late"
    )
    assert {one["id"] for one in listed} < set(ids_of(school, "lawn_patches"))
    assert len(listed) == 3


async def test_what_our_digging_opened_stays_open_until_a_look_or_a_repair_closes_it(
    api: Api, clock: Clock
) -> None:
    clock.now = datetime(2026, 6, 10, 18, tzinfo=UTC)
    opened = {"placed_at": at(4, 9), "opening_length_mm": 200, "opening_width_mm": 150}
    sets = [a_set(id=an_id(number), opening_on_turf=number != 34, **opened) for number in range(30, 35)]
    await visit(api, 100, 4, sets=sets)
    closed = [
        a_check(id=an_id(40), set_id=an_id(30), checked_at=at(6, 9), action="pulled", opening_closed=True),
        a_check(id=an_id(41), set_id=an_id(32), checked_at=at(6, 9), opening_closed=True),
    ]
    await visit(api, 101, 6, checks=closed)
    dug_again = a_check(id=an_id(42), set_id=an_id(32), checked_at=at(8, 9), opening_closed=False)
    repair = {
        "id": an_id(60),
        "set_id": an_id(31),
        "repaired_at": at(8, 10),
        "how": "turf_laid",
        "area_m2": "0.25",
    }
    await visit(api, 102, 8, checks=[dug_again], repairs=[repair])
    month = (await api.get("months/2026-05")).json()
    (school,) = month["properties"]
    assert month_of(school) == {
        "turf_opened": (4, "0.094248"),
        "turf_opened_still": (2, "0.047124"),
        "repairs turf_laid": (1, "0.25"),
    }
    assert ids_of(school, "turf_opened_still") == [an_id(32), an_id(33)]
    assert ids_of(school, "repairs") == [an_id(60)]
    assert month_of(month) == month_of(school)


async def test_covers_stand_apart_and_belong_to_the_month_in_which_they_were_left(
    api: Api, clock: Clock
) -> None:
    clock.now = datetime(2026, 6, 10, 18, tzinfo=UTC)
    board = {"cover": "board", "cover_length_mm": 600, "cover_width_mm": 400, "cover_on_turf": True}
    await visit(api, 100, 4, sets=[a_set(placed_at=at(4, 9), **board)])
    shifted = a_check(id=an_id(40), checked_at=at(6, 9), cover="shifted")
    await visit(api, 101, 6, checks=[shifted])
    pulled = a_check(id=an_id(41), checked_at=at(31, 23, 30), action="pulled")
    await visit(api, 102, 31, checks=[pulled])
    # the last evening of May there is June in UTC already
    await api.made(f"properties/{OTHER}", a_property(name="Birch Lane"))
    there = a_visit(
        property_id=OTHER,
        arrived_at=at(31, 23, 30),
        sets=[a_set(id=an_id(31), placed_at=at(31, 23, 30), **board)],
    )
    await api.made(f"visits/{an_id(103)}", there)
    month = (await api.get("months/2026-05")).json()
    school, lane = month["properties"]
    assert month_of(school) == {"covers in_time": (1, "0.240000"), "covers late": (1, "0.240000")}
    assert month_of(lane) == {"covers still_lying": (1, "0.240000")}
    june = (await api.get("months/2026-06")).json()
    assert [month_of(one) for one in june["properties"] if month_of(one)] == []
