"""`visit`: PUTs of new visits of five checks, against pgbench sending the same statements."""

import asyncio
import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any, NamedTuple
from uuid import UUID

from fixtures.running import Failed
from service.deadlines.rules import deadline_id
from service.kernel.now import utc_now
from tests.bench.book import CHECK, PROPERTY, SET, SETS, VISIT, WORKER, Book, Business, a_book, an_id
from tests.bench.figures import Extent, Figures, compared
from tests.bench.load import CONNECTIONS, Sent, ceiling, pgbench, wrk
from tests.bench.replay import Replay, captured, count_visits, lay_down, replayed

BUSINESSES = 16
# of each business and for each side, for every second that the bench lasts: so a set is looked at as often in a long
# bench as in a short one, and a visit works out about as many looks
PROPERTIES_A_SECOND = 2
# transactions a second of a client of pgbench, to make its rounds about as long as ours
LIMIT_SPEED = 10
# ids of the limit's visits begin here, far from ours
LIMIT_BEGINS = 1_000_000_000
NOTES = (
    f"{CONNECTIONS} connections each, {BUSINESSES} businesses (writers of one stand in line), new visits of five looks "
    "with all that follows from them. The limit sends the statements that were captured from the service for such a "
    "visit, about other ids; one more brings their parameters. p50 and p99 are ours. ceiling is what wrk took from a "
    "server that answers a fixed text."
)


class Visit(NamedTuple):
    """A visit by its number: whose it is, where, and what it has ids for."""

    number: int
    business: Business
    place: int

    @property
    def sets(self) -> list[str]:
        """The sets looked at."""
        return [an_id(SET, self.place * SETS + one) for one in range(SETS)]

    @property
    def checks(self) -> list[str]:
        """The looks."""
        return [an_id(CHECK, self.number * SETS + one) for one in range(SETS)]

    def body(self, at: str) -> dict[str, Any]:
        """What a phone sends."""
        looks = zip(self.checks, self.sets, strict=True)
        return looks_at(an_id(PROPERTY, self.place), at, list(looks))

    def ids(self) -> list[str]:
        """Every id that a statement may name of it, but those of events, always in the same order."""
        deadlines = [
            str(deadline_id(self.business.id, "check", UUID(set_id), UUID(start)))
            for set_id, check_id in zip(self.sets, self.checks, strict=True)
            for start in (set_id, check_id)
        ]
        named = [str(self.business.id), an_id(VISIT, self.number), an_id(PROPERTY, self.place)]
        return [*named, an_id(WORKER, 1), key_id(self.business), *self.sets, *self.checks, *deadlines]


def key_id(business: Business) -> str:
    """The id inside the text of the key."""
    return str(UUID(business.key.split("_")[1]))


def looks_at(property_id: str, at: str, looks: list[tuple[str, str]]) -> dict[str, Any]:
    """A visit that found nothing; `looks` are ids of checks and of their sets."""
    found = {"checked_at": at, "finding": "undisturbed", "action": "left", "flagged": True}
    checks = [{"id": check_id, "set_id": set_id, **found} for check_id, set_id in looks]
    who = {"worker_id": an_id(WORKER, 1), "arrived_at": at, "left_at": at}
    return {"property_id": property_id, **who, "checks": checks}


def measure(extent: Extent) -> Figures:
    """Visits a second."""
    properties = PROPERTIES_A_SECOND * extent.rounds * extent.seconds
    began = utc_now().astimezone(UTC).replace(microsecond=0) - timedelta(hours=12)
    # capitals are what visit.lua puts in
    template = json.dumps(looks_at("PROPERTY", "AT", [(f"CHECK{one}", f"SET{one}") for one in range(SETS)]))
    sent, limits, begin = [], [], 0
    with a_book(BUSINESSES, 2 * properties + 2) as book:
        places = (str(properties), str(int(began.timestamp())), *(one.key for one in book.businesses))
        example, replay = capture(book, began, 2 * properties)
        for number in range(extent.rounds + 1):
            seconds = extent.seconds if number else 1  # the first round warms both up, and does not count
            sent.append(put(book, seconds, template, str(begin), *places))
            begin += sent[-1].answers + CONNECTIONS
            visits = limit_visits(book, number, seconds * LIMIT_SPEED * CONNECTIONS, properties)
            limits.append(replay_visits(book, example, replay, list(visits)))
        further = {
            "p50_ms": [one.p50_ms for one in sent[1:]],
            "p99_ms": [one.p99_ms for one in sent[1:]],
            "ceiling": [ceiling("visit.lua", template, "0", *places)],
        }
    rounds = [(one.rate, limit) for one, limit in zip(sent[1:], limits[1:], strict=True)]
    return compared("visit", "visits a second", rounds, further, NOTES)


def put(book: Book, seconds: int, *arguments: str) -> Sent:
    """One round of ours; each answer must stand for a visit that was not there before."""
    before = asyncio.run(count_visits(book.database_url))
    sent = wrk(book.api_url, "visit.lua", seconds, *arguments)
    stored = asyncio.run(count_visits(book.database_url)) - before
    if not sent.answers <= stored <= sent.answers + CONNECTIONS:
        raise Failed(f"{sent.answers} visits were answered and {stored} stored.")
    return sent


def capture(book: Book, began: datetime, place: int) -> tuple[Visit, Replay]:
    """What the service sends for a visit, at the two properties from `place` on, where nobody else looks."""
    warming, example = (Visit(LIMIT_BEGINS - 1 - one, book.businesses[0], place + one) for one in range(2))
    at = began.isoformat()
    requests = [(f"/v1/visits/{an_id(VISIT, one.number)}", one.body(at)) for one in (warming, example)]
    return example, replayed(asyncio.run(captured(book.database_url, example.business.key, requests)))


def limit_visits(book: Book, turn: int, most: int, properties: int) -> Iterator[Visit]:
    """New visits at the other half of the properties, in the order in which visit.lua makes its own."""
    for number in range(most):
        place = properties + number // BUSINESSES % properties
        yield Visit(LIMIT_BEGINS * (turn + 1) + number, book.businesses[number % BUSINESSES], place)


def replay_visits(book: Book, example: Visit, replay: Replay, visits: list[Visit]) -> float:
    """One round of the limit."""
    ids = (dict(zip(example.ids(), visit.ids(), strict=True)) for visit in visits)
    asyncio.run(lay_down(book.database_url, replay.varying, ids))
    each = ("--transactions", str(len(visits) // CONNECTIONS))
    return pgbench(book.database_url, replay.script, replay.variables, *each)
