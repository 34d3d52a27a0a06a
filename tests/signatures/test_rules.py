"""Detached signatures against the RFCs' vectors, and by a library that does not sign here (joserfc)."""

import base64
import json
from typing import Any

import pytest
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from joserfc import jws
from joserfc.jwk import OKPKey

from service.kernel.base64url import base64url
from service.signatures.models import Signer
from service.signatures.rules import RECORD_TYPE, NotVerified, check, jwk_of, sign, thumbprint

# RFC 8037 appendix A.1 to A.3: the private key, the public key, its thumbprint
D = "nWGxne_9WmC6hEr0kuwsxERJxWl7MmkZcDusAxyuf2A"
X = "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo"
THUMBPRINT = "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k"
PRIVATE = Ed25519PrivateKey.from_private_bytes(base64.urlsafe_b64decode(D + "="))
PUBLIC = PRIVATE.public_key().public_bytes_raw()
SIGNER = Signer(THUMBPRINT, PRIVATE)
KEYS = {THUMBPRINT: PRIVATE.public_key()}
PAYLOAD = b'{"number":"2026-000001"}'


def test_a_key_is_published_as_in_rfc_8037() -> None:
    published = jwk_of(PUBLIC)
    assert (published.x, published.kid) == (X, THUMBPRINT)
    assert thumbprint(PUBLIC) == OKPKey.import_key({"kty": "OKP", "crv": "Ed25519", "x": X}).thumbprint()


def test_the_signature_over_rfc_8037s_text_is_rfc_8037s() -> None:
    """Appendix A.4 signs under `alg` EdDSA, which RFC 9864 renames; the octets are Ed25519's either way."""
    header = base64url(b'{"alg":"EdDSA"}')
    signed = f"{header}.{base64url(b'Example of Ed25519 signing')}".encode()
    assert base64url(PRIVATE.sign(signed)) == (
        "hgyY0il_MGCjP0JzlnLWG1PPOt7-09PGcvMg3AIbQR6dWbhijcNR4ki4iylGjg5BhVsPt9g7sVvpAr_MuM0KAg"
    )


def test_another_library_verifies_what_we_sign() -> None:
    header, _, signature = sign(SIGNER, RECORD_TYPE, PAYLOAD).split(".")
    key = OKPKey.import_key({"kty": "OKP", "crv": "Ed25519", "x": X})
    read = jws.deserialize_compact(
        f"{header}.{base64url(PAYLOAD)}.{signature}".encode(), key, algorithms=["Ed25519"]
    )
    assert read.payload == PAYLOAD
    assert read.headers() == {"alg": "Ed25519", "kid": THUMBPRINT, "typ": RECORD_TYPE}


def test_we_verify_what_another_library_signs() -> None:
    key = OKPKey.import_key({"kty": "OKP", "crv": "Ed25519", "x": X, "d": D})
    header = {"alg": "Ed25519", "kid": THUMBPRINT, "typ": RECORD_TYPE}
    first, _, last = jws.serialize_compact(header, PAYLOAD, key, algorithms=["Ed25519"]).split(".")
    assert check(KEYS, RECORD_TYPE, PAYLOAD, f"{first}..{last}") == THUMBPRINT


@pytest.mark.parametrize("place", range(len(sign(SIGNER, RECORD_TYPE, PAYLOAD))))
def test_no_letter_of_a_signature_can_be_another(place: int) -> None:
    whole = sign(SIGNER, RECORD_TYPE, PAYLOAD)
    other = "A" if whole[place] != "A" else "B"
    with pytest.raises(NotVerified):
        check(KEYS, RECORD_TYPE, PAYLOAD, whole[:place] + other + whole[place + 1 :])


def with_header(**members: Any) -> str:
    """A signature by the right key under another header."""
    header = base64url(json.dumps(members).encode())
    return f"{header}..{base64url(PRIVATE.sign(f'{header}.{base64url(PAYLOAD)}'.encode()))}"


@pytest.mark.parametrize(
    ("detached", "said"),
    [
        ("", "no detached JWS"),
        ("a.b", "no detached JWS"),
        (sign(SIGNER, RECORD_TYPE, PAYLOAD + b" "), "does not fit"),
        (sign(SIGNER, "month-seal+json", PAYLOAD), "header is not that"),
        (
            sign(SIGNER, RECORD_TYPE, PAYLOAD).replace("..", f".{base64url(PAYLOAD)}."),
            "header is not that|no detached",
        ),
        (with_header(alg="none", kid=THUMBPRINT, typ=RECORD_TYPE), "header is not that"),
        (with_header(alg="EdDSA", kid=THUMBPRINT, typ=RECORD_TYPE), "header is not that"),
        (
            with_header(alg="Ed25519", kid=THUMBPRINT, typ=RECORD_TYPE, crit=["b64"], b64=False),
            "header is not that",
        ),
        (with_header(alg="Ed25519", kid="another", typ=RECORD_TYPE), "no key another"),
        (with_header(alg="Ed25519", kid=["another"], typ=RECORD_TYPE), "header is not that|no key"),
    ],
)
def test_what_is_not_to_be_believed_says_why(detached: str, said: str) -> None:
    with pytest.raises(NotVerified, match=said):
        check(KEYS, RECORD_TYPE, PAYLOAD, detached)


# RFC 8032 section 5.1: the order of the base point
L = 2**252 + 27742317777372353535851937790883648493


@pytest.mark.parametrize("times", [1, 2, 4, 8])
def test_no_second_signature_fits_that_anybody_could_make_of_the_first(times: int) -> None:
    """RFC 8032 section 5.1.7: s must be below L, else s + L would pass as well."""
    header, _, signature = sign(SIGNER, RECORD_TYPE, PAYLOAD).split(".")
    raw = base64.urlsafe_b64decode(signature + "==")
    s = int.from_bytes(raw[32:], "little") + times * L
    forged = base64url(raw[:32] + s.to_bytes(32, "little"))
    with pytest.raises(NotVerified, match="does not fit"):
        check(KEYS, RECORD_TYPE, PAYLOAD, f"{header}..{forged}")


# C2SP/wycheproof, testvectors_v1/ed25519_test.json, by their tcId: the key, the message, a signature that must not pass
MALLEABLE_KEY = "7d4d0e7f6153a69b6242b522abbee685fda4420f8834b108c3bdae369ef549fa"
MALLEABLE = {
    63: "7c38e026f29e14aabd059a0f2db8b0cd783040609a8be684db12f82a27774ab0"
    "67654bce3832c2d76f8f6f5dafc08d9339d4eef676573336a5c51eb6f946b31d",
    64: "7c38e026f29e14aabd059a0f2db8b0cd783040609a8be684db12f82a27774ab0"
    "5439412b5395d42f462c67008eba6ca839d4eef676573336a5c51eb6f946b32d",
    70: "7c38e026f29e14aabd059a0f2db8b0cd783040609a8be684db12f82a27774ab0"
    "679155711ecfaf7f99f277bad0c6ae7e39d4eef676573336a5c51eb6f946b38d",
}


@pytest.mark.parametrize("signature", MALLEABLE.values(), ids=map(str, MALLEABLE))
def test_the_library_refuses_the_malleable_signatures_of_wycheproof(signature: str) -> None:
    key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(MALLEABLE_KEY))
    with pytest.raises(InvalidSignature):
        key.verify(bytes.fromhex(signature), b"Test")
