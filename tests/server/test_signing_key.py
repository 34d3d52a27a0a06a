"""`setbook signing-key` as an operator types it, and a start under another secret key; on a real database."""

import os
import subprocess
import sys

import pytest

from fixtures.running import free_port
from tests.processes import PATIENCE_SECONDS, REPOSITORY

KEY, ANOTHER = "11" * 32, "22" * 32


def setbook(*arguments: str, url: str, key: str = KEY) -> "subprocess.CompletedProcess[str]":
    kept = {name: text for name, text in os.environ.items() if not name.startswith("SETBOOK_")}
    return subprocess.run(
        [sys.executable, "-m", "service", *arguments],
        cwd=REPOSITORY,
        env=kept | {"SETBOOK_DATABASE_URL": url, "SETBOOK_SECRET_KEY": key},
        capture_output=True,
        text=True,
        check=False,
        timeout=PATIENCE_SECONDS,
    )


def test_rotating_retires_and_the_list_shows_all(database: str) -> None:
    assert setbook("signing-key", "list", url=database).stdout == ""
    first, second = (setbook("signing-key", "rotate", url=database).stdout.strip() for _ in range(2))
    newest, oldest = setbook("signing-key", "list", url=database).stdout.splitlines()
    assert newest.startswith(f"{second}  made ")
    assert newest.endswith("Z  in force")
    assert oldest.startswith(f"{first}  made ")
    assert "Z  retired " in oldest


@pytest.mark.parametrize("role", ["api", "clock"])
def test_a_start_under_another_secret_key_says_what_to_mend(role: str, database: str) -> None:
    kid = setbook("signing-key", "rotate", url=database).stdout.strip()
    refused = setbook("serve", "--role", role, "--port", str(free_port()), url=database, key=ANOTHER)
    assert refused.returncode == os.EX_CONFIG
    assert f"setbook: The signing key {kid} cannot be opened" in refused.stderr
    assert "setbook signing-key rotate" in refused.stderr
