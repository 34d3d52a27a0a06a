"""`start`: seconds from `setbook serve` to the first good answer of /readyz, on existing data and on none."""

from pathlib import Path
from time import perf_counter

from fixtures.running import free_port
from service.server.embedded import running
from tests.bench.book import a_folder, setbook, wait_until_ready
from tests.bench.figures import Extent, Figures, compared

NOTES = (
    "ours is the start on an existing folder (goal 3 s), empty_s that on an empty one, with initdb and migrations "
    "(goal 6 s). The limit is PostgreSQL alone, started by the same code on the same folder."
)


def measure(extent: Extent) -> Figures:
    """Existing, PostgreSQL alone and empty in turn."""
    rounds, empty = [], []
    with a_folder() as existing:
        seconds_to_ready(existing)
        for _ in range(extent.rounds):
            ours = seconds_to_ready(existing)
            rounds.append((ours, seconds_of_postgresql(existing)))
            with a_folder() as fresh:
                empty.append(seconds_to_ready(fresh))
    return compared("start", "s", rounds, {"empty_s": empty}, NOTES, less_is_better=True)


def seconds_to_ready(folder: Path) -> float:
    """All roles, as people start it."""
    port, began = free_port(), perf_counter()
    with setbook(folder, port) as process:
        wait_until_ready(process, port)
        return perf_counter() - began


def seconds_of_postgresql(folder: Path) -> float:
    """The server of the folder, up to where it takes connections."""
    began = perf_counter()
    with running(folder):
        return perf_counter() - began
