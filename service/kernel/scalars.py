"""Checks of single values: text, numbers, flags, ids and words of a closed list."""

import math
import re
from collections.abc import Sequence
from datetime import datetime

from msgspec import inspect

from service.kernel.errors import Fault
from service.kernel.sentences import CLEAN, Check, fault, nearest, shown, wrong_type

# Beyond this, readers of JSON that keep numbers as doubles change the value (RFC 8259 section 6).
GREATEST = 2**53 - 1

_NIL = "00000000-0000-0000-0000-000000000000"
_UUID = re.compile(r"[0-9a-fA-F]{8}(?:-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}")
# Line breaks and tabs are looked at by a text's own pattern; these have no place in any text.
_UNFIT = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff]")
_BREAK = re.compile("[\t\n\r]")


def text(kind: inspect.StrType, label: str, description: str) -> Check:
    """Text without NUL, control characters or lone surrogates, of the given length and pattern."""
    least, most = kind.min_length or 0, math.inf if kind.max_length is None else kind.max_length
    # `$` also matches before a closing line break, which would then slip into a line of text.
    pattern = re.compile(re.sub(r"\$$", r"\\Z", kind.pattern or ""))
    form = description or f"text that matches {kind.pattern}"

    def check(value: object, _: datetime) -> Sequence[Fault]:
        if type(value) is not str:
            return wrong_type(label, "text", value)
        unfit = _UNFIT.search(value)
        if unfit is not None:
            return _unfit(label, value, unfit.start())
        if len(value) > most:
            return fault(f"{label} must have at most {most} characters, not {len(value)}.", "too_long")
        if len(value) < least:
            return fault(f"{label} must have at least {_characters(least)}.", "too_short")
        if pattern.search(value) is None:
            return _misfit(label, value, form)
        return CLEAN

    return check


def whole(kind: inspect.IntType, label: str) -> Check:
    """A whole number within its bounds and within what every reader of JSON keeps exactly."""
    low = max(-GREATEST, _least(kind, 1))
    high = min(GREATEST, _most(kind, 1))

    def check(value: object, _: datetime) -> Sequence[Fault]:
        if type(value) is float and value.is_integer():
            return fault(
                f"{label} must be written without a fraction or an exponent, 12 for example.", "wrong_type"
            )
        if type(value) is not int:
            return wrong_type(label, "a whole number", value)
        if low <= value <= high:
            return CLEAN
        return fault(f"{label} must be a whole number from {low} to {high}.", "out_of_range")

    return check


def number(kind: inspect.FloatType, label: str) -> Check:
    """A finite number within its bounds."""
    low = _least(kind, 0)
    high = _most(kind, 0)
    bounds = f" from {low:g} to {high:g}" if math.isfinite(low) and math.isfinite(high) else ""

    def check(value: object, _: datetime) -> Sequence[Fault]:
        if type(value) is not float and type(value) is not int:
            return wrong_type(label, "a number", value)
        if type(value) is int and not -GREATEST <= value <= GREATEST:
            return fault(f"{label} must be a number of at most 15 digits.", "out_of_range")
        if math.isfinite(value) and low <= value <= high:
            return CLEAN
        return fault(f"{label} must be a finite number{bounds}.", "out_of_range")

    return check


def flag(label: str) -> Check:
    """true or false, and nothing that only looks like it."""

    def check(value: object, _: datetime) -> Sequence[Fault]:
        return CLEAN if value is True or value is False else wrong_type(label, "true or false", value)

    return check


def identifier(label: str) -> Check:
    """A UUID of any version but nil, as RFC 9562 section 4 writes it."""

    def check(value: object, _: datetime) -> Sequence[Fault]:
        if type(value) is not str:
            return wrong_type(label, "a UUID", value)
        if _UUID.fullmatch(value) is None:
            form = "0198f3a0-0000-7000-8000-000000000001"
            return fault(f"{label} must be a UUID such as {form}, not {shown(value)}.", "not_a_uuid")
        if value == _NIL:
            return fault(f"{label} must not be the nil UUID; mint an id of any version.", "nil_uuid")
        return CLEAN

    return check


def word(kind: inspect.LiteralType, label: str) -> Check:
    """One word of a closed list."""
    words = frozenset(kind.values)
    kinds = {type(value) for value in words}
    allowed = ", ".join(str(value) for value in kind.values)

    def check(value: object, _: datetime) -> Sequence[Fault]:
        if type(value) not in kinds:
            return wrong_type(label, f"one of {allowed}", value)
        if value in words:
            return CLEAN
        given = str(value)
        alike = nearest(given, [str(each) for each in kind.values])
        return fault(f"{label} must be one of {allowed}, not {shown(given)}{alike}", "not_in_list")

    return check


def _unfit(label: str, value: str, place: int) -> list[Fault]:
    character = value[place]
    if character > "\x7f":
        what, code = "half of a surrogate pair", "lone_surrogate"
    else:
        what, code = "a control character", "nul" if character == "\0" else "control_character"
    return fault(
        f"{label} holds {what}, U+{ord(character):04X}, as character {place + 1}; take it out.", code
    )


def _misfit(label: str, value: str, form: str) -> list[Fault]:
    unfit = _BREAK.search(value)
    if unfit is not None:
        return _unfit(label, value, unfit.start())
    return fault(f"{label} must be written as {form}, not {shown(value)}.", "wrong_form")


def _characters(count: int) -> str:
    return "1 character" if count == 1 else f"{count} characters"


def _least(kind: inspect.IntType | inspect.FloatType, step: int) -> float:
    """The least value that may stand: the next after `gt`, or `ge`."""
    if kind.gt is not None:
        return kind.gt + step if step else math.nextafter(kind.gt, math.inf)
    return -math.inf if kind.ge is None else kind.ge


def _most(kind: inspect.IntType | inspect.FloatType, step: int) -> float:
    if kind.lt is not None:
        return kind.lt - step if step else math.nextafter(kind.lt, -math.inf)
    return math.inf if kind.le is None else kind.le
