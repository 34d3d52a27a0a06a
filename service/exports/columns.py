"""The columns of a record in a table, and what each holds. Pure."""

from collections.abc import Callable
from datetime import date, datetime
from typing import Literal

Kind = Literal["text", "whole", "decimal", "day", "instant", "truth"]
Cell = str | int | float | bool | date | datetime | None

# in the order in which `csv_lines` of the schema writes them: up to the digest for machines, then texts for people
COLUMNS: dict[str, Kind] = {
    "number": "text",
    "version": "whole",
    "kind": "text",
    "month": "text",
    "service_on": "day",
    "arrived_at": "instant",
    "ended_at": "instant",
    "issued_at": "instant",
    "visit_id": "text",
    "property_id": "text",
    "customer_id": "text",
    "job_id": "text",
    "worker_id": "text",
    "withdrawn": "truth",
    "pesticide_free_by_us": "truth",
    "pesticide_free_known_at_property": "truth",
    "visits_rested_on": "whole",
    "visits_stating_no_treatments": "whole",
    "sets_placed": "whole",
    "sets_moved": "whole",
    "sets_made_safe": "whole",
    "sets_pulled": "whole",
    "sets_left": "whole",
    "looks": "whole",
    "catches": "whole",
    "other_animals": "whole",
    "mounds_cleared": "whole",
    "trap_nights": "decimal",
    "repairs": "whole",
    "turf_saved_m2": "decimal",
    "turf_lost_m2": "decimal",
    "sha256": "text",
    "zone": "text",
    "property_ref": "text",
    "customer_ref": "text",
    "outcome": "text",
    "target": "text",
    "methods": "text",
    "treatments": "text",
    "statement": "text",
}
HEADER = ",".join(COLUMNS)


def _instant(text: str) -> datetime:
    """UTC without its zone, which spreadsheets do not know."""
    return datetime.fromisoformat(text).replace(tzinfo=None)


_READ: dict[Kind, Callable[[str], Cell]] = {
    "text": str,
    "whole": int,
    "decimal": float,
    "day": date.fromisoformat,
    "instant": _instant,
    "truth": "true".__eq__,
}
READERS = [_READ[kind] for kind in COLUMNS.values()]


def cells(fields: list[str]) -> list[Cell]:
    """A line's fields as values of their kinds; an empty field is None."""
    return [read(field) if field else None for read, field in zip(READERS, fields, strict=True)]
