"""Where the members of a JSON text stand: the line of each, and names that an object gives twice. Pure."""

import json
import re
from dataclasses import dataclass
from urllib.parse import unquote

from service.kernel.errors import Fault
from service.kernel.sentences import inside, shown

# The text is known to be JSON, so its tokens are told apart by how they begin.
_TOKEN = re.compile(r'"(?:[^"\\]|\\.)*"|[][{},:]|[^][{},:"\s]+')

Path = tuple[str, ...]


@dataclass
class _Open:
    """An object or a list that is being read: where it is, and which member comes next."""

    path: Path
    is_object: bool
    place: int = 0
    # of an object: the name that was read and whose value comes next
    name: str | None = None

    def next_path(self) -> Path:
        return (*self.path, str(self.place) if self.name is None else self.name)


@dataclass(frozen=True)
class Lines:
    """The line, from 1, of each member by its steps (RFC 6901), and a fault for each name that is given twice."""

    of: dict[Path, int]
    doubled: list[Fault]

    def line_of(self, pointer: str) -> int:
        """The line of what a pointer names, as a URI fragment; of what is missing, that of what should hold it."""
        steps = unquote(pointer, errors="surrogatepass").removeprefix("#").split("/")[1:]
        path = tuple(step.replace("~1", "/").replace("~0", "~") for step in steps)
        while path not in self.of:
            path = path[:-1]
        return self.of[path]


def lines_in(text: str) -> Lines:
    """Walk a JSON text once; a member of an object stands on the line of its name."""
    found: dict[Path, int] = {}
    doubled: list[Fault] = []
    within: list[_Open] = []
    line, read = 1, 0
    for token in _TOKEN.finditer(text):
        line, read = line + text.count("\n", read, token.start()), token.start()
        word, top = token.group(), within[-1] if within else None
        if word in "]}":
            within.pop()
        elif word == ",":
            _step(top)
        elif word == ":":
            continue
        elif top is not None and top.is_object and top.name is None:
            top.name = str(json.loads(word, strict=False))
            path = top.next_path()
            if path in found:
                doubled.append(_given_twice(path, found[path]))
            found[path] = line
        else:
            path = () if top is None else top.next_path()
            found.setdefault(path, line)
            if word in "[{":
                within.append(_Open(path, is_object=word == "{"))
    return Lines(found, doubled)


def _step(top: _Open | None) -> None:
    if top is not None:
        top.place, top.name = top.place + 1, None


def _given_twice(path: Path, line: int) -> Fault:
    faults = [Fault(f"{shown(path[-1])} stands on line {line} already; give it once.", "", "doubled_name")]
    for step in reversed(path):
        faults = inside(step, faults)
    return Fault(faults[0].detail, f"#{faults[0].pointer}", faults[0].code)
