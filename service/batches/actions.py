"""Taking the lines of a batch one by one, each in a transaction of its own."""

from collections.abc import AsyncIterator
from datetime import datetime
from typing import Any

import msgspec

from service.batches.models import BatchResult, LineCustomer, LineJob, LineProperty
from service.customers.door import CUSTOMER
from service.events.outbox import entry
from service.jobs.door import JOB, job_changed
from service.kernel.bodies import decode, read_json
from service.kernel.db import Pool
from service.kernel.errors import TITLES, Fault, Refused, invalid
from service.kernel.http import tag_of
from service.keys.rules import Caller, check_scope
from service.properties.door import PROPERTY, property_changed
from service.stated import door as stated
from service.stated.resource import nothing_follows
from service.visits.actions import record

LONGEST_LINE_BYTES = 8_000_000
# what a line may hold beside a visit: its body with id and amends, how it is kept, and what follows
STATED: dict[str, tuple[Any, Any, Any]] = {
    "customer": (LineCustomer, CUSTOMER, nothing_follows),
    "property": (LineProperty, PROPERTY, property_changed),
    "job": (LineJob, JOB, job_changed),
}


async def lines_of(chunks: AsyncIterator[bytes]) -> AsyncIterator[bytes]:
    """Lines that are not blank, as the bytes come in; one that is too long is cut off one byte beyond the limit."""
    rest = b""
    async for chunk in chunks:
        *lines, rest = (rest + chunk).split(b"\n")
        for line in lines:
            if line.strip():
                yield line
        rest = rest[: LONGEST_LINE_BYTES + 1]
    if rest.strip():
        yield rest


async def take_line(pool: Pool, caller: Caller, now: datetime, number: int, line: bytes) -> BatchResult:
    """Store what one line holds; a refusal is that line's own."""
    kind = None
    try:
        kind, raw = _kind_of(line)
        if kind == "visit":
            receipt = await record(pool, caller, now, raw)
            return BatchResult(
                line=number,
                status=201 if receipt.outcome == "recorded" else 200,
                kind="visit",
                id=receipt.id,
                outcome=receipt.outcome,
                etag=receipt.etag,
                warnings=receipt.warnings,
            )
        return await _take_stated(pool, caller, now, number, kind, raw)
    except Refused as refused:
        known = kind if kind in (*STATED, "visit") else None
        return BatchResult(line=number, status=TITLES[refused.kind][0], kind=known, problem=refused.problem())  # type: ignore[arg-type]


def _kind_of(line: bytes) -> tuple[str, bytes]:
    """The one member of a line, and the bytes under it as they were sent."""
    if len(line) > LONGEST_LINE_BYTES:
        raise Refused("too_large", f"A line is longer than {LONGEST_LINE_BYTES // 1_000_000} MB; split it.")
    try:
        members = msgspec.json.decode(line, type=dict[str, msgspec.Raw])
    except (msgspec.DecodeError, RecursionError):
        read_json(line)
        members = {}
    if len(members) != 1 or not members.keys() <= {*STATED, "visit"}:
        words = "A line is an object with exactly one of customer, property, job, visit."
        raise invalid([Fault(words, "#", "not_a_line")])
    ((kind, raw),) = members.items()
    return kind, bytes(raw)


async def _take_stated(
    pool: Pool, caller: Caller, now: datetime, number: int, kind: Any, raw: bytes
) -> BatchResult:
    of, noun, follow = STATED[kind]
    sent = decode(raw, of, now)
    if sent.amends is not None:
        # a phone may bring what it made; changing what the office states is the office's
        check_scope(caller, "office")
    body = noun.new(**{name: getattr(sent, name) for name in noun.new.__struct_fields__})
    async with entry(pool, caller.business_id, now, caller.key_id) as book:
        outcome = await stated.put(book, noun, sent.id, body, sent.amends)
        if outcome.changed:
            await follow(book, outcome)
    return BatchResult(
        line=number,
        status=201 if outcome.before is None else 200,
        kind=kind,
        id=sent.id,
        outcome="recorded" if outcome.before is None else "amended" if outcome.changed else "same",
        etag=tag_of(outcome.now.version),
        warnings=outcome.warnings,
    )
