"""The key set (RFC 7517, 8037) that signatures are checked by. Pure."""

import msgspec
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from service.kernel.base64url import from_base64url
from service.signatures.rules import thumbprint
from service.verify.models import Keys

KEY_BYTES = 32
OPENING = b'{"keys":'


def read_key_set(raw: bytes) -> tuple[Keys, list[str]]:
    """The keys by their names, and a sentence for each that is none; a name must be its key's RFC 7638 thumbprint."""
    try:
        entries = msgspec.json.decode(raw, type=dict[str, list[dict[str, object]]])["keys"]
    except (msgspec.MsgspecError, KeyError, ValueError, RecursionError):
        return {}, ["This is no key set (RFC 7517); fetch the issuer's /.well-known/jwks.json anew."]
    keys: Keys = {}
    faults = []
    for place, entry in enumerate(entries, start=1):
        kid, public = str(entry.get("kid")), _public(entry)
        if public is None or thumbprint(public) != kid:
            faults.append(
                f"Key {place} ({kid}) is not what its name says (RFC 7638); fetch the issuer's key set anew."
            )
        else:
            keys[kid] = Ed25519PublicKey.from_public_bytes(public)
        if "d" in entry:
            faults.append(
                f"Key {place} ({kid}) shows its secret half: whoever has this file can sign with it."
            )
    return keys, faults


def _public(entry: dict[str, object]) -> bytes | None:
    x = str(entry.get("x"))
    is_ours = (entry.get("kty"), entry.get("crv")) == ("OKP", "Ed25519")
    try:
        raw = from_base64url(x)
    except ValueError:
        return None
    return raw if is_ours and len(raw) == KEY_BYTES else None
