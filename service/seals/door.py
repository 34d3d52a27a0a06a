"""The door to seals: whoever hands out records takes along the seals that these can be held against."""

from collections.abc import AsyncIterator, Sequence
from datetime import date
from uuid import UUID

from msgspec import Struct

from service.kernel.db import Db
from service.kernel.sql import Queries
from service.seals.models import StoredSeal
from service.work.models import MONTH_SEALED_ANEW

sql = Queries(__package__)


class SealOf(Struct, frozen=True, kw_only=True):
    """A version of the seal of the month that begins with a day, and its digest in hex."""

    first_on: date
    version: int
    sha256: str

    @property
    def name(self) -> str:
        """As a further seal names it."""
        return f"{self.first_on:%Y-%m}.{self.version}"


async def seals_of(db: Db, business_id: UUID, sequences: Sequence[int]) -> list[SealOf]:
    """The latest seals of the months in which these versions lie, by month, where all of these fit their seal.

    A seal is left out while its month waits to be sealed anew, and where one of these versions was replaced by one
    of another month that is not among them: nothing that is handed out would tell why the seal does not hold it.
    """
    return await db.many(
        SealOf, sql.list_seals_of, business_id=business_id, sequences=sequences, kind=MONTH_SEALED_ANEW
    )


async def seal_lines(db: Db, business_id: UUID, seals: Sequence[SealOf]) -> AsyncIterator[tuple[SealOf, str]]:
    """Each with the text that is handed out."""
    for one in seals:
        stored = await db.one(
            StoredSeal, sql.read_seal, business_id=business_id, first_on=one.first_on, version=one.version
        )
        yield one, stored.line
