"""Whether what digging a set in opened is closed again. Pure."""

from collections.abc import Sequence
from datetime import datetime

from service.sets.models import Check, SetFacts


def closed_at(facts: SetFacts, looks: Sequence[Check]) -> datetime | None:
    """Since when the opening is closed: by the looks that say so and the repairs of the set; None while it is open.

    The last word counts, since a spot may be dug up again; of one instant a repair comes after the look.
    """
    said = [
        (one.checked_at, False, one.visit_id.bytes, one.id.bytes, one.opening_closed)
        for one in looks
        if one.opening_closed is not None
    ]
    said += [
        (one.at, True, one.visit_id.bytes, one.fact_id.bytes, True)
        for one in facts.mentions
        if one.noun == "repair" and (facts.placing is None or one.at >= facts.placing.placed_at)
    ]
    since: datetime | None = None
    for at, *_, is_closed in sorted(said):
        since = (since or at) if is_closed else None
    return since
