"""The words of a fault and the way to it: what every check of a body is made of."""

import difflib
from collections.abc import Callable, Iterable, Sequence
from datetime import datetime
from typing import Any
from urllib.parse import quote

from service.kernel.errors import Fault

# A check takes a member of an untyped body and the latest instant that is not yet the future; the pointers
# of its faults start at the member itself.
Check = Callable[[Any, datetime], Sequence[Fault]]
CLEAN: Sequence[Fault] = ()
MOST = 100
SHOWN_CHARACTERS = 40

_JSON_NAMES = {
    dict: "an object",
    list: "a list",
    str: "text",
    int: "a whole number",
    float: "a number with a fraction or an exponent",
    bool: "true or false",
    type(None): "null",
}
# What RFC 3986 section 3.5 lets stand in a fragment, but for "/", which parts the steps of a pointer.
_FRAGMENT = "!$&'()*+,;=:@?~"


def fault(detail: str, code: str) -> list[Fault]:
    """One fault of the member itself."""
    return [Fault(detail, "", code)]


def inside(name: str | int, faults: Sequence[Fault]) -> list[Fault]:
    """The same faults, seen from what holds the member `name` (RFC 6901 sections 3 and 6)."""
    step = quote(str(name).replace("~", "~0").replace("/", "~1"), safe=_FRAGMENT, errors="surrogatepass")
    return [Fault(each.detail, f"/{step}{each.pointer}", each.code) for each in faults]


def json_name(kind: type) -> str:
    """What a reader of JSON calls a Python type."""
    return _JSON_NAMES.get(kind, kind.__name__)


def wrong_type(label: str, expected: str, value: object) -> list[Fault]:
    """The member is of another JSON type than the one that is `expected`."""
    return fault(f"{label} must be {expected}, not {json_name(type(value))}.", "wrong_type")


def shown(text: str) -> str:
    """Text as a sentence may quote it: short, and without a character that cannot be stored or sent."""
    return repr(text if len(text) <= SHOWN_CHARACTERS else f"{text[:SHOWN_CHARACTERS]}…")


def nearest(word: str, words: Iterable[str]) -> str:
    """A question that names the most alike of `words`; empty where none is alike."""
    alike = difflib.get_close_matches(word[:64], words, n=1)
    return f"; did you mean {shown(alike[0])}?" if alike else "."
