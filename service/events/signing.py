"""Standard Webhooks v1: how a delivery is signed and how a receiver checks it. Pure: now is an argument.

Source: the Standard Webhooks specification, version 1.0.0. The signed text is `{id}.{timestamp}.{body}`.
"""

import base64
import binascii
import hmac
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

PREFIX = "whsec_"
LEAST_SECRET_BYTES, MOST_SECRET_BYTES = 24, 64
TOLERANCE = timedelta(minutes=5)


class NotVerified(Exception):
    """Why a delivery is not to be believed, in one sentence."""


def secret_text(key: bytes) -> str:
    """The secret as the receiver is shown it."""
    return PREFIX + base64.b64encode(key).decode()


def secret_key(text: str) -> bytes:
    """The 24 to 64 bytes of a secret as shown; ValueError says what to mend."""
    if not text.startswith(PREFIX):
        raise ValueError(
            f"A webhook secret begins with {PREFIX}; copy it whole, as the new endpoint's answer shows it."
        )
    try:
        key = base64.b64decode(text.removeprefix(PREFIX), validate=True)
    except binascii.Error as wrong:
        raise ValueError(f"After {PREFIX} a webhook secret is base64; copy it whole.") from wrong
    if not LEAST_SECRET_BYTES <= len(key) <= MOST_SECRET_BYTES:
        limits = f"{LEAST_SECRET_BYTES} to {MOST_SECRET_BYTES}"
        raise ValueError(f"A webhook secret holds {limits} bytes; this one has {len(key)}.")
    return key


def signature(key: bytes, message_id: str, timestamp_seconds: int, body: bytes) -> str:
    """One entry of the signature list: `v1,` and the base64 of HMAC-SHA256."""
    signed = f"{message_id}.{timestamp_seconds}.".encode() + body
    return "v1," + base64.b64encode(hmac.digest(key, signed, "sha256")).decode()


def signed_headers(keys: Sequence[bytes], message_id: str, now: datetime, body: bytes) -> dict[str, str]:
    """The three headers of one attempt, signed with every key that is in force.

    Entries are parted by exactly one space: known receivers fail on anything else.
    """
    seconds = int(now.timestamp())
    return {
        "webhook-id": message_id,
        "webhook-timestamp": str(seconds),
        "webhook-signature": " ".join(signature(key, message_id, seconds, body) for key in keys),
    }


def check_signed(key: bytes, headers: Mapping[str, str], body: bytes, now: datetime) -> None:
    """NotVerified where a header is missing, the timestamp is over five minutes off, or no signature fits.

    `headers` are looked up by their lower-case names.
    """
    message_id, stamp, entries = (headers.get(f"webhook-{name}") for name in ("id", "timestamp", "signature"))
    if not (message_id and stamp and entries):
        raise NotVerified("One of the headers webhook-id, webhook-timestamp, webhook-signature is missing.")
    if not (stamp.isascii() and stamp.isdigit()):
        raise NotVerified("webhook-timestamp is not a whole number of seconds.")
    seconds = int(stamp)
    off = abs(now.timestamp() - seconds)
    if off > TOLERANCE.total_seconds():
        raise NotVerified(f"webhook-timestamp is {off:.0f} s off; at most {TOLERANCE} (h:mm:ss) is taken.")
    expected = signature(key, message_id, seconds, body).encode()
    if not any(hmac.compare_digest(expected, entry.encode()) for entry in entries.split(" ")):
        raise NotVerified("No signature fits: the secret is another one, or the body was changed on the way.")
