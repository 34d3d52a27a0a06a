"""The door to signs: their derived state, worked out again by whatever touches their facts."""

from collections import defaultdict
from collections.abc import Collection
from datetime import datetime
from uuid import UUID

from service.conflicts import door as conflicts
from service.deadlines import door as deadlines
from service.deadlines.models import OF_SIGNS, KnownBy, Place
from service.events.outbox import Entry
from service.kernel.sql import Queries
from service.lawn import door as lawn
from service.signs import rules
from service.signs.models import Bound, SignFacts

sql = Queries(__package__)


async def work_out(entry: Entry, sign_ids: Collection[UUID], by: KnownBy) -> None:
    """Work out these signs from all their facts: state, lawn patches, conflicts and deadlines.

    `by` is whose visit made it known.
    """
    if not sign_ids:
        return
    business_id, asked = entry.business_id, list(sign_ids)
    facts = await entry.db.many(SignFacts, sql.facts_of_signs, business_id=business_id, sign_ids=asked)
    bounds = await _bounds(entry, facts)
    places = await _places(entry, facts)
    books = [rules.derive(one, bounds, places) for one in facts]
    states = [book.state for book in books if book.state is not None]
    patches = [patch for book in books for patch in book.patches]
    await entry.db.run(sql.replace_states, business_id=business_id, sign_ids=asked, states=states)
    await lawn.store(entry, "sign", asked, patches)
    await conflicts.store(entry, "sign", asked, [one for book in books for one in book.conflicts])
    await deadlines.store(entry, OF_SIGNS, asked, [one for book in books for one in book.deadlines], by)


async def touched_by_bounds(entry: Entry, property_id: UUID, since: datetime) -> list[UUID]:
    """Signs on turf at the property whose lawn clock a survey or mowing at `since` or later may change."""
    return await entry.db.column(
        sql.list_touched_by_bounds, business_id=entry.business_id, property_id=property_id, since=since
    )


async def _bounds(entry: Entry, facts: list[SignFacts]) -> dict[UUID, list[Bound]]:
    """Surveys with nothing fresh and mowings that may speak for these signs, by property."""
    started = [(one.sign.property_id, at) for one in facts if one.sign for at in rules.starts(one)]
    found: dict[UUID, list[Bound]] = defaultdict(list)
    if started:
        rows = await entry.db.many(
            Bound,
            sql.list_bounds,
            business_id=entry.business_id,
            property_ids=[property_id for property_id, _ in started],
            starts=[at for _, at in started],
        )
        for row in rows:
            found[row.property_id].append(row)
    return found


async def _places(entry: Entry, facts: list[SignFacts]) -> dict[UUID, Place]:
    """The properties of these signs, with visits that met a locked gate since the first fact of any."""
    signs = [one.sign for one in facts if one.sign is not None]
    if not signs:
        return {}
    first_at = min([*(sign.at for sign in signs), *(tamped.at for one in facts for tamped in one.tampings)])
    return await deadlines.places(entry, {sign.property_id for sign in signs}, first_at)
