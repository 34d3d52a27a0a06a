"""Load by clients written in C: wrk over HTTP, pgbench on PostgreSQL, and how much wrk itself can do."""

import os
import re
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from pathlib import Path

import msgspec

from fixtures.running import Failed, free_port
from service.server.account import account, binaries
from tests.bench.figures import ROOT

CONNECTIONS = 32
CEILING_SECONDS = 2


class Sent(msgspec.Struct, frozen=True):
    """What wrk counted."""

    answers: int
    seconds: float
    refused: int
    lost: int
    p50_ms: float
    p99_ms: float

    @property
    def rate(self) -> float:
        """Answers a second."""
        return self.answers / self.seconds


def wrk(url: str, script: str, seconds: int, *arguments: str) -> Sent:
    """Requests as the script beside this file makes them, on kept connections."""
    options = ["--threads", "1", "--connections", str(CONNECTIONS), "--duration", f"{seconds}s"]
    command = ["wrk", *options, "--script", str(Path(__file__).with_name(script)), url, "--", *arguments]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise Failed(f"wrk failed: {done.stderr.strip()}")
    sent = msgspec.json.decode(done.stdout.strip().rsplit("\n", 1)[-1], type=Sent)
    if sent.refused or sent.lost:
        raise Failed(f"{sent.refused} of {sent.answers} answers were refusals, {sent.lost} were lost.")
    return sent


def ceiling(script: str, *arguments: str) -> float:
    """Answers a second that wrk takes, with this script, from a server that answers a fixed text to anything."""
    port = free_port()
    bare = [sys.executable, "-m", "tests.bench.bare", str(port)]
    with subprocess.Popen(bare, cwd=ROOT, stdout=subprocess.PIPE) as process:
        try:
            if process.stdout is not None:
                process.stdout.readline()  # it listens
            return wrk(f"http://127.0.0.1:{port}", script, CEILING_SECONDS, *arguments).rate
        finally:
            process.terminate()


def pgbench(url: str, script: str, variables: Mapping[str, object], *amount: str) -> float:
    """Transactions a second of the script, prepared, as the app role, on as many connections as wrk has.

    `amount` says how much in pgbench's own options.
    """
    options = ["--no-vacuum", "--protocol", "prepared", "--client", str(CONNECTIONS), "--jobs", "1"]
    for name, value in variables.items():
        options += ["--define", f"{name}={value}"]
    settings = {"role": "setbook_app", "search_path": "setbook", "timezone": "UTC", "jit": "off"}
    session = " ".join(f"-c {name}={value}" for name, value in settings.items())
    with tempfile.NamedTemporaryFile("w", suffix=".sql") as file:
        file.write(script)
        file.flush()
        program = str(binaries(account()) / "pgbench")
        done = subprocess.run(
            [program, *options, *amount, "--file", file.name, url],
            env=os.environ | {"PGOPTIONS": session},
            capture_output=True,
            text=True,
            check=False,
        )
    found = re.search(r"^tps = ([0-9.]+)", done.stdout, re.MULTILINE)
    if done.returncode != 0 or found is None:
        raise Failed(f"pgbench failed: {done.stderr.strip()[-2000:]}")
    return float(found.group(1))


def with_values(text: str, values: list[str]) -> str:
    """A statement of the service with what stands for $1, $2 and so on."""
    return re.sub(r"\$(\d+)", lambda found: values[int(found.group(1)) - 1], text)
