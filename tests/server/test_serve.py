"""`setbook serve` as people run it: real processes, real signals, an embedded PostgreSQL in an own folder."""

import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import httpx
import pytest

from fixtures.running import free_port
from tests.processes import PATIENCE_SECONDS, REPOSITORY, family, lives

Serve = Callable[[Path, int], "subprocess.Popen[str]"]
ROLES = ("api", "clock", "courier")


@pytest.fixture(scope="module")
def folder() -> Iterator[Path]:
    """One data folder for all of them, with a blank in its path."""
    with tempfile.TemporaryDirectory(prefix="set book ") as name:
        Path(name).chmod(0o711)
        yield Path(name) / "data"


def setbook(*arguments: str, **environment: str) -> "subprocess.Popen[str]":
    kept = {name: text for name, text in os.environ.items() if not name.startswith("SETBOOK_")}
    return subprocess.Popen(
        [sys.executable, "-m", "service", *arguments],
        cwd=REPOSITORY,
        env=kept | environment,
        text=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )


@pytest.fixture
def serve() -> Iterator[Serve]:
    """Starts `setbook serve`; what a failed test left running ends with it."""
    started = []

    def start(folder: Path, port: int) -> "subprocess.Popen[str]":
        started.append(setbook("serve", "--data", str(folder), "--port", str(port)))
        return started[-1]

    yield start
    for process in started:
        if process.poll() is None:
            process.terminate()
        process.communicate(timeout=PATIENCE_SECONDS)


def answers(port: int, serving: "subprocess.Popen[str] | None" = None) -> bool:
    try:
        return httpx.get(f"http://127.0.0.1:{port}/readyz").status_code == 200
    except httpx.TransportError:
        assert serving is None or serving.poll() is None, serving.communicate()[1]
        return False


def wait_until_ready(port: int, serving: "subprocess.Popen[str]") -> None:
    """Ask until it answers; each refused connection is followed by a moment of waiting for the process."""
    for _ in range(PATIENCE_SECONDS * 20):
        if answers(port, serving):
            return
        try:
            serving.wait(0.05)
        except subprocess.TimeoutExpired:
            continue
    raise AssertionError(f"not ready within {PATIENCE_SECONDS} s")


def by_role(serving: "subprocess.Popen[str]") -> dict[str, list[int]]:
    """Each role's processes, parents first; waited for, as the API may answer before the others have begun."""
    for _ in range(PATIENCE_SECONDS * 20):
        commands = family(serving.pid).items()
        found = {role: [pid for pid, one in commands if one.endswith(f"--role {role} ")] for role in ROLES}
        if all(found.values()):
            return found
        signal.sigtimedwait([], 0.05)
    raise AssertionError(f"not every role has a process within {PATIENCE_SECONDS} s: {found}")


def wait_until_gone(pids: list[int]) -> None:
    for pid in pids:
        for _ in range(PATIENCE_SECONDS * 20):
            if not lives(pid):
                break
            signal.sigtimedwait([], 0.05)
        assert not lives(pid)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_it_answers_and_ends_with_all_that_it_started(
    serve: Serve, folder: Path, number: signal.Signals
) -> None:
    port = free_port()
    serving = serve(folder, port)
    wait_until_ready(port, serving)
    by_role(serving)
    everybody = family(serving.pid)
    assert any("postgres" in command for command in everybody.values())
    serving.send_signal(number)
    _, said = serving.communicate(timeout=PATIENCE_SECONDS)
    assert serving.returncode == 0, said
    assert "Traceback" not in said
    wait_until_gone(list(everybody))
    assert (folder / "secret-key").stat().st_mode & 0o777 == 0o600


def test_whoever_dies_is_started_again_and_nobody_outlives_a_killed_supervisor(
    serve: Serve, folder: Path
) -> None:
    port = free_port()
    serving = serve(folder, port)
    wait_until_ready(port, serving)
    roles = by_role(serving)
    api, clock = roles["api"], roles["clock"]
    for pid in [api[0], *clock]:
        os.kill(pid, signal.SIGKILL)
    wait_until_gone(api + clock)
    wait_until_ready(port, serving)
    assert not set(by_role(serving)["api"]) & set(api)
    everybody = [pid for pid, command in family(serving.pid).items() if "postgres" not in command]
    serving.kill()
    serving.communicate(timeout=PATIENCE_SECONDS)
    wait_until_gone(everybody)
    again = serve(folder, port)
    wait_until_ready(port, again)
    again.terminate()
    assert "still runs" in again.communicate(timeout=PATIENCE_SECONDS)[1]
    assert again.returncode == 0


def test_a_business_is_added_while_it_serves_and_its_key_opens_the_api(serve: Serve, folder: Path) -> None:
    port = free_port()
    serving = serve(folder, port)
    wait_until_ready(port, serving)
    adding = setbook(
        "business", "add", "Green Lawns", "--zone", "America/Los_Angeles", SETBOOK_DATA=str(folder)
    )
    shown, said = adding.communicate(timeout=PATIENCE_SECONDS)
    assert adding.returncode == 0, said
    key = shown.split()[-1]
    me = httpx.get(
        f"http://127.0.0.1:{port}/v1/me",
        headers={"Authorization": f"Bearer {key}"},
        timeout=PATIENCE_SECONDS,
    )
    assert me.status_code == 200
    second = serve(folder, free_port())
    _, refused = second.communicate(timeout=PATIENCE_SECONDS)
    assert (second.returncode, refused.count("\n")) == (os.EX_CONFIG, 1)
    assert "is in use by another setbook" in refused
    elsewhere = serve(folder.with_name("other"), port)
    _, taken = elsewhere.communicate(timeout=PATIENCE_SECONDS)
    assert elsewhere.returncode == os.EX_CONFIG
    assert f"Nothing can listen at 127.0.0.1:{port}" in taken
    serving.terminate()
    serving.communicate(timeout=PATIENCE_SECONDS)
    assert serving.returncode == 0


@pytest.mark.parametrize(
    ("arguments", "environment", "sentence"),
    [
        (["serve", "--role", "api"], {}, "set SETBOOK_DATABASE_URL"),
        (["serve", "--port", "0"], {}, "SETBOOK_PORT is '0'; give a number from 1 to 65535"),
        (["serve"], {"SETBOOK_PUBLIC_URL": "setbook.example/"}, "such as https://setbook.example"),
        (["serve"], {"SETBOOK_SECRET_KEY": "abc"}, "make one with: openssl rand -hex 32"),
        (["serve"], {"SETBOOK_ENDPOINT_NETWORKS": "10.0.0.1/8"}, "give networks such as 10.0.0.0/8"),
        (["serve"], {"SETBOOK_ENDPOINT_PORTS": "9443,0"}, "SETBOOK_ENDPOINT_PORTS is '0'; give a number"),
        (["migrate"], {"SETBOOK_DATABASE_URL": "postgresql://127.0.0.1:1/x"}, "check SETBOOK_DATABASE_URL"),
        (["migrate"], {"SETBOOK_DATABASE_URL": "nonsense"}, "check SETBOOK_DATABASE_URL"),
        (["business", "add", "x", "--zone", "Nowhere/Here"], {}, "is no IANA time zone"),
    ],
)
def test_what_cannot_work_is_said_in_one_sentence(
    arguments: list[str], environment: dict[str, str], sentence: str
) -> None:
    process = setbook(*arguments, **environment)
    _, said = process.communicate(timeout=PATIENCE_SECONDS)
    assert process.returncode == os.EX_CONFIG
    assert sentence in said
    assert said.startswith("setbook: ")
    assert said.count("\n") == 1
