"""Keys: how one is made, read and judged. Pure: random bytes and now are arguments.

Form: setbook_<id, 32 hex>_<secret, 64 hex>_<CRC-32 of all before it, 8 hex>. The checksum lets a scanner tell a
real key from a look-alike; 256 random bits need no slow hash, so SHA-256 is kept.
"""

import hashlib
import hmac
import re
import zlib
from datetime import datetime
from uuid import UUID

from msgspec import Struct

from service.kernel.errors import Refused

_FORM = re.compile(r"setbook_([0-9a-f]{32})_[0-9a-f]{64}_([0-9a-f]{8})")


class KeyRow(Struct, frozen=True):
    """What the database knows of a key."""

    business_id: UUID
    id: UUID
    worker_id: UUID | None
    scopes: list[str]
    hash: bytes
    expires_at: datetime | None
    revoked_at: datetime | None


class Caller(Struct, frozen=True):
    """Who calls: the business, the key, the worker it was given to, and its scopes."""

    business_id: UUID
    key_id: UUID
    worker_id: UUID | None
    scopes: list[str]


def make_key(key_id: UUID, secret: bytes) -> str:
    """The text of a key from its id and 32 random bytes."""
    start = f"setbook_{key_id.hex}_{secret.hex()}"
    return f"{start}_{zlib.crc32(start.encode()):08x}"


def hash_of(key: str) -> bytes:
    """What is kept of a key."""
    return hashlib.sha256(key.encode()).digest()


def key_in(authorization: str | None) -> tuple[str, UUID]:
    """The key and its id from an Authorization header."""
    if authorization is None:
        raise _no_key("Send your API key as `Authorization: Bearer setbook_...`.")
    scheme, _, key = authorization.partition(" ")
    match = _FORM.fullmatch(key.strip())
    if scheme.lower() != "bearer" or match is None:
        raise _no_key("The Authorization header holds no API key of the form `Bearer setbook_...`.")
    if f"{zlib.crc32(key.strip()[:-9].encode()):08x}" != match.group(2):
        raise _no_key("The API key is mistyped or cut off: its checksum does not fit.")
    return key.strip(), UUID(match.group(1))


def check_key(key: str, row: KeyRow | None, now: datetime) -> Caller:
    """Who holds the key; 401 where it is unknown, wrong, revoked or run out."""
    if row is None or not hmac.compare_digest(row.hash, hash_of(key)):
        raise _no_key("This API key is not known; ask the business for a new one.")
    if row.revoked_at is not None:
        raise _no_key("This API key was revoked; ask the business for a new one.")
    if row.expires_at is not None and row.expires_at <= now:
        raise _no_key("This API key has run out; ask the business for a new one.")
    return Caller(row.business_id, row.id, row.worker_id, row.scopes)


def check_scope(caller: Caller, scope: str) -> None:
    """403 where the key was not given the scope."""
    if scope not in caller.scopes:
        raise Refused("scope_missing", f"This key lacks the scope `{scope}`; use one that has it.")


def _no_key(detail: str) -> Refused:
    return Refused("no_key", detail, headers={"WWW-Authenticate": 'Bearer realm="setbook"'})
