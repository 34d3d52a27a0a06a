"""The slices of the service and their queries, for the tests of the house rules."""

import importlib
import re
from pathlib import Path

from service.kernel.sql import Queries, Query

ROOT = Path(__file__).parents[2]
SERVICE = ROOT / "service"


def slices_with_queries() -> list[str]:
    """Names of the slices that have a queries.sql."""
    return sorted(path.parent.name for path in SERVICE.glob("*/queries.sql"))


def queries_of(slice_name: str) -> dict[str, Query]:
    """Every query of a slice by name."""
    return Queries(f"service.{slice_name}").all


def python_of(slice_name: str) -> str:
    """All Python of a slice, as text."""
    return "\n".join(path.read_text() for path in sorted((SERVICE / slice_name).glob("*.py")))


def modules() -> list[Path]:
    """Every module of the service."""
    return sorted(SERVICE.rglob("*.py"))


def imported(path: Path) -> object:
    """The module of a path below the repository."""
    return importlib.import_module(".".join(path.relative_to(ROOT).with_suffix("").parts))


def tables_written(text: str) -> set[str]:
    """Tables that a statement inserts into, updates or deletes from."""
    bare = re.sub(r"--[^\n]*", "", text)
    return set(re.findall(r"\b(?:insert\s+into|update|delete\s+from)\s+([a-z_]+)", bare)) - {"set", "skip"}
