"""The PostgreSQL of a data folder: made at the first start, run as long as a block lasts, then stopped."""

import fcntl
import logging
import os
import shutil
import signal
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from hashlib import sha256
from pathlib import Path
from typing import NamedTuple
from urllib.parse import quote

from service.kernel.errors import CannotStart
from service.kernel.now import random_bytes
from service.server.account import Account, account, away, binaries, own
from service.server.cluster import NAME, check_data, make_data, stop_left_over, wait_until_ready

log = logging.getLogger("setbook")

# A Unix socket's path may have 107 bytes (sun_path in unix(7)), and PostgreSQL adds "/.s.PGSQL.5432.lock".
SOCKET_FOLDER_BYTES = 85

SETTINGS = {
    "listen_addresses": "",
    "unix_socket_permissions": "0700",
    "timezone": "UTC",
    "log_timezone": "UTC",
    # failed statements stay out of the log: they may hold what belongs to a business
    "log_min_messages": "log",
}

# Only for servers that are thrown away: a crash of the machine would lose the data.
HASTY = {
    "fsync": "off",
    "synchronous_commit": "off",
    "full_page_writes": "off",
    "wal_level": "minimal",
    "max_wal_senders": "0",
    "max_wal_size": "128MB",
}
# Where memory serves as a disk, a database is cloned in a tenth of the time, if there is room for some.
MEMORY = Path("/dev/shm")  # noqa: S108
MEMORY_BYTES = 2_000_000_000


class InUse(CannotStart):
    """Another process runs the server of this folder."""


class Embedded(NamedTuple):
    """A running server: where it is reached, and its process, which is our child."""

    url: str
    process: "subprocess.Popen[bytes]"


@contextmanager
def running(folder: Path) -> Iterator[Embedded]:
    """The server of `folder`, for as long as the block lasts.

    Raises CannotStart where the folder is in use, holds another major version's data, or cannot be used.
    """
    with _server(folder, {}) as server:
        yield server


@contextmanager
def reached(folder: Path) -> Iterator[str]:
    """The URL of the server of `folder`: of the one that runs, else of one started for the block."""
    with ExitStack() as stack:
        try:
            url = stack.enter_context(running(folder)).url
        except InUse:
            home = (folder / "postgresql").resolve()
            url = _url(home, (home / "password").read_text())
        yield url


@contextmanager
def throwaway() -> Iterator[Embedded]:
    """A server for tests, without durability; its data is deleted at the end of the block."""
    roomy = MEMORY.is_dir() and os.access(MEMORY, os.W_OK) and shutil.disk_usage(MEMORY).free > MEMORY_BYTES
    with tempfile.TemporaryDirectory(prefix="setbook-", dir=MEMORY if roomy else None) as name:
        folder = Path(name)
        folder.chmod(0o711)
        try:
            with _server(folder, HASTY) as server:
                yield server
        finally:
            shutil.rmtree((folder / "postgresql").resolve(), ignore_errors=True)


@contextmanager
def _server(folder: Path, more: dict[str, str]) -> Iterator[Embedded]:
    folder = folder.absolute()
    who = account()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with _held(folder):
            home = _home(folder, who)
            with _held(home), _process(home, who, more) as server:
                yield server
    except PermissionError as error:
        raise CannotStart(
            f"{error.filename or folder} may not be used by this user; start as the user whose it is, "
            "or give this one a folder of its own: setbook serve --data FOLDER"
        ) from error


@contextmanager
def _held(folder: Path) -> Iterator[None]:
    """The folder is ours alone until the block ends or this process does."""
    with (folder / "lock").open("ab") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise InUse(
                f"{folder} is in use by another setbook; stop that one, "
                "or give this one a folder of its own: setbook serve --data FOLDER"
            ) from None
        yield


def _home(folder: Path, who: Account) -> Path:
    """The folder of the data, the socket, the password and the log: below `folder`, or linked from it.

    Permissions of folders above are never touched: where the user cannot come here, the data is kept away.
    """
    place = folder / "postgresql"
    if not os.path.lexists(place):
        if who.enters(folder):
            place.mkdir()
        else:
            place.symlink_to(away("data-"))
            log.warning("PostgreSQL's user cannot enter %s: its data is in %s", folder, place.resolve())
    home = place.resolve()
    if not home.is_dir():
        raise CannotStart(f"{place} says that the data is in {home}, and that is gone; bring it back.")
    _guard(home, who)
    if not who.enters(home):
        raise CannotStart(
            f"PostgreSQL cannot run as root nor enter {home}; move the folder to where all users may enter, "
            "or start as the user whose it is."
        )
    return home


def _guard(folder: Path, who: Account) -> None:
    """Only we may enter, and PostgreSQL's user in the group of our own where that is another."""
    if who.uid == os.geteuid():
        folder.chmod(0o700)
    else:
        os.chown(folder, os.geteuid(), who.gid)
        folder.chmod(0o710)


@contextmanager
def _process(home: Path, who: Account, more: dict[str, str]) -> Iterator[Embedded]:
    programs = binaries(who)
    data = home / "data"
    password = _password(home, who)
    if data.exists():
        check_data(data, programs, who)
        stop_left_over(data, programs, who)
    else:
        make_data(home, programs, who, hasty=bool(more))
    sockets = _socket_folder(home, who)
    settings = SETTINGS | more | {"unix_socket_directories": f'"{sockets}"'}
    command = [str(programs / "postgres"), "-D", str(data)]
    command += [part for name, value in settings.items() for part in ("-c", f"{name}={value}")]
    with (home / "postgresql.log").open("ab") as written:
        process = who.start(command, written.fileno())
    try:
        wait_until_ready(process, home)
        yield Embedded(_url(home, password), process)
    finally:
        # what PostgreSQL calls a fast shutdown: sessions are ended, all is written down
        process.send_signal(signal.SIGINT)
        process.wait()
        if sockets.parent != home:
            shutil.rmtree(sockets.parent)


def _password(home: Path, who: Account) -> str:
    """The one way in, read by us and by initdb."""
    path = home / "password"
    if not path.exists():
        with (
            suppress(FileExistsError),
            os.fdopen(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600), "w") as new,
        ):
            new.write(random_bytes(24).hex())
    own(path, 0o600, who)
    return path.read_text()


def _url(home: Path, password: str) -> str:
    sockets = quote(str(_above_socket(home) / "socket"), safe="")
    return f"postgresql://{NAME}:{password}@/{NAME}?host={sockets}&port=5432"


def _above_socket(home: Path) -> Path:
    """The folder of the data, or one in /tmp where that path is too long or too odd for a socket."""
    if len(os.fsencode(home / "socket")) <= SOCKET_FOLDER_BYTES and not set(str(home)) & {'"', "\\"}:
        return home
    return Path("/tmp") / f"setbook-{sha256(os.fsencode(home)).hexdigest()[:16]}"  # noqa: S108


def _socket_folder(home: Path, who: Account) -> Path:
    """The folder of the socket, made for this user alone."""
    above = _above_socket(home)
    if above != home:
        above.mkdir(mode=0o700, exist_ok=True)
        if above.is_symlink() or above.stat().st_uid != os.geteuid():
            raise CannotStart(f"{above} is not this user's; remove it with: rm -r {above}")
        _guard(above, who)
    folder = above / "socket"
    folder.mkdir(exist_ok=True)
    own(folder, 0o700, who)
    # by now no server of ours lives; another program that has a killed one's number would be taken for it
    for stale in folder.glob(".s.PGSQL.*"):
        stale.unlink()
    return folder
