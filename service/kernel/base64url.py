"""Bytes as text that fits into a header or an address: base64url without padding (RFC 7515 section 2)."""

import base64


def base64url(raw: bytes) -> str:
    """Without padding."""
    return base64.urlsafe_b64encode(raw).rstrip(b"=").decode()


def from_base64url(text: str) -> bytes:
    """Back again; ValueError for any but the one text of these bytes, so that a changed letter never passes."""
    raw = base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))
    if base64url(raw) != text:
        raise ValueError("not base64url")
    return raw
