"""Standard Webhooks v1 and v1a: how a delivery is signed and how a receiver checks it. Pure: now is an argument.

Source: the Standard Webhooks specification, version 1.0.0. The signed text is `{id}.{timestamp}.{body}`; v1 is
HMAC-SHA256 with a secret that both sides hold, v1a is Ed25519 (RFC 8032), which proves who sent it.
"""

import base64
import hmac
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

SECRET, PRIVATE, PUBLIC = "whsec_", "whsk_", "whpk_"
LEAST_SECRET_BYTES, MOST_SECRET_BYTES = 24, 64
ED25519_BYTES = 32
TOLERANCE = timedelta(minutes=5)

# What signs, and what a receiver holds to check it: bytes are a v1 secret.
SigningKey = bytes | Ed25519PrivateKey
CheckingKey = bytes | Ed25519PublicKey


class NotVerified(Exception):
    """Why a delivery is not to be believed, in one sentence."""


def secret_text(key: bytes) -> str:
    """The secret as the receiver is shown it."""
    return SECRET + base64.b64encode(key).decode()


def secret_key(text: str) -> bytes:
    """The 24 to 64 bytes of a secret as shown; ValueError says what to mend."""
    key = _after(SECRET, text, "A webhook secret")
    if not LEAST_SECRET_BYTES <= len(key) <= MOST_SECRET_BYTES:
        limits = f"{LEAST_SECRET_BYTES} to {MOST_SECRET_BYTES}"
        raise ValueError(f"A webhook secret holds {limits} bytes; this one has {len(key)}.")
    return key


def private_key(text: str) -> Ed25519PrivateKey:
    """The key of `whsk_` and the base64 of its seed, alone or with the public key behind it; else ValueError."""
    key = _after(PRIVATE, text, "A webhook's private key")
    if len(key) not in {ED25519_BYTES, 2 * ED25519_BYTES}:
        raise ValueError(f"A webhook's private key holds 32 or 64 bytes; this one has {len(key)}.")
    return Ed25519PrivateKey.from_private_bytes(key[:ED25519_BYTES])


def public_text(key: Ed25519PrivateKey) -> str:
    """The public half as the receiver is shown it."""
    return PUBLIC + base64.b64encode(key.public_key().public_bytes_raw()).decode()


def public_key(text: str) -> Ed25519PublicKey:
    """The public key as shown; ValueError says what to mend."""
    key = _after(PUBLIC, text, "A webhook's public key")
    if len(key) != ED25519_BYTES:
        raise ValueError(f"A webhook's public key holds 32 bytes; this one has {len(key)}.")
    return Ed25519PublicKey.from_public_bytes(key)


def _after(prefix: str, text: str, what: str) -> bytes:
    if not text.startswith(prefix):
        raise ValueError(f"{what} begins with {prefix}, and base64 follows; give it whole.")
    try:
        return base64.b64decode(text.removeprefix(prefix), validate=True)
    except ValueError as wrong:  # binascii.Error is one, and letters beyond ASCII raise a plain one
        raise ValueError(f"What stands after {prefix} is base64; give it whole.") from wrong


def signature(key: SigningKey, signed: bytes) -> str:
    """One entry of the signature list: the scheme, a comma, and the base64 of what it makes of the signed text."""
    if isinstance(key, bytes):
        return "v1," + base64.b64encode(hmac.digest(key, signed, "sha256")).decode()
    return "v1a," + base64.b64encode(key.sign(signed)).decode()


def signed_text(message_id: str, timestamp_seconds: int | str, body: bytes) -> bytes:
    """What is signed."""
    return f"{message_id}.{timestamp_seconds}.".encode() + body


def signed_headers(keys: Sequence[SigningKey], message_id: str, now: datetime, body: bytes) -> dict[str, str]:
    """The three headers of one attempt, signed with every key that is in force.

    Entries are parted by exactly one space: known receivers fail on anything else.
    """
    seconds = int(now.timestamp())
    signed = signed_text(message_id, seconds, body)
    return {
        "webhook-id": message_id,
        "webhook-timestamp": str(seconds),
        "webhook-signature": " ".join([signature(key, signed) for key in keys]),
    }


def check_signed(key: CheckingKey, headers: Mapping[str, str], body: bytes, now: datetime) -> None:
    """NotVerified where a header is missing, the timestamp is over five minutes off, or no signature fits.

    `headers` are looked up by their lower-case names.
    """
    message_id, stamp, entries = (headers.get(f"webhook-{name}") for name in ("id", "timestamp", "signature"))
    if not (message_id and stamp and entries):
        raise NotVerified("One of the headers webhook-id, webhook-timestamp, webhook-signature is missing.")
    if not (stamp.isascii() and stamp.isdigit()):
        raise NotVerified("webhook-timestamp is not a whole number of seconds.")
    off = abs(now.timestamp() - int(stamp))
    if off > TOLERANCE.total_seconds():
        raise NotVerified(f"webhook-timestamp is {off:.0f} s off; at most {TOLERANCE} (h:mm:ss) is taken.")
    signed = signed_text(message_id, stamp, body)
    if not any(_fits(key, signed, entry) for entry in entries.split(" ")):
        raise NotVerified("No signature fits: the secret is another one, or the body was changed on the way.")


def _fits(key: CheckingKey, signed: bytes, entry: str) -> bool:
    if isinstance(key, bytes):
        return hmac.compare_digest(signature(key, signed).encode(), entry.encode())
    scheme, _, text = entry.partition(",")
    try:
        key.verify(base64.b64decode(text, validate=True), signed)
    except (InvalidSignature, ValueError):
        return False
    return scheme == "v1a"
