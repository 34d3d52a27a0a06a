"""The keys of an endpoint: made, kept sealed, and retired."""

from datetime import datetime, timedelta
from hmac import compare_digest
from uuid import UUID

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from msgspec import Struct

from service.events.signing import ED25519_BYTES, public_text, secret_key
from service.kernel.db import Db
from service.kernel.errors import Refused
from service.kernel.ids import new_id
from service.kernel.now import random_bytes
from service.kernel.sealing import NONCE_BYTES, seal, unseal
from service.kernel.sql import Queries

sql = Queries(__package__)
SECRET_BYTES = 32
# of one scheme at a time; each one more lengthens every delivery's header
MOST_IN_FORCE = 4


def secret_or_fresh(brought: str | None) -> bytes:
    """The bytes of a secret that is brought, else of one that is made; ValueError where it cannot sign."""
    return random_bytes(SECRET_BYTES) if brought is None else secret_key(brought)


async def add_keys(
    db: Db, sealing_key: bytes, business_id: UUID, endpoint_id: UUID, secret: bytes, now: datetime
) -> str:
    """Keep the v1 secret and a fresh v1a key for an endpoint; the public key as it is shown."""
    seed = random_bytes(ED25519_BYTES)
    public = public_text(Ed25519PrivateKey.from_private_bytes(seed))
    ids = [new_id(), new_id()]
    await db.run(
        sql.insert_keys,
        business_id=business_id,
        endpoint_id=endpoint_id,
        ids=ids,
        schemes=["v1", "v1a"],
        sealed=[
            seal(sealing_key, plain, business_id, id_, random_bytes(NONCE_BYTES))
            for id_, plain in zip(ids, (secret, seed), strict=True)
        ],
        now=now,
    )
    await db.run(sql.show_new_key, business_id=business_id, id=endpoint_id, public_key=public)
    return public


class _Secret(Struct, frozen=True):
    id: UUID
    sealed: bytes


async def check_new(
    db: Db, sealing_key: bytes, business_id: UUID, endpoint_id: UUID, secret: bytes, now: datetime
) -> None:
    """Refuse a secret that signs for the endpoint already: who brings it again would believe that it has changed."""
    of = {"business_id": business_id, "endpoint_id": endpoint_id}
    for known in await db.many(_Secret, sql.list_secrets, now=now, **of):
        if compare_digest(unseal(sealing_key, known.sealed, business_id, known.id), secret):
            raise Refused(
                "conflict",
                "This secret signs for the endpoint already; bring another, or leave secret out and one is made.",
            )


async def retire_keys(
    db: Db, business_id: UUID, endpoint_id: UUID, now: datetime, overlap: timedelta
) -> datetime:
    """Let the keys in force sign no longer than the overlap; until when they do."""
    until = now + overlap
    overlapping: int = await db.value(
        sql.expire_keys, business_id=business_id, endpoint_id=endpoint_id, now=now, until=until
    )
    if overlap and overlapping >= MOST_IN_FORCE:
        raise Refused(
            "conflict",
            f"{overlapping} secrets sign for this endpoint already; rotate again when the oldest has ended, "
            "or now with overlap_hours 0.",
        )
    return until
