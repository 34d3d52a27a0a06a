"""A file as a folder: one zip archive, written piece by piece, the same bytes for the same content."""

import io
import zipfile
from collections.abc import AsyncIterator, Iterator, Sequence
from importlib import resources
from typing import IO, Any, cast

from service.property_file.models import Audience, Version
from service.property_file.reading import SignedLine

# DOS has no day before it; the archive tells nothing of when it was made
FIRST_DAY = (1980, 1, 1, 0, 0, 0)


class _Pieces(io.RawIOBase):
    """What the archive wrote, until it is taken away; it cannot be sought in."""

    def __init__(self) -> None:
        """Nothing is written yet."""
        self.written = bytearray()

    def write(self, piece: Any, /) -> int:
        """Keep it."""
        self.written += piece
        return len(piece)

    def taken(self) -> bytes:
        """All since the last time."""
        piece = bytes(self.written)
        self.written.clear()
        return piece


async def folder(
    audience: Audience, fixed: dict[str, bytes], signed: AsyncIterator[SignedLine]
) -> AsyncIterator[bytes]:
    """The archive in pieces; without its last one no program opens it, so a broken download shows."""
    pieces = _Pieces()
    with zipfile.ZipFile(cast("IO[bytes]", pieces), "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in {"README.txt": readme(audience), **fixed}.items():
            archive.writestr(_entry(name), content)
            yield pieces.taken()
        async for one in signed:
            archive.writestr(_entry(one.path), one.line)
            if len(pieces.written) > 64_000:  # noqa: PLR2004 a piece that is worth sending
                yield pieces.taken()
    yield pieces.taken()


def readme(audience: Audience) -> bytes:
    """What is in the folder, and how to verify it."""
    name = "public.txt" if audience == "public" else "verifying.txt"
    return resources.files(__package__).joinpath(name).read_bytes()


def digests_of(versions: Sequence[Version]) -> bytes:
    """Every version with the SHA-256 of its record, as lines of CSV."""
    return "".join(_digest_lines(versions)).encode()


def _digest_lines(versions: Sequence[Version]) -> Iterator[str]:
    yield "record,sha256\r\n"
    for one in versions:
        yield f"{one.name},{one.sha256}\r\n"


def _entry(name: str) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name, FIRST_DAY)
    entry.compress_type = zipfile.ZIP_DEFLATED
    entry.create_system = 3
    entry.external_attr = 0o100644 << 16
    return entry
