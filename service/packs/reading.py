"""From the bytes of a pack to the pack; what is wrong with it is named with its line."""

import json
from collections.abc import Iterable, Sequence
from datetime import datetime

import msgspec

from service.kernel.bodies import built, read_json
from service.kernel.errors import Fault, Refused, invalid
from service.kernel.faults import faults_of
from service.kernel.merge import merged
from service.kernel.sentences import MOST
from service.packs.contradictions import contradictions
from service.packs.lines import Lines, lines_in
from service.packs.models import NewPack

LARGEST_BYTES = 1_000_000


def pack_in(raw: bytes, now: datetime, stated: object = None) -> NewPack:
    """The pack that the bytes state, or make of what was `stated` as a merge patch (RFC 7396).

    Refuses it with every fault of its form, each with its line in the bytes.
    """
    body, lines = _read(raw)
    if stated is not None:
        if not isinstance(body, dict):
            raise Refused("unreadable", "A merge patch is a JSON object with the members to change.")
        body = merged(stated, body)
    return built(body, NewPack, _lined(lines, _faults(body, lines, now)))


def check_fits(raw: bytes, new: NewPack, others: Iterable[NewPack]) -> None:
    """Refuses a pack that says something against itself, or against one of the others."""
    faults = contradictions(new, others)
    if faults:
        raise invalid(_lined(lines_in(raw.decode()), faults[:MOST]))


def faults_in(raw: bytes, now: datetime) -> list[tuple[int, str]]:
    """Every fault of a pack's file, by line, each a sentence that says what to mend; none where it is sound."""
    try:
        body, lines = _read(raw)
    except Refused as refused:
        return [(_line_of_trouble(raw), refused.detail)]
    faults = _faults(body, lines, now) or contradictions(msgspec.convert(body, NewPack))
    return sorted((lines.line_of(one.pointer), one.detail) for one in faults)


def _read(raw: bytes) -> tuple[object, Lines]:
    if len(raw) > LARGEST_BYTES:
        raise Refused(
            "too_large", f"A rule pack has at most {LARGEST_BYTES:,} bytes; state each text by itself."
        )
    return read_json(raw), lines_in(raw.decode())


def _faults(body: object, lines: Lines, now: datetime) -> list[Fault]:
    return [*lines.doubled, *faults_of(body, NewPack, now)][:MOST]


def _lined(lines: Lines, faults: Sequence[Fault]) -> list[Fault]:
    return [
        Fault(f"Line {lines.line_of(one.pointer)}: {one.detail}", one.pointer, one.code) for one in faults
    ]


def _line_of_trouble(raw: bytes) -> int:
    """Where the text stops being JSON."""
    try:
        json.loads(raw)
    except json.JSONDecodeError as error:
        return error.lineno
    except UnicodeDecodeError as error:
        return raw.count(b"\n", 0, error.start) + 1
    except (RecursionError, ValueError):
        pass
    return 1
