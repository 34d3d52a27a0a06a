"""Public keys as they are published (RFC 7517), and a key that signs."""

from datetime import datetime
from typing import Literal
from uuid import UUID

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from msgspec import Struct


class Jwk(Struct, frozen=True, kw_only=True):
    """An Ed25519 public key (RFC 8037): `x` is base64url of its 32 bytes, `kid` its RFC 7638 thumbprint."""

    alg: Literal["Ed25519"] = "Ed25519"
    crv: Literal["Ed25519"] = "Ed25519"
    kid: str
    kty: Literal["OKP"] = "OKP"
    use: Literal["sig"] = "sig"
    x: str


class JwkSet(Struct, frozen=True):
    """Every key that ever signed here, the newest first; retired ones stay."""

    keys: list[Jwk]


class SealedSigningKey(Struct, frozen=True, kw_only=True):
    """A key as it is kept."""

    id: UUID
    kid: str
    sealed: bytes


class KeptKey(Struct, frozen=True, kw_only=True):
    """A key as the operator sees it; one without `retired_at` is in force."""

    kid: str
    made_at: datetime
    retired_at: datetime | None


class Signer(Struct, frozen=True):
    """The key in force, opened."""

    kid: str
    private: Ed25519PrivateKey
