"""An nginx on loopback that answers 204 to anything, and counts."""

import http.client
import re
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from fixtures.running import Failed, free_port

START_SECONDS = 10
# one worker: the other core is PostgreSQL's and the sender's
CONF = """
daemon off; worker_processes 1; pid {folder}/nginx.pid; error_log stderr;
events {{ worker_connections 4096; }}
http {{
    access_log off; keepalive_requests 1000000000; keepalive_timeout 75s; client_body_temp_path {folder}/bodies;
    server {{
        listen 127.0.0.1:{port} backlog=4096;
        location / {{ return 204; }}
        location = /counted {{ stub_status; }}
    }}
}}
"""


@contextmanager
def nginx(folder: Path) -> Iterator[int]:
    """Its port, for as long as the block lasts."""
    port = free_port()
    conf = folder / "nginx.conf"
    conf.write_text(CONF.format(folder=folder, port=port))
    with (folder / "nginx.log").open("ab") as log:
        command = ["nginx", "-e", "stderr", "-p", str(folder), "-c", str(conf)]
        try:
            process = subprocess.Popen(command, stdout=log, stderr=log)
        except FileNotFoundError as missing:
            raise Failed("This bench needs nginx; as root, type: apt-get install -y nginx") from missing
        try:
            _wait_until_answering(process, port)
            yield port
        finally:
            process.terminate()
            process.wait()


def taken(port: int) -> int:
    """Requests that it has answered so far, these questions not counted."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=START_SECONDS)
    connection.request("GET", "/counted")
    text = connection.getresponse().read().decode()
    found = re.search(r"^ \d+ \d+ (\d+) $", text, re.MULTILINE)
    if found is None:
        raise Failed(f"nginx says what is not understood: {text}")
    _asked[port] = _asked.get(port, 0) + 1
    return int(found.group(1)) - _asked[port]


_asked: dict[int, int] = {}


def _wait_until_answering(process: "subprocess.Popen[bytes]", port: int) -> None:
    for _ in range(START_SECONDS * 100):
        with suppress(OSError):
            taken(port)
            return
        with suppress(subprocess.TimeoutExpired):
            process.wait(0.01)
            break
    raise Failed("nginx does not start here; see nginx.log in the bench's folder.")
