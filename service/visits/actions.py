"""Storing a visit: from PUT, POST, batch lines, amendments of one fact, and refusals tried again."""

from datetime import datetime
from uuid import UUID

import msgspec

from service.deadlines import door as deadlines
from service.deadlines.models import KnownBy
from service.events.outbox import Entry, entry
from service.facts import rules as facts
from service.facts.models import NewVisit, VisitBody
from service.facts.texts import redacted_bytes
from service.jobs import door as jobs
from service.kernel.bodies import built, read_json
from service.kernel.canonical import compared, sha256
from service.kernel.db import Pool
from service.kernel.errors import Fault, Refused
from service.kernel.http import check_precondition, tag_of
from service.kernel.values import Caution
from service.keys.rules import Caller
from service.refusals import door as refusals
from service.sets import door as sets
from service.signs import door as signs
from service.visits import decisions
from service.visits.decisions import Subject
from service.visits.models import Receipt, VisitWithdrawn
from service.visits.rules import visit_faults
from service.visits.storing import (
    body_of,
    claim_ids,
    read_conflicts,
    read_stored,
    read_surroundings,
    read_visit,
    reason_for,
    receipt,
    sql,
    tell_stored,
    write_version,
    write_visit,
)
from service.work import door as work

NO_ID = UUID(int=0)


async def record(
    pool: Pool,
    caller: Caller,
    now: datetime,
    raw: bytes,
    visit_id: UUID | None = None,
    if_match: str | None = None,
) -> Receipt:
    """Record a visit from its bytes; what is refused for its content is kept before the answer leaves."""
    body = read_json(raw)
    claimed = visit_id or _claimed_id(body)
    try:
        new = built(body, NewVisit, [*visit_faults(body, now), *_id_faults(body, claimed)])
        async with entry(pool, caller.business_id, now, caller.key_id) as book:
            return await store(book, caller, claimed or NO_ID, new, if_match or new.amends)
    except Refused as refused:
        if refused.kind not in refusals.KEPT_KINDS:
            raise
        async with entry(pool, caller.business_id, now, caller.key_id) as book:
            accepted_id = await refusals.keep(book, raw, body, claimed, refused)
            stored = None if accepted_id is None else await read_stored(book, accepted_id)
        if stored is None:
            raise
        return receipt(stored, "same", [])


def _claimed_id(body: object) -> UUID | None:
    try:
        return UUID(body["id"]) if isinstance(body, dict) else None
    except (KeyError, ValueError, AttributeError, TypeError):
        return None


def _id_faults(body: object, claimed: UUID | None) -> list[Fault]:
    if claimed is None:
        return [Fault("Say the visit's `id`, a UUID that the phone makes once.", "#/id", "missing")]
    if _claimed_id(body) not in (None, claimed):
        return [
            Fault(
                "`id` differs from the id in the address; send the same or leave it out.", "#/id", "other_id"
            )
        ]
    return []


async def store(book: Entry, caller: Caller, visit_id: UUID, new: NewVisit, if_match: str | None) -> Receipt:
    """Load, decide, store, tell: the visit with all its facts, and all that follows from them."""
    stored = await read_stored(book, visit_id)
    canonical = compared(new)
    digest = sha256(canonical)
    earlier = (
        await book.db.column(sql.list_digests, business_id=book.business_id, id=visit_id) if stored else []
    )
    outcome = decisions.decide(stored, digest, earlier, if_match)
    around = await read_surroundings(book, visit_id, new)
    if outcome == "same" and stored is not None:
        warned = [] if stored.withdrawn_at else decisions.cautions(body_of(stored), around)
        return receipt(stored, "same", warned + await read_conflicts(book, visit_id))
    decisions.check_surroundings(new, around, caller.worker_id)
    await claim_ids(book, visit_id, new)
    if around.holder_erased:
        # the digest stays that of the body as it came, so that it is known again
        canonical = redacted_bytes(canonical)
    stated = msgspec.json.decode(canonical, type=VisitBody)
    before = None if stored is None or stored.withdrawn_at else body_of(stored)
    version = 1 if stored is None else stored.version + 1
    cautions = decisions.cautions(stated, around)
    said = None if around.holder_erased else new.amend_reason
    reason = said if stored is None else await reason_for(book, visit_id, said, cautions)
    await write_visit(book, visit_id, stated, stored, version, digest)
    await write_version(book, visit_id, version, canonical, digest, reason)
    tell_stored(book, visit_id, version, stored, before, stated)
    await work_out(book, caller.key_id, visit_id, [body for body in (before, stated) if body is not None])
    written = await read_visit(book, visit_id)
    return receipt(written, outcome, cautions + await read_conflicts(book, visit_id))


async def withdraw(
    book: Entry, caller: Caller, visit_id: UUID, if_match: str | None, amend_reason: str | None
) -> Receipt:
    """Take a visit back with all its facts; history keeps what it said."""
    stored = await read_visit(book, visit_id)
    check_precondition(if_match, tag_of(stored.version))
    if stored.withdrawn_at is not None:
        return receipt(stored, "withdrawn", [])
    before = body_of(stored)
    cautions: list[Caution] = []
    reason = await reason_for(book, visit_id, amend_reason, cautions)
    await book.db.run(sql.delete_facts, business_id=book.business_id, visit_id=visit_id)
    version = await book.db.value(
        sql.withdraw_visit, business_id=book.business_id, id=visit_id, now=book.now, key_id=caller.key_id
    )
    await write_version(book, visit_id, version, None, None, reason)
    _, _, withdrawn = facts.difference(before, None)
    book.tell(
        VisitWithdrawn(
            visit_id=visit_id, property_id=before.property_id, version=version, withdrawn=withdrawn
        ),
        visit_id,
    )
    await work_out(book, caller.key_id, visit_id, [before])
    return receipt(await read_visit(book, visit_id), "withdrawn", cautions)


async def work_out(book: Entry, key_id: UUID, visit_id: UUID, bodies: list[VisitBody]) -> None:
    """All that follows from a visit coming, changing or going: states, deadlines, and records to issue later."""
    by = KnownBy(worker_id=bodies[-1].worker_id, key_id=key_id)
    touched = facts.touched(*bodies)
    set_ids, sign_ids = set(touched.sets), set(touched.signs)
    for subject in await _open_then(book, touched):
        (set_ids if subject.noun == "set" else sign_ids).add(subject.id)
    if touched.bounds_since is not None:
        for property_id in touched.properties:
            sign_ids |= set(await signs.touched_by_bounds(book, property_id, touched.bounds_since))
    if set_ids:
        await sets.work_out(book, sorted(set_ids), by)
        await jobs.sets_changed(book, set_ids)
    if sign_ids:
        await signs.work_out(book, sorted(sign_ids), by)
    if any(body.job_id is not None for body in bodies):
        await jobs.visits_changed(book, [visit_id])
    await deadlines.postpone(book, by)
    now_at = bodies[-1].property_id
    for property_id in touched.properties - {now_at}:
        await work.property_changed(book, property_id, touched.since)
    await work.visit_changed(book, visit_id, now_at, touched.since)


async def _open_then(book: Entry, touched: facts.Touched) -> list[Subject]:
    """Sets and signs whose deadlines were open when somebody stood at a locked gate."""
    if not touched.attempts:
        return []
    return await book.db.many(
        Subject,
        sql.list_subjects_open_between,
        business_id=book.business_id,
        property_ids=list(touched.properties),
        first_at=min(touched.attempts),
        last_at=max(touched.attempts),
    )
