"""Secrets that must be read again, kept encrypted: AES-256-GCM under the installation's own key."""

from uuid import UUID

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

KEY_BYTES = 32
NONCE_BYTES = 12


class NotOpened(Exception):
    """What was sealed cannot be opened: another key, another row, or changed bytes."""


def seal(key: bytes, plain: bytes, business_id: UUID, row_id: UUID, nonce: bytes) -> bytes:
    """`nonce` (12 fresh random bytes), ciphertext and tag, bound to business and row (NIST SP 800-38D)."""
    return nonce + AESGCM(key).encrypt(nonce, plain, business_id.bytes + row_id.bytes)


def unseal(key: bytes, sealed: bytes, business_id: UUID, row_id: UUID) -> bytes:
    """What was sealed for this very row, or NotOpened."""
    nonce, body = sealed[:NONCE_BYTES], sealed[NONCE_BYTES:]
    try:
        return AESGCM(key).decrypt(nonce, body, business_id.bytes + row_id.bytes)
    except (InvalidTag, ValueError) as wrong:
        raise NotOpened(
            "The secret cannot be opened: SETBOOK_SECRET_KEY is not the one it was sealed with."
        ) from wrong
