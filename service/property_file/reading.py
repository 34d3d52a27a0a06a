"""A file's material, read from the book as it was at one place in the log."""

from collections.abc import AsyncIterator, Sequence
from datetime import date
from typing import Any
from uuid import UUID

from msgspec import Struct

from service.kernel.db import Db
from service.kernel.errors import Missing
from service.kernel.sql import Queries
from service.property_file.models import Asked, Chosen, Content, Place, Record, TenureRow, Version
from service.seals.door import SealOf, seal_lines, seals_of

sql = Queries(__package__)
# about a megabyte of records a statement: what was read is shown in few words, and let go
PAGE = 200


class SignedLine(Struct, frozen=True, kw_only=True):
    """A signed record or seal as it is stored and handed out, and its place in the folder."""

    path: str
    line: str


async def read_place(db: Db, business_id: UUID, property_id: UUID) -> Place:
    """The property, or Missing."""
    place = await db.maybe(Place, sql.read_place, business_id=business_id, property_id=property_id)
    if place is None:
        raise Missing("This property")
    return place


async def read_tenures(db: Db, business_id: UUID, property_id: UUID) -> list[TenureRow]:
    """Whose it was when."""
    return await db.many(TenureRow, sql.list_tenures, business_id=business_id, property_id=property_id)


async def read_versions(
    db: Db, business_id: UUID, property_id: UUID, asked: Asked, as_of: int
) -> list[Version]:
    """Every version of the property's records before the end of what was asked for."""
    return await db.many(
        Version,
        sql.list_versions,
        business_id=business_id,
        property_id=property_id,
        as_of=as_of,
        until_on=asked.until_on or date.max,
    )


async def read_records(db: Db, business_id: UUID, chosen: Chosen) -> list[list[Record]]:
    """What the versions that stand state, part by part."""
    persons = chosen.asked.audience == "customer"
    standing = [one.sequence for one in chosen.standing()]
    contents: dict[int, Content] = {}
    for sequences in _pages(standing):
        found = await db.many(
            Content, sql.read_contents, business_id=business_id, sequences=sequences, persons=persons
        )
        contents |= {one.sequence: one for one in found}
    return [
        [Record(head=one, content=contents[one.sequence]) for one in versions if not one.replaced]
        for versions in chosen.versions
    ]


async def read_seals(db: Db, business_id: UUID, chosen: Chosen) -> list[SealOf]:
    """The seals that the versions can be held against, by month; the public gets no record, and so none."""
    if chosen.asked.audience == "public":
        return []
    return await seals_of(db, business_id, [one.sequence for one in chosen.all_versions()])


async def signed_lines(
    db: Db, business_id: UUID, versions: Sequence[Version], seals: Sequence[SealOf]
) -> AsyncIterator[SignedLine]:
    """Signed records byte for byte, page by page, and after them the seals."""
    for sequences in _pages([one.sequence for one in versions]):
        wanted: dict[str, Any] = {"business_id": business_id, "sequences": sequences}
        for one in await db.many(SignedLine, sql.read_signed, **wanted):
            yield one
    async for seal, line in seal_lines(db, business_id, seals):
        yield SignedLine(path=f"seals/{seal.name}.json", line=line)


def _pages(sequences: Sequence[int]) -> list[Sequence[int]]:
    return [sequences[at : at + PAGE] for at in range(0, len(sequences), PAGE)]
