"""The door to lawn patches: what follows from the facts of signs and sets goes in."""

from collections.abc import Collection, Sequence
from typing import Literal
from uuid import UUID

from msgspec.structs import asdict

from service.deadlines.models import Kind
from service.deadlines.rules import deadline_id
from service.events.outbox import Entry
from service.kernel.sql import Queries
from service.lawn.models import LawnPatch

sql = Queries(__package__)
Noun = Literal["sign", "set"]
CLOCK: dict[Noun, Kind] = {"sign": "lawn", "set": "lawn_cover"}


async def store(
    entry: Entry, noun: Noun, subject_ids: Collection[UUID], patches: Sequence[LawnPatch]
) -> None:
    """From now on the patches of these signs, or of these sets, are exactly the given ones.

    A patch has the id of its deadline. An id that is a sign and a set, by somebody's mistake, keeps both apart.
    """
    asked = list(subject_ids)
    await entry.db.run(
        sql.replace_patches,
        business_id=entry.business_id,
        sign_ids=asked if noun == "sign" else [],
        set_ids=asked if noun == "set" else [],
        patches=[{"id": _id_of(entry, noun, one), **asdict(one)} for one in patches],
    )


def _id_of(entry: Entry, noun: Noun, patch: LawnPatch) -> UUID:
    subject_id = patch.sign_id or patch.set_id
    if subject_id is None:
        raise ValueError("a patch is of a sign or of a set")
    return deadline_id(entry.business_id, CLOCK[noun], subject_id, patch.starting_fact_id)
