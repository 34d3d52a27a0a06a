"""What a book says, by property, so that two can be compared: without how, when and in which order it came."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID

import asyncpg
import msgspec

from service.clock.wake import handlers
from service.deadlines.rules import deadline_id
from service.deadlines.ticks import tick
from service.kernel.db import Pool
from service.work import ticks as work
from tests.http import SEALING_KEY

Connection = asyncpg.Connection
HANDLERS = handlers(SEALING_KEY)
# by property (None: at none), then by what it is of: rows in an order of their own
Book = dict[str | None, dict[str, list[Any]]]

# Arrival, and who brought it, are no part of what is stated.
ARRIVAL = ("business_id", "received_at", "first_received_at", "key_id")
# How the clock remembers what it said.
MEMORY = (
    "known_at", "known_by_worker_id", "known_by_key_id", "episode", "announced_due_at", "announced_event_id",
    "settled_outcome", "settled_event_id", "wake_at", "wake_type",
)  # fmt: skip
FACTS = (
    "survey", "sign", "tamping", "look", "trap_set", "trap_check", "catch", "clearing", "repair", "upkeep",
    "treatment", "told", "incident",
)  # fmt: skip
# Sources where a table is not one as it stands.
VERSIONS = """(select v.property_id, r.* from visit_version r
    join visit v on v.business_id = r.business_id and v.id = r.visit_id)"""
JOBS = """(select v.business_id, v.property_id, j.visit_id, j.job_id from visit_job j
    join visit v on v.business_id = j.business_id and v.id = j.visit_id)"""
LATEST = """(select distinct on (business_id, number)
    business_id, property_id, withdrawn, bytes::jsonb -> 'content' as content
    from service_record order by business_id, number, version desc)"""
SUBJECT = "coalesce(visit_id::text, property_id || to_char(month_on, '/YYYY-MM'))"
# Each part with where it is read and what is left out: ids that follow from the business's own, or that the server
# gives, say nothing beside what they stand for.
PARTS: dict[str, tuple[str, tuple[str, ...]]] = {
    "visit": ("visit", ()),
    "visit_version": (VERSIONS, ()),
    **{fact: (fact, ()) for fact in FACTS},
    "set_state": ("set_state", ()),
    "sign_state": ("sign_state", ()),
    "visit_job": (JOBS, ()),
    "lawn_patch": ("lawn_patch", ("id",)),
    "conflict": ("conflict", ("id",)),
    "deadline": ("(select * from deadline where state <> 'withdrawn')", ("id", *MEMORY)),
    "record": (LATEST, ()),
}


async def run_to(clock_pool: Pool, app_pool: Pool, now: datetime, sealing_key: bytes = SEALING_KEY) -> None:
    """Let the clock do and say all that is due by `now`."""
    while await work.run(clock_pool, app_pool, now, handlers(sealing_key)):
        pass
    await tick(clock_pool, now)


async def book_of(owner: "Connection[asyncpg.Record]", business_id: UUID) -> Book:
    """Stated facts, what follows from them, the latest content of each record, and what the log comes to."""
    book: Book = defaultdict(dict)
    for name, (source, dropped) in PARTS.items():
        rows = await owner.fetch(
            f"select r.property_id::text as home, to_jsonb(r) - $2::text[] as row from {source} r"  # noqa: S608
            " where r.business_id = $1",
            business_id,
            [*ARRIVAL, *dropped],
        )
        for row in rows:
            # the record of a withdrawn visit equals none
            if not row["row"].pop("withdrawn", False):
                book[row["home"]].setdefault(name, []).append(row["row"])
    for home, log in (await _logs(owner, business_id)).items():
        book[home] |= log.net_effect()
    return {
        home: {name: sorted(rows, key=msgspec.json.encode) for name, rows in parts.items()}
        for home, parts in book.items()
    }


def differences(one: Book, other: Book, homes: Iterable[str | None]) -> list[str]:
    """A line for each row of these properties that only one of them has."""
    lines = []
    for home in homes:
        for part in sorted({*one[home], *other[home]}):
            left, right = (
                {msgspec.json.encode(row, order="sorted").decode() for row in book[home].get(part, [])}
                for book in (one, other)
            )
            lines += [f"{part} at {home}, only in the first: {row}" for row in sorted(left - right)]
            lines += [f"{part} at {home}, only in the second: {row}" for row in sorted(right - left)]
            if left == right and len(one[home].get(part, [])) != len(other[home].get(part, [])):
                lines.append(f"{part} at {home}: the same rows, not as often")
    return lines


# The log, folded by whoever reads it -----------------------------------------------------------------------
@dataclass
class Log:
    """What somebody knows of one property who has read the log and nothing else."""

    facts: set[str] = field(default_factory=set)
    standing: set[str] = field(default_factory=set)
    ends: dict[str, tuple[str, str]] = field(default_factory=dict)
    left_out: set[str] = field(default_factory=set)
    overdue: dict[str, str] = field(default_factory=dict)
    outcomes: dict[str, tuple[str, str]] = field(default_factory=dict)
    records: dict[str, str] = field(default_factory=dict)
    # a deadline is called by what it is of: kind, subject and starting fact
    named: Mapping[str, str] = field(default_factory=dict)

    def read(self, kind: str, data: dict[str, Any]) -> None:
        """The next event."""
        match kind.split("."):
            case ["visit", _]:
                self.facts |= {*data.get("fact_ids", []), *data.get("added", [])}
                self.facts -= set(data.get("withdrawn", []))
            case ["set", "placed" | "restored"]:
                self.standing.add(data["set_id"])
                self.ends.pop(data["set_id"], None)
            case ["set", "ended"]:
                self.standing.discard(data["set_id"])
                self.ends[data["set_id"]] = data["ended_as"], data["ended_at"]
            case ["set", "left_out"]:
                self.left_out.add(data["set_id"])
            case [_, "overdue"]:
                self.overdue[self.named[data["deadline_id"]]] = data["due_at"]
                self.outcomes.pop(self.named[data["deadline_id"]], None)
            case [_, "settled"]:
                self.overdue.pop(self.named[data["deadline_id"]], None)
                self.outcomes[self.named[data["deadline_id"]]] = data["outcome"], data["due_at"]
            case ["record", _]:
                self.records[data.get("visit_id") or f"{data['property_id']}/{data['month']}"] = data[
                    "record"
                ]

    def net_effect(self) -> dict[str, list[Any]]:
        """What is the same in whatever order visits came.

        Verdicts on lawns are told always. How a look that was overdue ended is told only where somebody had
        heard that it was, which hangs on when the visits came; see `untrue`.
        """
        verdicts = [
            [name, *said]
            for name, said in self.outcomes.items()
            if name.startswith(("lawn/", "lawn_cover/")) and said[0] != "withdrawn"
        ]
        return {
            "log: facts": list(self.facts),
            "log: standing": list(self.standing),
            "log: ends": [[set_id, *end] for set_id, end in self.ends.items()],
            "log: left out": list(self.left_out & self.standing),
            "log: overdue": [list(one) for one in self.overdue.items()],
            "log: verdicts": verdicts,
        }


async def _logs(owner: "Connection[asyncpg.Record]", business_id: UUID) -> dict[str, Log]:
    rows = await owner.fetch(
        "select id::text, kind || '/' || subject_id || '/' || starting_fact_id as name from deadline"
        " where business_id = $1",
        business_id,
    )
    named = {row["id"]: row["name"] for row in rows}
    for id_, name in named.items():
        kind, subject_id, fact_id = name.split("/")
        assert id_ == str(deadline_id(business_id, kind, UUID(subject_id), UUID(fact_id)))  # type: ignore[arg-type]
    logs: dict[str, Log] = defaultdict(lambda: Log(named=named))
    for event in await owner.fetch(
        "select type, data from event where business_id = $1 order by sequence", business_id
    ):
        if "property_id" in event["data"]:
            logs[event["data"]["property_id"]].read(event["type"], event["data"])
    return logs


async def untrue(owner: "Connection[asyncpg.Record]", business_id: UUID, now: datetime) -> list[str]:
    """What a reader of the log would believe and is not so, once the clock has said all that is due by `now`."""
    logs = await _logs(owner, business_id)
    overdue = {name: due for log in logs.values() for name, due in log.overdue.items()}
    outcomes = {name: said[0] for log in logs.values() for name, said in log.outcomes.items()}
    records = {subject: record for log in logs.values() for subject, record in log.records.items()}
    lines = []
    for row in await owner.fetch(
        "select kind || '/' || subject_id || '/' || starting_fact_id as name, coalesce(outcome, state) as outcome,"
        " case when state = 'open' and due_at <= $2 and kind in ('check', 'lawn', 'lawn_cover') then due_at end"
        " as overdue"
        " from deadline where business_id = $1",
        business_id,
        now,
    ):
        said = overdue.get(row["name"])
        if (None if said is None else datetime.fromisoformat(said)) != row["overdue"]:
            lines.append(f"{row['name']} is overdue since {row['overdue']}, and the log says {said}")
        if outcomes.get(row["name"], row["outcome"]) != row["outcome"]:
            lines.append(f"{row['name']} ended {row['outcome']}, and the log says {outcomes[row['name']]}")
    latest = await owner.fetch(
        f"select distinct on (number) {SUBJECT} as subject, number || '.' || version as record"  # noqa: S608
        " from service_record where business_id = $1 order by number, version desc",
        business_id,
    )
    lines += [
        f"{row['subject']} has record {row['record']}, and the log says {records.get(row['subject'])}"
        for row in latest
        if records.get(row["subject"]) != row["record"]
    ]
    return lines


async def gaps(owner: "Connection[asyncpg.Record]", business_id: UUID) -> list[str]:
    """What is missing or double in the numbers of events, of records and of their versions."""
    lines = []
    sequences = await owner.fetch(
        "select sequence from event where business_id = $1 order by sequence", business_id
    )
    counted = await owner.fetchval(
        "select value from counter where business_id = $1 and name = 'event'", business_id
    )
    if [row["sequence"] for row in sequences] != list(range(1, counted + 1)):
        lines.append(f"{len(sequences)} events, counted {counted}")
    records = await owner.fetch(
        "select number, array_agg(version order by version) as versions,"  # noqa: S608
        f" count(distinct {SUBJECT}) as subjects"
        " from service_record where business_id = $1 group by number order by number",
        business_id,
    )
    if [row["number"][5:] for row in records] != [f"{place:06}" for place in range(1, len(records) + 1)]:
        lines.append(f"{len(records)} records, the last of them {records[-1]['number']}")
    lines += [
        f"record {row['number']} has versions {row['versions']} of {row['subjects']} subjects"
        for row in records
        if row["versions"] != list(range(1, len(row["versions"]) + 1)) or row["subjects"] != 1
    ]
    return lines
