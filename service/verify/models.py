"""What is found in a file while it is verified."""

from datetime import date
from typing import Annotated

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from msgspec import Meta, Struct

# by `kid`
Keys = dict[str, Ed25519PublicKey]


class Issuer(Struct, frozen=True):
    """Of a record's issuer, what a seal is compared by."""

    business_id: str


class Content(Struct, frozen=True):
    """Of a record's content, the day that decides its month."""

    service_on: date


class Said(Struct, frozen=True):
    """What a record says of itself."""

    number: Annotated[str, Meta(pattern=r"^[0-9]{4}-[0-9]{6}\Z")]
    version: int
    party_hash: str
    issuer: Issuer
    content: Content


class Looked(Struct, frozen=True, kw_only=True):
    """A record as it was found: what does not hold, one sentence each, and what is to be told beside.

    `said` and the digests (hex) are None and empty where the bytes are no record at all; `kid` is None where no key
    was seen to have signed it.
    """

    name: str
    faults: list[str]
    said: Said | None = None
    sha256: str = ""
    leaf: str = ""
    kid: str | None = None
    is_unsigned: bool = False
    erased: str | None = None
