"""Ten thousand generated deadlines and more: what the book says is what a replay and an auditor find."""

import random
from collections import Counter
from typing import Any
from uuid import UUID

import msgspec

from service.deadlines.models import OF_SETS, OF_SIGNS
from service.kernel.db import Db, Pool
from service.replay.actions import read_book, replay
from service.replay.models import Entered
from service.replay.rules import derived, differing
from service.work import ticks as work
from tests.books import HANDLERS
from tests.http import Api, Clock
from tests.replay.auditor import faults
from tests.replay.cases import PLACES, Work

AT_LEAST = 10_000
# of all regions: every kind of rule is at work somewhere
PACKS = {
    "US-CA": [
        {"kind": "elapsed", "id": "hours", "sentence": "A look within 24 hours.", "hours": 24},
        {"kind": "who_may_look", "id": "who", "sentence": "By setter or agent.", "accepts": ["setter", "agent"]},
    ],
    "EG": [
        {"kind": "after_sunrise", "id": "sun", "sentence": "Within 5 hours after sunrise.", "hours": 5},
        {"kind": "since_word", "id": "alarm", "sentence": "Within 6 hours.", "word": "alarm", "hours": 6},
    ],
    "CL": [
        {"kind": "calendar_day", "id": "day", "sentence": "Every second day.", "days": 2},
        {"kind": "exemption", "id": "gophers", "sentence": "Gophers are out.", "species": ["Thomomys"], "of": ["day"]},
        {"kind": "latest_hour", "id": "noon", "sentence": "By noon.", "hour": 12, "mechanisms": ["box"]},
    ],
    "AU-NSW": [
        {"kind": "calendar_day", "id": "day", "sentence": "Every day."},
        {"kind": "since_word", "id": "notice", "sentence": "Within 3 hours.", "word": "notice", "hours": 3},
        {"kind": "since_word", "id": "contact", "sentence": "Within 12 hours of contact.", "word": "last_contact",
         "hours": 12, "instead_of": ["day"]},
    ],
}  # fmt: skip


async def posted(api: Api, seed: int) -> None:
    """Properties, packs and jobs; then all visits in any order, some amended, one withdrawn."""
    dice = random.Random(seed)  # noqa: S311 - the same cases every time
    names = ("R. Example", "S. Sample")
    workers = [(await api.post("workers", {"name": name})).json()["id"] for name in names]
    for region, rules in PACKS.items():
        name = f"sample-act-{region.lower()}"
        pack = {"name": name, "region": region, "authority": "Sample authority", "citation": "Sample Act s 1",
                "verified_on": "2026-01-01", "state": "law", "rules": rules}  # fmt: skip
        answer = await api.post("rule-packs", pack)
        assert answer.status_code == 201, answer.text
    bodies: list[dict[str, Any]] = []
    for number, place in enumerate(PLACES):
        there = Work(dice, place, number, workers)
        stated: dict[str, Any] = {
            "name": "A field",
            "kind": "lawn",
            "zone": place.zone,
            "region": place.region,
        }
        if place.position:
            stated["position"] = {"type": "Point", "coordinates": list(place.position)}
        await api.made(f"properties/{there.property_id}", stated)
        job = {"property_id": there.property_id, "target": place.target, "opened_at": "2025-01-01T00:00:00Z"}
        assert (await api.post("jobs", job)).status_code == 201
        bodies += there.visits()
    dice.shuffle(bodies)
    for body in bodies:
        answer = await api.post("visits", body, Prefer="return=minimal")
        assert answer.status_code == 201, answer.text
    shorter = next(one for one in bodies if one.get("checks"))
    etag = (await api.get(f"visits/{shorter['id']}")).headers["ETag"]
    amended = shorter | {"checks": shorter["checks"][::2], "amends": etag}
    assert (await api.post("visits", amended, Prefer="return=minimal")).status_code == 200
    locked = next(one for one in bodies if one.get("outcome"))
    assert (await api.delete(f"visits/{locked['id']}", If_Match='"1"')).status_code == 200


async def deadlines_of(api: Api) -> list[dict[str, Any]]:
    """Every deadline that follows from the facts."""
    found: list[dict[str, Any]] = []
    asked: str | None = "/v1/deadlines?limit=500"
    while asked is not None:
        answer = await api.get(asked)
        found += answer.json()["items"]
        asked = answer.links.get("next", {}).get("url")
    return [one for one in found if one["state"] != "withdrawn"]


async def test_ten_thousand_deadlines_are_what_a_replay_and_an_auditor_find(
    api: Api, clock: Clock, pool: Pool, clock_pool: Pool
) -> None:
    await posted(api, seed=7)
    while await work.run(clock_pool, pool, clock.now, HANDLERS):
        pass
    shown = await deadlines_of(api)
    assert len(shown) >= AT_LEAST
    assert [(one["id"], faults(one)) for one in shown if faults(one)] == []
    winners = Counter(one["why"]["winner"].partition("/")[2] for one in shown)
    assert {"hours", "sun", "alarm", "noon", "notice", "contact", "calendar-day"} <= set(winners)

    by_property: dict[str, list[dict[str, Any]]] = {}
    for one in shown:
        by_property.setdefault(one["property_id"], []).append(one)
    db = Db(pool)
    for there in by_property.values():
        anything = there[0].get("set_id") or there[0]["sign_id"]
        book = await read_book(db, api.business_id, UUID(anything))
        again = {}
        for kinds, member in ((OF_SETS, "set_id"), (OF_SIGNS, "sign_id")):
            for subject_id in {one[member] for one in there if member in one}:
                again |= derived(book, kinds, UUID(subject_id))
        assert {str(id_) for id_ in again} == {one["id"] for one in there}
        for one in there:
            subject = {
                "subject_id": one.get("set_id") or one.get("sign_id"),
                "is_being_worked_out_anew": False,
            }
            entered = msgspec.convert(one | subject, type=Entered)
            assert differing(entered, again[UUID(one["id"])]) == []
    for one in shown[:: len(shown) // 20]:
        found = await replay(db, api.business_id, UUID(one["id"]), clock.now)
        assert found.differing == []
