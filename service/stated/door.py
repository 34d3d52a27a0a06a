"""The door to stated things: create, amend and patch any of them the same way, history kept."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any, Generic, TypeVar
from uuid import UUID

import asyncpg
import msgspec
from litestar import Response

from service.events.outbox import Entry
from service.facts.texts import TEXTS_NOT_KEPT, redacted
from service.kernel.bodies import built, read_json
from service.kernel.db import Db
from service.kernel.errors import Fault, Missing, Refused
from service.kernel.faults import faults_of
from service.kernel.http import answer, check_precondition, tag_of
from service.kernel.merge import merged
from service.kernel.sql import Queries, Query
from service.kernel.values import Caution, Erased
from service.stated.models import Stated, Version

sql = Queries(__package__)
New = TypeVar("New", bound=msgspec.Struct)
Kept = TypeVar("Kept", bound=Stated)


@dataclass(frozen=True)
class Noun(Generic[New, Kept]):
    """One stated noun: its name and path, the body it takes, the row it keeps, and its two statements.

    `read` takes :business_id and :id; `put` :business_id and :row (the whole row as jsonb), and inserts or
    replaces it; `list` :business_id, :after_id, :most, and :property_id where it can be narrowed to one.
    """

    name: str
    path: str
    new: type[New]
    kept: type[Kept]
    read: Query
    put: Query
    list: Query
    # the sentence of each check constraint of its table
    checks: Mapping[str, str] = field(default_factory=dict)
    # takes :business_id and :id; None where the noun is never taken back
    delete: Query | None = None
    # the member that says of which day it is: at a property of a customer who was erased its texts are not kept
    day: str | None = None
    # the sentence that refuses it there, of a noun whose texts are the matter itself
    no_words: str | None = None
    # the noun under whose address this one stands
    parent: "Noun[Any, Any] | None" = None


@dataclass(frozen=True)
class Outcome(Generic[Kept]):
    """What came of a PUT, POST or PATCH: the row before (None where it is new) and the row now."""

    before: Kept | None
    now: Kept
    texts_kept: bool = True

    @property
    def changed(self) -> bool:
        """False where the same was sent again."""
        return self.before is None or self.before.version != self.now.version

    @property
    def warnings(self) -> list[Caution]:
        """What whoever sent it should know."""
        return [] if self.texts_kept else [TEXTS_NOT_KEPT]


async def read(
    db: Db, noun: Noun[New, Kept], business_id: UUID, id_: UUID, property_id: UUID | None = None
) -> Kept:
    """The row, or Missing; under the address of a property only where it is that property's."""
    kept = await db.maybe(noun.kept, noun.read, business_id=business_id, id=id_)
    if kept is None or (property_id is not None and getattr(kept, "property_id", None) != property_id):
        raise Missing(f"This {noun.name.replace('_', ' ')}")
    return kept


async def check_parent(db: Db, noun: Noun[New, Kept], business_id: UUID, parent_id: UUID | None) -> None:
    """Missing where the noun stands under another, and that one is not in the book."""
    if noun.parent is not None and parent_id is not None:
        await read(db, noun.parent, business_id, parent_id)


async def put(
    entry: Entry,
    noun: Noun[New, Kept],
    id_: UUID,
    body: New,
    if_match: str | None,
    property_id: UUID | None = None,
) -> Outcome[Kept]:
    """Create it, find it the same, or amend it: 428 without If-Match, 412 with a stale one.

    Of the days of a customer who was erased it is kept without its texts, or refused where these are the matter.
    """
    await check_parent(entry.db, noun, entry.business_id, property_id)
    kept = await _without_lost_texts(entry, noun, body)
    before = await entry.db.maybe(noun.kept, noun.read, business_id=entry.business_id, id=id_)
    if before is not None:
        if property_id is not None and getattr(before, "property_id", None) != property_id:
            raise Missing(f"This {noun.name.replace('_', ' ')}")
        _check_own(noun, before)
        _check_not_erased(noun, before)
        stated = stated_of(before, noun.new)
        # sent again it is known; where it amends, words that would be lost are refused further down
        if stated == body or (stated == kept and (if_match is None or noun.no_words is None)):
            return Outcome(before, before, texts_kept=stated == body)
        check_precondition(if_match, tag_of(before.version))
    elif if_match is not None:
        raise Refused("stale", "There is nothing under this id to amend yet; send it without If-Match.")
    if kept != body and noun.no_words is not None:
        raise Refused("conflict", noun.no_words)
    version = 1 + (await _last_version(entry, noun, id_) if before is None else before.version)
    row = {**_members(kept), "id": id_, "version": version, "received_at": entry.now}
    if property_id is not None:
        row["property_id"] = property_id
    await _store(entry, noun, row)
    await _keep_version(entry, noun, id_, version, msgspec.to_builtins(kept))
    # as the database has it, so that what is answered now and read later is the same to the byte
    return Outcome(before, await read(entry.db, noun, entry.business_id, id_), texts_kept=kept == body)


async def withdraw(
    entry: Entry, noun: Noun[New, Kept], delete: Query, id_: UUID, if_match: str | None
) -> Kept:
    """Take it back; its history stays. Returns it as it was."""
    before = await read(entry.db, noun, entry.business_id, id_)
    _check_own(noun, before)
    check_precondition(if_match, tag_of(before.version))
    await entry.db.run(delete, business_id=entry.business_id, id=id_)
    await _keep_version(entry, noun, id_, before.version + 1, None)
    return before


async def _without_lost_texts(entry: Entry, noun: Noun[New, Kept], body: New) -> New:
    """The body; without what people wrote where it is of a day or a visit, or comes on a day, of a customer erased."""
    if noun.day is None:
        return body
    of_erased: bool = await entry.db.value(
        sql.is_of_erased,
        business_id=entry.business_id,
        property_id=getattr(body, "property_id"),  # noqa: B009 - not every noun has one
        visit_id=getattr(body, "visit_id", None),
        instants=[getattr(body, noun.day), entry.now],
    )
    return msgspec.convert(redacted(msgspec.to_builtins(body)), noun.new) if of_erased else body


def _check_own(noun: Noun[New, Kept], kept: Kept) -> None:
    """What a visit states is amended with that visit; a noun that itself states a `visit_id` only points there."""
    visit_id = getattr(kept, "visit_id", None)
    if visit_id is not None and "visit_id" not in noun.new.__struct_fields__:
        raise Refused("conflict", f"This is stated in visit {visit_id}; amend that visit.")


def _check_not_erased(noun: Noun[New, Kept], kept: Kept) -> None:
    """What is left of a person who was erased is stated no more."""
    erased: Erased | None = getattr(kept, "erased", None)
    if erased is not None:
        raise Refused("conflict", f"This {noun.name} was erased on {erased.at:%Y-%m-%d}; add a new one.")


async def _last_version(entry: Entry, noun: Noun[New, Kept], id_: UUID) -> int:
    """The last version of what was withdrawn before; 0 where there never was one."""
    last: int = await entry.db.value(sql.last_version, business_id=entry.business_id, noun=noun.name, id=id_)
    return last


async def _keep_version(entry: Entry, noun: Noun[New, Kept], id_: UUID, version: int, body: Any) -> None:
    await entry.db.run(
        sql.insert_version,
        business_id=entry.business_id,
        noun=noun.name,
        id=id_,
        version=version,
        body=body,
        received_at=entry.now,
        key_id=entry.key_id,
    )


async def _store(entry: Entry, noun: Noun[New, Kept], row: dict[str, Any]) -> None:
    """Constraints of the database speak in the words of the noun."""
    try:
        await entry.db.run(noun.put, business_id=entry.business_id, row=row)
    except asyncpg.ForeignKeyViolationError as unknown:
        named = re.sub(r"^.*_(\w+)_id_fkey$", r"\1", unknown.constraint_name or "")
        detail = f"This {named} is not in your book; add it first or mend the id."
        raise Refused("invalid", detail, [Fault(detail, f"#/{named}_id", f"unknown_{named}")]) from unknown
    except asyncpg.CheckViolationError as wrong:
        rule = noun.checks.get(wrong.constraint_name or "", wrong.constraint_name)
        detail = f"The members do not fit together: {rule}."
        raise Refused("invalid", detail, [Fault(detail, "#", "do_not_fit")]) from wrong


async def patch(
    entry: Entry,
    noun: Noun[New, Kept],
    id_: UUID,
    raw: bytes,
    if_match: str | None,
    property_id: UUID | None = None,
) -> Outcome[Kept]:
    """Lay a merge patch over what is stated (RFC 7396) and put the result."""
    before = await read(entry.db, noun, entry.business_id, id_, property_id)
    change = read_json(raw)
    if not isinstance(change, dict):
        raise Refused("unreadable", "A merge patch is a JSON object with the members to change.")
    body = merged(msgspec.to_builtins(stated_of(before, noun.new)), change)
    new = built(body, noun.new, faults_of(body, noun.new, entry.now))
    if if_match is None:
        check_precondition(if_match, tag_of(before.version))
    return await put(entry, noun, id_, new, if_match, property_id)


async def versions(db: Db, noun: Noun[New, Kept], business_id: UUID, id_: UUID) -> list[Version]:
    """Every version, oldest first; Missing where there is none."""
    found = await db.many(Version, sql.list_versions, business_id=business_id, noun=noun.name, id=id_)
    if not found:
        raise Missing(f"This {noun.name.replace('_', ' ')}")
    return found


def answered(noun: Noun[New, Kept], outcome: Outcome[Kept]) -> Response[Kept]:
    """201 with its place where it is new, else 200; the ETag in any case, and what whoever sent it should know."""
    status = 201 if outcome.before is None else 200
    path = noun.path.replace("{property_id:uuid}", str(getattr(outcome.now, "property_id", "")))
    location = f"/v1/{path}/{outcome.now.id}" if outcome.before is None else None
    shown: Any = outcome.now
    if outcome.warnings and noun.no_words is None:
        shown = msgspec.structs.replace(shown, warnings=outcome.warnings)
    return answer(shown, status=status, etag=tag_of(outcome.now.version), location=location)


def stated_of(kept: Kept, new: type[New]) -> New:
    """What was stated of it, without identity, version and arrival."""
    return msgspec.convert({name: getattr(kept, name) for name in new.__struct_fields__}, new)


def _members(body: msgspec.Struct) -> dict[str, Any]:
    """Every member by name, also those that equal their default and are left out when encoded.

    Instants in UTC: PostgreSQL reads no offset of 16 hours and more, which RFC 3339 allows.
    """
    members = {name: getattr(body, name) for name in body.__struct_fields__}
    return {
        name: each.astimezone(UTC) if isinstance(each, datetime) else each for name, each in members.items()
    }
