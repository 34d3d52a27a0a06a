"""`python -m tests.bench [--quick] NAME...`: measure, print a table, write .bench/NAME.json."""

import argparse
from collections.abc import Callable

from fixtures.running import Failed
from service.kernel.errors import CannotStart
from tests.bench import courier, export, read, start, tick, visit
from tests.bench.figures import QUICK, THOROUGH, Extent, Figures, report

BENCHES: dict[str, Callable[[Extent], Figures]] = {
    "read": read.measure,
    "visit": visit.measure,
    "courier": courier.measure,
    "export": export.measure,
    "start": start.measure,
    "tick": tick.measure,
}


def main() -> None:
    """Each named bench by itself, one after the other, so that none disturbs another."""
    parser = argparse.ArgumentParser(prog="sh deploy/bench.sh")
    parser.add_argument("--quick", action="store_true", help="under a minute a bench, and less certain")
    parser.add_argument("names", nargs="+", choices=BENCHES, metavar="NAME", help=", ".join(BENCHES))
    given = parser.parse_args()
    for name in given.names:
        try:
            report(BENCHES[name](QUICK if given.quick else THOROUGH))
        except (CannotStart, Failed) as error:
            parser.exit(1, f"{error}\n")


main()
