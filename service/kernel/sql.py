"""Named SQL blocks of a slice: `-- name: verb_noun`, `:named` parameters, the tenant's predicate written out.

A block that says `:business_id` is turned into the one form that lets the setting of row-level security ride
in the statement itself: a materialized first CTE sets it, and every `:business_id` reads it back from there.
"""

import re
from dataclasses import dataclass
from importlib import resources

_NAME = re.compile(r"^-- name: (\w+)$", re.MULTILINE)
# strings, quoted names, comments and casts are passed over; what is left of :name is a parameter
_PARAMETER = re.compile(r"'(?:[^']|'')*'|\"[^\"]*\"|--[^\n]*|::\w+|:([a-z_][a-z0-9_]*)")
_OPENING_COMMENT = re.compile(r"\A(?:\s*--[^\n]*\n)+")
_WITH = re.compile(r"\s*with\s+(recursive\s+)?", re.IGNORECASE)
_TENANT = "t as materialized (select set_config('setbook.business_id', {}::uuid::text, true)::uuid as b)"


@dataclass(frozen=True, slots=True)
class Query:
    """One statement, ready for PostgreSQL: text with $n, and the parameters' names in that order."""

    name: str
    text: str
    parameters: tuple[str, ...]


def numbered(name: str, block: str) -> Query:
    """The block with :names turned into $n, and the tenant's CTE in front where it says :business_id."""
    parameters: list[str] = []

    def place(match: re.Match[str]) -> str:
        parameter = match.group(1)
        if parameter is None:
            return match.group(0)
        if parameter not in parameters:
            parameters.append(parameter)
        if parameter == "business_id":
            return "(select b from t)"
        return f"${parameters.index(parameter) + 1}"

    text = _PARAMETER.sub(place, _OPENING_COMMENT.sub("", block)).strip().rstrip(";")
    if "business_id" in parameters:
        tenant = _TENANT.format(f"${parameters.index('business_id') + 1}")
        start = _WITH.match(text)
        recursive = "recursive " if start and start.group(1) else ""
        rest = f", {text[start.end() :]}" if start else f"\n{text}"
        text = f"with {recursive}{tenant}{rest}"
    return Query(name, text, tuple(parameters))


class Queries:
    """The blocks of one slice's queries.sql, as attributes: `sql.insert_catch`."""

    def __init__(self, package: str) -> None:
        """Read queries.sql beside the package's modules."""
        text = resources.files(package).joinpath("queries.sql").read_text(encoding="utf-8")
        parts = _NAME.split(text)
        self.all = {name: numbered(name, block) for name, block in zip(parts[1::2], parts[2::2], strict=True)}

    def __getattr__(self, name: str) -> Query:
        try:
            return self.all[name]
        except KeyError:
            raise AttributeError(name) from None
