"""The Merkle tree of a sealed month. Pure.

Source: RFC 6962 section 2.1 (the same in RFC 9162 section 2.1.1).
"""

from collections.abc import Sequence
from hashlib import sha256

import msgspec

from service.kernel.canonical import canonical
from service.seals.models import MonthSeal

LEAF, NODE = b"\x00", b"\x01"
# What is signed says what it is, so that a record never passes for a seal.
SEAL_TYPE = "month-seal+json"


def leaf_of(content: bytes) -> bytes:
    """The leaf that a record's bytes are."""
    return sha256(LEAF + content).digest()


def root_of(leaves: Sequence[bytes]) -> bytes:
    """The Merkle tree hash over leaves: of none the SHA-256 of nothing, of one that leaf.

    Pairs are joined level by level and an odd one out moves up as it is: the same tree as splitting at the largest
    power of two below the count.
    """
    level = list(leaves)
    if not level:
        return sha256().digest()
    while len(level) > 1:
        pairs = zip(level[::2], level[1::2], strict=False)
        above = [sha256(NODE + left + right).digest() for left, right in pairs]
        level = above + level[len(level) & ~1 :]
    return level[0]


def bytes_of(seal: MonthSeal) -> bytes:
    """The RFC 8785 form that is signed."""
    return canonical(msgspec.to_builtins(seal))
