"""The round of a day over HTTP: a week of May 2026 in Los Angeles, UTC-7; our own arithmetic.

One look on every local calendar day (common practice): a set placed on Monday is due as Wednesday begins, which is
the end of Tuesday.
"""

from typing import Any
from uuid import UUID

import asyncpg
import pytest

from service.deadlines.rules import deadline_id
from tests.bodies import a_check, a_set, a_sign, a_visit, an_id
from tests.http import LOS_ANGELES, PROPERTY, Api, Clock, a_property

SET, SIGN, HARBOUR, PLAZA = an_id(30), an_id(20), an_id(0x51), an_id(0x52)
MONDAY, TUESDAY, WEDNESDAY = "2026-05-11", "2026-05-12", "2026-05-13"


def at(day: str, hour: str = "09:00") -> str:
    """That day and hour in Los Angeles."""
    return f"{day}T{hour}:00-07:00"


async def visit(api: Api, number: int, arrived_at: str, **facts: Any) -> None:
    """A visit of that number."""
    await api.made(f"visits/{an_id(number)}", a_visit(arrived_at=arrived_at, **facts))


async def the_round(api: Api, day: str, query: str = "") -> dict[str, Any]:
    """The round of a day, as it is answered."""
    answer = await api.get(f"rounds/{day}{query}")
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


async def stops(api: Api, day: str) -> list[str]:
    """Where it goes, in order."""
    return [one["property_id"] for one in (await the_round(api, day))["items"]]


async def standing(api: Api, number: int, property_id: str, placed_at: str, **members: Any) -> None:
    """A set at a property, under the visit's own number."""
    placed = a_set(id=an_id(number + 0x1000), placed_at=placed_at, **members)
    await visit(api, number, placed_at, property_id=property_id, sets=[placed])


async def test_a_stop_shows_what_stands_and_waits_there_and_what_to_heed(api: Api) -> None:
    where = {"type": "Point", "coordinates": [-122.45, 45.55]}
    place = {
        "name": "Harbour school",
        "address": "1 Quay",
        "locality": "Sample Bay",
        "access_notes": "Ask at the gate.",
        "position": where,
        "hazards": ["water", "children"],
    }
    await api.made(f"properties/{HARBOUR}", a_property(**place))
    mound = a_sign(seen_at=at(MONDAY, "08:30"), absent_since=at(MONDAY, "07:00"))
    traps = {"mechanism": "live_tunnel", "position": where, "target": "Scapanus latimanus"}
    placed = a_set(placed_at=at(MONDAY), **traps)
    await visit(api, 3, at(MONDAY, "08:30"), property_id=HARBOUR, signs=[mound], sets=[placed])
    owed = deadline_id(api.business_id, "check", UUID(SET), UUID(SET))
    soil = deadline_id(api.business_id, "lawn", UUID(SIGN), UUID(SIGN))
    whys = {one["id"]: one["why"]["sentence"] for one in await api.items("deadlines")}
    shown = await the_round(api, TUESDAY)
    cautions = shown["items"][0].pop("cautions")
    assert shown == {
        "date": TUESDAY,
        "notice": "Local codes and licensed practice come first.",
        "items": [
            {
                "property_id": HARBOUR,
                "zone": LOS_ANGELES,
                **place,
                "earliest_due_at": "2026-05-13T07:00:00Z",
                "sets": [
                    {
                        "id": SET,
                        **traps,
                        "state": "standing",
                        "deadline_id": str(owed),
                        "due_at": "2026-05-13T07:00:00Z",
                        "why": whys[str(owed)],
                    }
                ],
                "deadlines": [
                    {
                        "id": str(soil),
                        "kind": "lawn",
                        "sign_id": SIGN,
                        "due_at": "2026-05-14T14:00:00Z",
                        "why": whys[str(soil)],
                    }
                ],
            }
        ],
    }
    assert [one["code"] for one in cautions] == [
        *("mole_runs", "children", "water", "traps_stand", "cover_and_tell", "count_traps")
    ]
    assert all(one["source"] for one in cautions)


async def test_a_stop_is_on_the_round_of_the_day_by_whose_end_something_is_due(api: Api) -> None:
    await standing(api, 3, PROPERTY, at(MONDAY))
    assert await stops(api, MONDAY) == []
    assert await stops(api, TUESDAY) == [PROPERTY]
    # and stays there until somebody has looked, whatever day is asked for
    assert await stops(api, WEDNESDAY) == [PROPERTY]
    look = a_check(set_id=an_id(0x1003), checked_at=at(TUESDAY, "17:00"))
    await visit(api, 4, at(TUESDAY, "17:00"), checks=[look])
    assert await stops(api, TUESDAY) == []
    assert await stops(api, WEDNESDAY) == [PROPERTY]


async def test_a_past_round_is_what_was_due_then_and_is_still_open(api: Api, clock: Clock) -> None:
    await api.made(f"properties/{HARBOUR}", a_property())
    await standing(api, 3, PROPERTY, at(MONDAY))
    await standing(api, 4, HARBOUR, at(TUESDAY))
    clock.now = clock.now.replace(month=7)
    assert await stops(api, TUESDAY) == [PROPERTY]
    assert await stops(api, WEDNESDAY) == [PROPERTY, HARBOUR]


async def test_the_day_is_that_of_the_property(api: Api) -> None:
    """Due as Wednesday begins: in Auckland, UTC+12, nineteen hours before it does in Los Angeles."""
    await api.made(f"properties/{HARBOUR}", a_property(zone="Pacific/Auckland", region="NZ"))
    await standing(api, 3, PROPERTY, at(MONDAY))
    await standing(api, 4, HARBOUR, "2026-05-11T09:00:00+12:00")
    found = (await the_round(api, TUESDAY))["items"]
    assert [(one["property_id"], one["earliest_due_at"]) for one in found] == [
        (HARBOUR, "2026-05-12T12:00:00Z"),
        (PROPERTY, "2026-05-13T07:00:00Z"),
    ]
    assert await stops(api, MONDAY) == []


async def test_all_that_may_stand_at_a_stop_is_shown_and_what_is_gone_is_not(api: Api) -> None:
    """A set that was made safe is owed nothing, but it stands; a missing one is searched for."""
    made_safe, pulled, missing, awaited = (an_id(0xA0 + number) for number in range(4))
    sets = [a_set(id=one, placed_at=at(MONDAY)) for one in (made_safe, pulled, missing)]
    await visit(api, 3, at(MONDAY), sets=sets)
    told = [(made_safe, "disturbed", "made_safe"), (pulled, "undisturbed", "pulled")]
    told += [(missing, "missing", "left"), (awaited, "undisturbed", "left")]
    checks = [
        a_check(
            id=an_id(0xC0 + number),
            set_id=one,
            checked_at=at(MONDAY, "10:00"),
            finding=finding,
            action=action,
        )
        for number, (one, finding, action) in enumerate(told)
    ]
    await visit(api, 4, at(MONDAY, "10:00"), checks=checks)
    (stop,) = (await the_round(api, TUESDAY))["items"]
    assert [(one["id"], one["state"], one.get("due_at")) for one in stop["sets"]] == [
        (awaited, "awaited", "2026-05-13T07:00:00Z"),
        (made_safe, "made_safe", None),
        (missing, "missing", None),
    ]
    assert [(one["kind"], one["set_id"]) for one in stop["deadlines"]] == [("set_search", missing)]
    # fetched before anybody placed it in the book: nothing is owed, so nothing stands
    look = a_check(id=an_id(0xCF), set_id=awaited, checked_at=at(MONDAY, "11:00"), action="pulled")
    await visit(api, 5, at(MONDAY, "11:00"), checks=[look])
    (stop,) = (await the_round(api, TUESDAY))["items"]
    assert [one["id"] for one in stop["sets"]] == [made_safe, missing]


async def test_a_place_with_nothing_but_turf_or_a_run_to_see_to_is_a_stop(api: Api) -> None:
    """A pressed run is looked at by the end of the next day; soil of unknown age by the end of the day seen."""
    run = a_sign(kind="surface_run", seen_at=at(MONDAY), on_turf=False)
    tamping = {"id": an_id(21), "sign_id": SIGN, "tamped_at": at(MONDAY)}
    await visit(api, 3, at(MONDAY), signs=[run], tampings=[tamping])
    await api.made(f"properties/{HARBOUR}", a_property(hazards=["vehicles", "children"]))
    mound = a_sign(id=an_id(22), seen_at=at(MONDAY))
    await visit(api, 4, at(MONDAY), property_id=HARBOUR, signs=[mound])
    found = (await the_round(api, TUESDAY))["items"]
    assert [(one["property_id"], [each["kind"] for each in one["deadlines"]]) for one in found] == [
        (HARBOUR, ["lawn"]),
        (PROPERTY, ["run_look"]),
    ]
    # children are to be kept from traps, and none stands here
    assert [[each["code"] for each in one["cautions"]] for one in found] == [["vehicles"], []]
    assert await stops(api, MONDAY) == [HARBOUR]


async def test_hollow_paving_is_told_until_somebody_has_levelled_it(api: Api) -> None:
    paving = a_sign(kind="undermined_paving", seen_at=at(MONDAY), on_turf=False)
    await visit(
        api, 3, at(MONDAY), signs=[paving], sets=[a_set(placed_at=at(MONDAY), mechanism="live_tunnel")]
    )

    async def is_told() -> bool:
        (stop,) = (await the_round(api, TUESDAY))["items"]
        return "hollowed_paving" in {one["code"] for one in stop["cautions"]}

    assert await is_told()
    levelled = {"sign_id": SIGN, "repaired_at": at(MONDAY, "11:00"), "how": "levelled", "area_m2": "0.5"}
    await visit(api, 4, at(MONDAY, "11:00"), repairs=[{"id": an_id(61), **levelled}])
    assert not await is_told()


async def test_cautions_of_several_sets_are_said_once(api: Api) -> None:
    sets = [
        a_set(placed_at=at(MONDAY)),
        a_set(id=an_id(31), placed_at=at(MONDAY), mechanism="harpoon", depth_mm=320),
    ]
    await visit(api, 3, at(MONDAY), sets=sets)
    (stop,) = (await the_round(api, TUESDAY))["items"]
    said = {one["code"]: one["called_up_by"] for one in stop["cautions"]}
    assert len(said) == len(stop["cautions"])
    assert said["safety_catch"] == ["mechanism harpoon", "mechanism scissor_jaw"]
    assert said["locate_ticket"] == ["depth 320 mm"]


async def test_stops_come_by_their_earliest_due_instant_page_by_page(api: Api) -> None:
    places = [an_id(0x60 + number) for number in range(5)]
    for number, place in enumerate(places):
        await api.made(f"properties/{place}", a_property(name=f"Place {number}"))
        # the later its number, the earlier it is due, but for the last two, which are due together
        day = MONDAY if number > 2 else TUESDAY if number > 1 else WEDNESDAY
        await standing(api, 0x200 + number, place, at(day))
    path, seen = f"rounds/{WEDNESDAY}?limit=2", []
    expected = [places[3], places[4], places[2]]
    while path:
        answer = await api.get(path)
        seen.append([one["property_id"] for one in answer.json()["items"]])
        link = answer.headers.get("link")
        assert (link is None) is ("next" not in answer.json())
        path = link.partition(">")[0].removeprefix("<") if link else ""
    assert seen == [expected[:2], expected[2:]]


async def test_the_round_has_a_weak_tag_that_moves_with_what_it_answers(api: Api) -> None:
    await standing(api, 3, PROPERTY, at(MONDAY))
    first = await api.get(f"rounds/{TUESDAY}")
    tag = first.headers["etag"]
    assert tag.startswith('W/"')
    again = await api.get(f"rounds/{TUESDAY}", If_None_Match=tag)
    assert (again.status_code, again.content) == (304, b"")
    await api.patch(f"properties/{PROPERTY}", {"hazards": ["pets"]}, If_Match="*")
    assert (await api.get(f"rounds/{TUESDAY}", If_None_Match=tag)).status_code == 200


@pytest.mark.parametrize(
    ("path", "status", "said"),
    [
        ("tomorrow", 400, "year, month and day"),
        ("2026-02-30", 404, "The calendar has no 2026-02-30"),
        (f"{TUESDAY}?limit=0", 400, "limit"),
        (f"{TUESDAY}?after=x", 400, "no cursor of this list"),
        (f"{TUESDAY}?worker_id={an_id(2)}", 400, "no parameter 'worker_id'"),
    ],
)
async def test_what_cannot_be_asked_is_refused(api: Api, path: str, status: int, said: str) -> None:
    answer = await api.get(f"rounds/{path}")
    assert answer.status_code == status
    assert said in answer.json()["detail"]


async def test_two_businesses_with_the_same_ids_see_their_own_round(api: Api, other: Api) -> None:
    await standing(api, 3, PROPERTY, at(MONDAY), mechanism="harpoon")
    await standing(other, 3, PROPERTY, at(MONDAY), mechanism="snap")
    for one, mechanism in ((api, "harpoon"), (other, "snap")):
        (stop,) = (await the_round(one, TUESDAY))["items"]
        assert [each["mechanism"] for each in stop["sets"]] == [mechanism]


async def test_a_round_of_many_stops_takes_as_many_queries_as_one_of_one(
    api: Api, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Counted where the driver takes them; one of them finds the key."""
    asked: list[str] = []
    fetch = asyncpg.Pool.fetch

    async def counted(pool: Any, query: str, *values: Any, **more: Any) -> Any:
        asked.append(query)
        return await fetch(pool, query, *values, **more)

    monkeypatch.setattr(asyncpg.Pool, "fetch", counted)
    await standing(api, 3, PROPERTY, at(MONDAY))
    asked.clear()
    await the_round(api, TUESDAY)
    alone = len(asked)
    for number in range(6):
        place = an_id(0x60 + number)
        await api.made(f"properties/{place}", a_property())
        await standing(api, 0x200 + number, place, at(MONDAY))
    asked.clear()
    assert len(await stops(api, TUESDAY)) == 7
    assert len(asked) == alone == 1 + 4
