"""The installation's signing keys: made, kept sealed, and opened for signing."""

from datetime import datetime
from functools import lru_cache
from uuid import UUID

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from service.kernel.db import Db, Pool, transaction
from service.kernel.errors import CannotStart
from service.kernel.ids import new_id
from service.kernel.now import random_bytes
from service.kernel.sealing import NONCE_BYTES, NotOpened, seal, unseal
from service.kernel.sql import Queries
from service.signatures.models import JwkSet, KeptKey, SealedSigningKey, Signer
from service.signatures.rules import jwk_of, thumbprint

sql = Queries(__package__)
SEED_BYTES = 32
# keys belong to the installation, not to a business
INSTALLATION = UUID(int=0)


async def signer_in_force(db: Db, sealing_key: bytes, now: datetime) -> Signer:
    """The key that signs now, made where there is none yet; NotOpened where it was sealed under another key."""
    kept = await db.maybe(SealedSigningKey, sql.read_key_in_force)
    return _opened(sealing_key, kept or await add_key(db, sealing_key, now))


async def add_key(db: Db, sealing_key: bytes, now: datetime) -> SealedSigningKey:
    """A fresh key, which from now on is the newest."""
    seed = random_bytes(SEED_BYTES)
    public = Ed25519PrivateKey.from_private_bytes(seed).public_key().public_bytes_raw()
    id_ = new_id()
    sealed = seal(sealing_key, seed, INSTALLATION, id_, random_bytes(NONCE_BYTES))
    made = SealedSigningKey(id=id_, kid=thumbprint(public), sealed=sealed)
    await db.run(sql.insert_key, id=id_, kid=made.kid, public=public, sealed=sealed, now=now)
    return made


async def key_set(db: Db) -> JwkSet:
    """Every key that ever signed here, the newest first (RFC 7517)."""
    return JwkSet([jwk_of(one) for one in await db.column(sql.list_public)])


async def rotate(pool: Pool, sealing_key: bytes, now: datetime) -> str:
    """Retire every key in force and make a fresh one; its `kid`. What the old ones signed verifies as before."""
    async with transaction(pool) as db:
        made = await add_key(db, sealing_key, now)
        await db.run(sql.retire_others, id=made.id, now=now)
    return made.kid


async def list_keys(db: Db) -> list[KeptKey]:
    """Every key that ever was, the newest first."""
    return await db.many(KeptKey, sql.list_keys)


async def check_key(pool: Pool, sealing_key: bytes) -> None:
    """CannotStart where the key in force was sealed under another secret key: nothing could be issued with it."""
    kept = await Db(pool).maybe(SealedSigningKey, sql.read_key_in_force)
    if kept is None:
        return
    try:
        _opened(sealing_key, kept)
    except NotOpened as wrong:
        raise CannotStart(
            f"The signing key {kept.kid} cannot be opened, it was sealed under another secret key; set "
            "SETBOOK_SECRET_KEY to that one, or, where it is lost, sign with a new key: setbook signing-key rotate"
        ) from wrong


@lru_cache(16)
def _opened(sealing_key: bytes, kept: SealedSigningKey) -> Signer:
    seed = unseal(sealing_key, kept.sealed, INSTALLATION, kept.id)
    return Signer(kept.kid, Ed25519PrivateKey.from_private_bytes(seed))
