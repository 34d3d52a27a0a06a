"""`read`: one set by its id, over HTTP with its key, tenancy and ETag, against the same select by pgbench."""

import httpx

from fixtures.running import Failed
from service.kernel.sql import Queries
from tests.bench.book import SET, SETS, Book, a_book, an_id
from tests.bench.figures import Extent, Figures, compared
from tests.bench.load import CONNECTIONS, ceiling, pgbench, with_values, wrk

PROPERTIES = 200
NOTES = (
    f"{CONNECTIONS} connections each, any of {PROPERTIES * SETS} sets. The limit runs the service's own prepared "
    "select, with the id put together from a random number; it looks up no key. p50 and p99 are ours. "
    "ceiling is what wrk took from a server that answers a fixed text."
)


def measure(extent: Extent) -> Figures:
    """Answers a second, and transactions a second."""
    prefix = an_id(SET, 0)[:-12]
    # a second business with the very same ids, so that only tenancy tells them apart
    with a_book(businesses=2, properties=PROPERTIES) as book:
        check_answer(book)
        arguments = (book.businesses[0].key, str(PROPERTIES * SETS), prefix)
        number = f"\\set n random(0, {PROPERTIES * SETS - 1})\n"
        set_id = f"('{prefix}' || lpad(to_hex(:n::int), 12, '0'))::uuid"
        query = Queries("service.sets").read_set
        given = {"business_id": ":business_id", "id": set_id}
        script = number + with_values(query.text, [given[name] for name in query.parameters]) + ";\n"
        variables, amount = {"business_id": book.businesses[0].id}, ("--time", str(extent.seconds))
        pgbench(book.database_url, script, variables, "--time", "1")
        wrk(book.api_url, "read.lua", 1, *arguments)
        sent, limits = [], []
        for _ in range(extent.rounds):
            sent.append(wrk(book.api_url, "read.lua", extent.seconds, *arguments))
            limits.append(pgbench(book.database_url, script, variables, *amount))
        further = {
            "p50_ms": [one.p50_ms for one in sent],
            "p99_ms": [one.p99_ms for one in sent],
            "ceiling": [ceiling("read.lua", *arguments)],
        }
    rounds = [(one.rate, limit) for one, limit in zip(sent, limits, strict=True)]
    return compared("read", "answers a second", rounds, further, NOTES)


def check_answer(book: Book) -> None:
    """What is measured is what a reader gets: the set, with its tag."""
    key = {"Authorization": f"Bearer {book.businesses[0].key}"}
    answer = httpx.get(f"{book.api_url}/v1/sets/{an_id(SET, 0)}", headers=key)
    if answer.status_code != 200 or "etag" not in answer.headers or answer.json()["job_id"] is None:
        raise Failed(f"A set is not answered as it should be: {answer.text}")
