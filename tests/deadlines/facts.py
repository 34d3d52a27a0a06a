"""Deadlines as they follow from facts of which nobody cares here, and how they come into a business's book."""

from collections.abc import Collection
from datetime import UTC, datetime, timedelta
from uuid import UUID

from service.deadlines.door import postpone, store
from service.deadlines.looks import look_due
from service.deadlines.models import OF_PERMITS, OF_SETS, OF_SIGNS, Covered, Derived, Kind, KnownBy, Place
from service.deadlines.why import explain
from service.events.outbox import entry
from service.identity.actions import add_business
from service.identity.models import HousePolicy
from service.kernel.db import Pool, open_pool

PHONE = KnownBy(worker_id=UUID(int=1), key_id=UUID(int=2))
MINUTE, HOUR, DAY = timedelta(minutes=1), timedelta(hours=1), timedelta(days=1)
PLACE = Place(
    property_id=UUID(int=7), zone="America/Los_Angeles", house_policies=[HousePolicy(calendar_days=1)]
)
# Monday 2 March 2026, 09:00 in Los Angeles; a look is due at the start of Wednesday
MONDAY = datetime(2026, 3, 2, 17, tzinfo=UTC)
DUE_AT = datetime(2026, 3, 4, 8, tzinfo=UTC)


async def new_business(database: str) -> UUID:
    """One more business."""
    async with await open_pool(database, "migrator", 1) as migrator:
        made, _ = await add_business(migrator, "Alder Mole Catchers", "America/Los_Angeles", MONDAY)
    return made


def derived(subject: int = 1, kind: Kind = "check", started_at: datetime = MONDAY, **more: object) -> Derived:
    """A deadline of one set or sign, started by a fact of the same number."""
    due = look_due(started_at, PLACE, Covered())
    assert due is not None
    return Derived(
        kind=kind,
        subject_id=UUID(int=subject),
        starting_fact_id=UUID(int=subject),
        property_id=PLACE.property_id,
        started_at=started_at,
        due_at=due.due_at,
        why=explain("placed", started_at, due, PLACE),
        **({"state": "open"} | more),  # type: ignore[arg-type]
    )


def ended(state: str, met_at: datetime, subject: int = 1) -> Derived:
    """The same after a look."""
    return derived(subject, state=state, outcome=state, met_at=met_at, met_by_fact_id=UUID(int=99))


async def learn(
    pool: Pool,
    business_id: UUID,
    now: datetime,
    *follows: Derived,
    by: KnownBy = PHONE,
    gone: Collection[int] = (),
) -> None:
    """What a visit does: facts in, deadlines stored, and what waits is put off."""
    subjects = {one.subject_id for one in follows} | {UUID(int=one) for one in gone}
    async with entry(pool, business_id, now, by.key_id) as opened:
        await postpone(opened, by)
        await store(opened, (*OF_SETS, *OF_SIGNS, *OF_PERMITS), subjects, list(follows), by)
