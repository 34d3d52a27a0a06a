"""From the bytes of a request to a Struct: unreadable is 400, readable but wrong is 422 with all faults."""

import json
from collections.abc import Sequence
from datetime import datetime
from typing import NoReturn, TypeVar

import msgspec

from service.kernel.errors import Fault, Refused, invalid
from service.kernel.faults import faults_of

S = TypeVar("S")


def read_json(raw: bytes) -> object:
    """What the bytes say in JSON (RFC 8259); of a name that is given twice the last value counts.

    Refuses as `unreadable` what is no JSON, with the place.
    """
    try:
        return msgspec.json.decode(raw)
    except RecursionError:
        raise _unreadable("it is nested too deeply") from None
    except (msgspec.DecodeError, UnicodeDecodeError):
        return _read_slowly(raw)


def decode(raw: bytes, of: type[S], now: datetime) -> S:
    """The body as an `of`; refuses it with all its faults as `faults_of` finds them."""
    body = read_json(raw)
    return built(body, of, faults_of(body, of, now))


def built(body: object, of: type[S], faults: Sequence[Fault]) -> S:
    """An untyped body as an `of`, or refused as `invalid` with the faults that were found in it."""
    if faults:
        raise invalid(list(faults))
    return msgspec.convert(body, of)


def _read_slowly(raw: bytes) -> object:
    """The standard library knows the place of a fault in JSON.

    It also reads what msgspec does not, though the grammar allows it: numbers beyond a double and lone
    surrogates; the walk of the body then says where they are.
    """
    try:
        return json.loads(raw.decode(), parse_constant=_no_constant)
    except UnicodeDecodeError as error:
        raise _unreadable(f"byte {error.start + 1} is not UTF-8") from None
    except json.JSONDecodeError as error:
        if not raw.strip():
            raise _unreadable("it is empty") from None
        reason = (error.msg[:1].lower() + error.msg[1:]).removesuffix(" at")
        raise _unreadable(f"{reason} at line {error.lineno}, column {error.colno}") from None
    except RecursionError:
        raise _unreadable("it is nested too deeply") from None
    except ValueError:
        raise _unreadable("a number in it has thousands of digits") from None


def _no_constant(name: str) -> NoReturn:
    raise _unreadable(f"{name} is no JSON number")


def _unreadable(reason: str) -> Refused:
    return Refused("unreadable", f"The body cannot be read as JSON: {reason}.")
