"""Content codings of large answers (RFC 9110 section 8.4): zstd (RFC 8878) and gzip, off the loop."""

import asyncio
from collections.abc import AsyncIterator, Callable
from typing import Literal, Protocol

import zstandard
from isal import isal_zlib

from service.kernel.http import weights

Coding = Literal["zstd", "gzip", "identity"]
# both take several hundred megabytes a second on a core; higher levels save little and cost much
LEVEL = 1
GZIP_WINDOW = 31
NAMES: dict[Coding, tuple[str, ...]] = {"zstd": ("zstd",), "gzip": ("gzip", "x-gzip")}


class Compressor(Protocol):
    """What takes bytes piece by piece."""

    def compress(self, data: bytes, /) -> bytes:
        """What is ready so far."""
        ...

    def flush(self) -> bytes:
        """The rest, and the end."""
        ...


MAKERS: dict[Coding, Callable[[], Compressor]] = {
    "zstd": lambda: zstandard.ZstdCompressor(level=LEVEL).compressobj(),
    "gzip": lambda: isal_zlib.compressobj(LEVEL, isal_zlib.DEFLATED, GZIP_WINDOW),
}


def coding_of(accept_encoding: str | None) -> Coding:
    """The coding that Accept-Encoding likes best (RFC 9110 section 12.5.3); of equals zstd, then gzip.

    Without the header, and where it takes none of ours, an answer goes out as it is.
    """
    liked = weights(accept_encoding or "")
    found: dict[Coding, float] = {
        coding: max((liked[name] for name in names if name in liked), default=liked.get("*", 0.0))
        for coding, names in NAMES.items()
    }
    best = max(found, key=found.__getitem__)
    return best if found[best] > 0 and found[best] >= liked.get("identity", 0.0) else "identity"


async def encoded(pieces: AsyncIterator[bytes], coding: Coding) -> AsyncIterator[bytes]:
    """The same in that coding, piece by piece as it comes."""
    if coding == "identity":
        async for piece in pieces:
            yield piece
        return
    compressor = MAKERS[coding]()
    async for piece in pieces:
        if small := await asyncio.to_thread(compressor.compress, piece):
            yield small
    yield compressor.flush()
