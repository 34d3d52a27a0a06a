"""What the clock wakes: claim work that is due, as the clock; do each piece as the app, one a transaction."""

import logging
from collections.abc import Mapping
from datetime import datetime

from service.events.outbox import entry
from service.kernel.db import Db, Pool
from service.kernel.sql import Queries
from service.work.door import Handler
from service.work.models import Claimed, Taken
from service.work.rules import LEASE, pause_after

sql = Queries(__package__)
log = logging.getLogger(__name__)


async def run(
    clock_pool: Pool, app_pool: Pool, now: datetime, handlers: Mapping[str, Handler], limit: int = 100
) -> int:
    """Do what is due of the kinds that have a handler; returns how many pieces were claimed.

    Any number of runners may work at once: a piece is leased to one of them, and its row goes away in the
    transaction that does it.
    """
    claimed = await Db(clock_pool).many(
        Claimed, sql.claim_due, now=now, kinds=list(handlers), lease=LEASE, most=limit
    )
    for piece in claimed:
        try:
            await _do(app_pool, piece, now, handlers[piece.kind])
        except Exception as error:  # one business's trouble must not stop the others; it is kept with the row
            log.exception("work %s of %s failed", piece.kind, piece.subject_id)
            await _put_back(clock_pool, piece, now, error)
    return len(claimed)


async def _do(app_pool: Pool, piece: Claimed, now: datetime, handler: Handler) -> None:
    async with entry(app_pool, piece.business_id, now) as opened:
        taken = await opened.db.maybe(
            Taken,
            sql.take_work,
            business_id=piece.business_id,
            kind=piece.kind,
            subject_id=piece.subject_id,
            attempt=piece.attempt,
        )
        if taken is not None:
            await handler(opened, piece.subject_id, taken.since_at)


async def _put_back(clock_pool: Pool, piece: Claimed, now: datetime, error: Exception) -> None:
    await Db(clock_pool).run(
        sql.put_back,
        business_id=piece.business_id,
        kind=piece.kind,
        subject_id=piece.subject_id,
        attempt=piece.attempt,
        run_at=now + pause_after(piece.attempt),
        error=f"{type(error).__name__}: {error}"[:500],
    )
