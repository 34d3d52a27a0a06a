"""Generated work at eight places round the world, in bodies as phones send them."""

import random
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

Body = dict[str, Any]
MECHANISMS = ["scissor_jaw", "harpoon", "choker_loop", "two_prong_pincer", "snap", "box", "live_tunnel"]
FINDINGS = ["undisturbed"] * 5 + [
    "bypassed",
    "sprung_empty",
    "catch",
    "plugged",
    "disturbed",
    "not_working",
    "missing",
]
ACTIONS = ["left"] * 16 + ["reset"] * 8 + ["armed"] * 3 + ["made_safe", "pulled", "moved", "lost"]
BY = ["worker"] * 7 + ["customer", "agent", "monitor", "monitor"]
SETS, SIGNS, ROUNDS = 270, 50, 6


@dataclass(frozen=True)
class Place:
    """Where, and the local date on which the work there begins: about a change of the clock where there is one."""

    zone: str
    region: str
    target: str
    begins: datetime
    position: tuple[float, float] | None = None


# the changes are in tests/deadlines/test_rules.py with their source
PLACES = [
    Place("America/Los_Angeles", "US-CA", "Scapanus latimanus", datetime(2026, 3, 6, 8, tzinfo=UTC)),
    Place("America/New_York", "US-VA", "Scalopus aquaticus", datetime(2026, 3, 6, 8, tzinfo=UTC)),
    Place("America/New_York", "US-NH", "Microtus pennsylvanicus", datetime(2025, 10, 31, 8, tzinfo=UTC)),
    Place("Pacific/Auckland", "NZ-AUK", "unidentified", datetime(2026, 4, 2, 8, tzinfo=UTC), (174.76, -36.85)),
    Place("Europe/Paris", "FR-75", "Talpa europaea", datetime(2026, 3, 27, 8, tzinfo=UTC), (2.35, 48.86)),
    Place("Africa/Cairo", "EG-C", "unidentified", datetime(2026, 4, 22, 8, tzinfo=UTC), (31.24, 30.04)),
    Place("America/Santiago", "CL-RM", "Thomomys bottae", datetime(2026, 4, 3, 8, tzinfo=UTC)),
    Place("Australia/Lord_Howe", "AU-NSW", "Arvicola amphibius", datetime(2026, 4, 3, 8, tzinfo=UTC), (159.08, -31.55)),
]  # fmt: skip


@dataclass
class Work:
    """One place's work; `dice` makes the same of the same seed."""

    dice: random.Random
    place: Place
    number: int
    worker_ids: list[str]
    made: int = 0
    set_ids: list[str] = field(default_factory=list)
    sign_ids: list[str] = field(default_factory=list)

    def an_id(self) -> str:
        """A UUIDv7 of this place."""
        self.made += 1
        return str(UUID(f"0198f3a{self.number}-{self.made >> 16:04x}-7000-8000-{self.made & 0xFFFF:012x}"))

    def at(self, day: int, earliest: int = 0, latest: int = 1439) -> str:
        """A minute of a day, as local time with its offset."""
        wall = self.place.begins.replace(hour=0, tzinfo=None) + timedelta(
            days=day, minutes=self.dice.randrange(earliest, latest + 1), seconds=self.dice.randrange(60)
        )
        known = wall.replace(tzinfo=ZoneInfo(self.place.zone)).astimezone(UTC)
        return known.astimezone(ZoneInfo(self.place.zone)).isoformat()

    def visit(self, day: int, **lists: Any) -> Body:
        """A visit whose facts lie about a day."""
        return {
            "id": self.an_id(),
            "property_id": self.property_id,
            "worker_id": self.dice.choice(self.worker_ids),
            "arrived_at": self.at(day, 0, 0),
            **lists,
        }

    @property
    def property_id(self) -> str:
        """The place's property."""
        return f"0198f3b{self.number}-0000-7000-8000-000000000001"

    def visits(self) -> Iterator[Body]:
        """Sets and signs on the first day, then rounds, words of monitors, a locked gate, a mowing."""
        yield self.visit(
            0, sets=[self._set() for _ in range(SETS)], signs=[self._sign() for _ in range(SIGNS)]
        )
        for day in range(1, ROUNDS + 1):
            yield self.visit(
                day,
                checks=[self._check(one, day) for one in self.set_ids if self.dice.random() < 0.92],
                looks=[self._look(one, day) for one in self.sign_ids if self.dice.random() < 0.4],
                clearings=[self._clearing(one, day) for one in self.sign_ids if self.dice.random() < 0.4],
                tampings=[
                    {"id": self.an_id(), "sign_id": one, "tamped_at": self.at(day)}
                    for one in self.sign_ids
                    if self.dice.random() < 0.2
                ],
                surveys=[{"id": self.an_id(), "surveyed_at": self.at(day), "fresh_signs": day % 2}],
                upkeep=[{"id": self.an_id(), "kind": "mown", "at": self.at(day - 2)}],
            )
        yield self.visit(2, outcome="no_access", no_access_reason="locked")

    def _set(self) -> Body:
        self.set_ids.append(self.an_id())
        return {
            "id": self.set_ids[-1],
            "placed_at": self.at(0),
            "mechanism": self.dice.choice(MECHANISMS),
            "traps": [{"no": no} for no in range(1, self.dice.randrange(2, 4))],
            **({"target": self.place.target} if self.dice.random() < 0.5 else {}),
        }

    def _check(self, set_id: str, day: int) -> Body:
        check: Body = {
            "id": self.an_id(),
            "set_id": set_id,
            "checked_at": self.at(day),
            "checked_by": self.dice.choice(BY),
            "finding": self.dice.choice(FINDINGS),
            "action": self.dice.choice(ACTIONS),
        }
        if check["finding"] == "catch":
            check["catches"] = [{"id": self.an_id(), "species": "unidentified", "fate": "dead_in_trap"}]
        return check

    def _sign(self) -> Body:
        self.sign_ids.append(self.an_id())
        sign = {
            "id": self.sign_ids[-1],
            "kind": "mound",
            "seen_at": self.at(0),
            "on_turf": self.dice.random() < 0.9,
            "count": self.dice.randrange(1, 4),
        }
        return sign | ({"absent_since": self.at(-2)} if self.dice.random() < 0.5 else {})

    def _look(self, sign_id: str, day: int) -> Body:
        turf = self.dice.choice(["sound", "thin", "dead"])
        fresh = self.dice.random() < 0.3
        return {
            "id": self.an_id(),
            "sign_id": sign_id,
            "looked_at": self.at(day),
            "fresh_soil": fresh,
            "turf": turf,
        }

    def _clearing(self, sign_id: str, day: int) -> Body:
        count = {"count": 1} if self.dice.random() < 0.3 else {}
        return {"id": self.an_id(), "sign_id": sign_id, "cleared_at": self.at(day), **count}
