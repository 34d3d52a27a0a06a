"""Detached JWS with Ed25519, and the names of keys. Pure.

Sources: RFC 7515 (JWS) with appendix F (detached content), RFC 8037 (OKP keys), RFC 9864 (`alg` Ed25519), RFC 7638
(thumbprints).
"""

import json
from collections.abc import Mapping

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from service.kernel.base64url import base64url, from_base64url
from service.kernel.canonical import canonical, sha256
from service.signatures.models import Jwk, Signer

# What is signed says what it is, so that a seal never passes for a record.
RECORD_TYPE = "service-record+json"


class NotVerified(Exception):
    """Why a signature is not to be believed, in one sentence."""


def thumbprint(public: bytes) -> str:
    """The RFC 7638 name of an Ed25519 public key of 32 bytes: base64url of the SHA-256 of its required members."""
    return base64url(sha256(canonical({"crv": "Ed25519", "kty": "OKP", "x": base64url(public)})))


def jwk_of(public: bytes) -> Jwk:
    """A public key of 32 bytes as it is published."""
    return Jwk(kid=thumbprint(public), x=base64url(public))


def sign(signer: Signer, kind: str, payload: bytes) -> str:
    """`header..signature` over the payload, which stands elsewhere; `kind` goes into `typ`."""
    header = base64url(canonical({"alg": "Ed25519", "kid": signer.kid, "typ": kind}))
    return f"{header}..{base64url(signer.private.sign(_signed(header, payload)))}"


def check(keys: Mapping[str, Ed25519PublicKey], kind: str, payload: bytes, detached: str) -> str:
    """The `kid` of the key that signed the payload as such a kind; NotVerified says what does not hold."""
    header, _, rest = detached.partition(".")
    try:
        said = json.loads(from_base64url(header))
        signature = from_base64url(rest.removeprefix("."))
        kid = said["kid"]
    except (ValueError, TypeError, KeyError, RecursionError) as wrong:
        raise NotVerified("The signature is no detached JWS (header..signature).") from wrong
    if (
        not rest.startswith(".")
        or not isinstance(kid, str)
        or said != {"alg": "Ed25519", "kid": kid, "typ": kind}
    ):
        raise NotVerified(f"The signature's header is not that of {kind} signed by Ed25519.")
    if kid not in keys:
        raise NotVerified(f"The key set has no key {kid}; fetch the issuer's key set anew.")
    try:
        keys[kid].verify(signature, _signed(header, payload))
    except InvalidSignature as wrong:
        raise NotVerified("The signature does not fit: these are not the bytes that were signed.") from wrong
    return kid


def kid_of(detached: str) -> str:
    """The `kid` that a signature of ours names."""
    return str(json.loads(from_base64url(detached.partition(".")[0]))["kid"])


def _signed(header: str, payload: bytes) -> bytes:
    return f"{header}.{base64url(payload)}".encode()
