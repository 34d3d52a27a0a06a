"""The files that are to be verified: named one by one, in a folder, or in a zip; each is read once, in pieces."""

import stat
import zipfile
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from service.kernel.errors import CannotStart

KEY_SET_NAMES = ("keys.json", "jwks.json")
# what lies beside the records in the folder of a property's file: `setbook verify FOLDER/*` names it as well
BESIDE_NAMES = ("readme.txt", "file.pdf")
ENDINGS = (".json", ".ndjson")
# What a damaged archive or disk raises while it is read.
BROKEN = (OSError, EOFError, RuntimeError, zipfile.BadZipFile, zlib.error)


@dataclass(frozen=True)
class Given:
    """What was typed: files and folders, and the key set's file where one was named."""

    paths: list[Path]
    keys: Path | None


@dataclass(frozen=True)
class File:
    """One file by the name that is said of it, and how it is opened; `inside` a folder or zip it was not named."""

    name: str
    open: Callable[[], IO[bytes]]
    inside: bool = False

    @property
    def is_looked_at(self) -> bool:
        """Whether it may hold records: of what lies in a folder or zip only JSON does."""
        return self.name.lower().endswith(ENDINGS) or not (self.inside or self._last_name in BESIDE_NAMES)

    @property
    def is_table(self) -> bool:
        """A CSV, by its name."""
        return self.name.lower().endswith(".csv")

    @property
    def is_key_set(self) -> bool:
        """By its name."""
        return self._last_name in KEY_SET_NAMES

    @property
    def _last_name(self) -> str:
        return self.name.replace("!", "/").rpartition("/")[2].lower()


def files_in(paths: list[Path]) -> Iterator[File]:
    """Every file, those of a folder or zip in the order of their names; CannotStart where a path leads nowhere."""
    for path in paths:
        try:
            mode = path.stat().st_mode
        except OSError as error:
            raise CannotStart(f"{path} cannot be read ({error.strerror}); check the path.") from error
        if stat.S_ISDIR(mode):
            for one in sorted(each for each in path.rglob("*") if each.is_file()):
                yield from _one(one, inside=True)
        else:
            yield from _one(path, inside=False)


def _one(path: Path, *, inside: bool) -> Iterator[File]:
    if not zipfile.is_zipfile(path):
        yield File(str(path), lambda: path.open("rb"), inside)
        return
    archive = zipfile.ZipFile(path)
    for name in sorted(one.filename for one in archive.infolist() if not one.is_dir()):
        yield File(f"{path}!{name}", lambda name=name: archive.open(name), inside=True)  # type: ignore[misc]
