"""The door to sets: their derived state, worked out again by whatever touches their facts."""

from collections.abc import Collection
from uuid import UUID

from service.conflicts import door as conflicts
from service.deadlines import door as deadlines
from service.deadlines.models import OF_SETS, KnownBy, Place
from service.events.outbox import Entry
from service.kernel.sql import Queries
from service.lawn import door as lawn
from service.sets import rules
from service.sets.models import Known, SetFacts

sql = Queries(__package__)


class Loaded(SetFacts, frozen=True, kw_only=True):
    """The facts of a set, its state as it was stored before, and whether patches of its cover were."""

    known: Known | None = None
    has_patches: bool = False


async def work_out(entry: Entry, set_ids: Collection[UUID], by: KnownBy) -> None:
    """Work out these sets from all their facts: state, effort, conflicts, deadlines; tell what changed.

    `by` is whose visit made it known.
    """
    if not set_ids:
        return
    business_id, asked = entry.business_id, list(set_ids)
    facts = await entry.db.many(Loaded, sql.facts_of_sets, business_id=business_id, set_ids=asked)
    places = await _places(entry, facts)
    homes = [rules.home_of(one) for one in facts]
    books = [
        rules.derive(one, None if home is None else places.get(home))
        for one, home in zip(facts, homes, strict=True)
    ]
    states = [book.state for book in books if book.state is not None]
    await entry.db.run(sql.replace_states, business_id=business_id, set_ids=asked, states=states)
    await conflicts.store(entry, "set", asked, [one for book in books for one in book.conflicts])
    patches = [patch for book in books for patch in book.patches]
    if patches or any(one.has_patches for one in facts):
        await lawn.store(entry, "set", asked, patches)
    await deadlines.store(entry, OF_SETS, asked, [one for book in books for one in book.deadlines], by)
    for one, book in zip(facts, books, strict=True):
        for event in rules.told(one, one.known, book):
            entry.tell(event, one.set_id)


async def _places(entry: Entry, facts: list[Loaded]) -> dict[UUID, Place]:
    """The properties of these sets, with visits that met a locked gate since the first fact of any."""
    placed = [one.placing.placed_at for one in facts if one.placing is not None]
    checked = [check.checked_at for one in facts for check in one.checks]
    if not placed and not checked:
        return {}
    homes = {home for one in facts if (home := rules.home_of(one)) is not None}
    return await deadlines.places(entry, homes, min([*placed, *checked]))
