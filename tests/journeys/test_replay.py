"""Every deadline of the demo is what a replay from the stated facts and an auditor find."""

from uuid import UUID

import pytest
from msgspec import convert

from service.deadlines.models import OF_SETS, OF_SIGNS
from service.kernel.db import Db
from service.replay.actions import read_book, replay
from service.replay.models import Entered
from service.replay.rules import derived, differing
from service.replay.saying import lines
from tests.journeys.conftest import LATER, Demo
from tests.replay.auditor import faults

pytestmark = pytest.mark.asyncio(loop_scope="module")


async def test_every_deadline_of_the_demo_is_replayed_from_what_is_stated(demo: Demo) -> None:
    db, business_id = Db(demo.pool), demo.api.business_id
    shown = [one for one in demo.lists["deadlines"] if one["state"] != "withdrawn"]
    assert len(shown) > 300
    assert {one["kind"] for one in shown} >= {"check", "set_search", "run_look", "lawn", "lawn_followup"}
    assert [(one["id"], faults(one)) for one in shown if one["kind"] != "report" and faults(one)] == []
    subjects = {UUID(one.get("set_id") or one.get("sign_id") or one["permit_id"]): one for one in shown}
    again = {}
    for subject_id, one in subjects.items():
        if one["kind"] != "report":
            book = await read_book(db, business_id, subject_id)
            again |= derived(book, OF_SETS if "set_id" in one else OF_SIGNS, subject_id)
    for one in shown:
        if one["kind"] == "report":
            assert (await replay(db, business_id, UUID(one["id"]), LATER)).differing == []
        else:
            subject = {"subject_id": one.get("set_id") or one["sign_id"], "is_being_worked_out_anew": False}
            assert differing(convert(one | subject, type=Entered), again[UUID(one["id"])]) == []


async def test_a_replay_says_each_rule_with_its_text_and_that_the_book_agrees(demo: Demo) -> None:
    one = next(one for one in demo.find("deadlines", kind="check", state="late"))
    said = list(lines(await replay(Db(demo.pool), demo.api.business_id, UUID(one["id"]), LATER)))
    assert said[0] == one["why"]["sentence"]
    assert said[-1] == "They agree."
    assert any(line.startswith("* ") and one["why"]["winner"] in line for line in said)
    assert any("Local codes and licensed practice come first." in line for line in said)
