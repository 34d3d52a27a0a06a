"""Records, exports, pages and seals as they are handed out, signed with the key of RFC 8037 A.1, without a book."""

import base64
import io
import json
from hashlib import sha256
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from service.kernel.canonical import canonical
from service.seals.rules import SEAL_TYPE, leaf_of, root_of
from service.signatures.models import Signer
from service.signatures.rules import RECORD_TYPE, jwk_of, sign
from service.verify.files import File
from service.verify.key_set import read_key_set
from service.verify.report import Run

BUSINESS = "01980000-0000-7000-8000-000000000001"
PRIVATE = Ed25519PrivateKey.from_private_bytes(
    base64.urlsafe_b64decode("nWGxne_9WmC6hEr0kuwsxERJxWl7MmkZcDusAxyuf2A=")
)
JWK = jwk_of(PRIVATE.public_key().public_bytes_raw())
SIGNER = Signer(JWK.kid, PRIVATE)
KEY_SET = json.dumps({"keys": [{"kty": "OKP", "crv": "Ed25519", "kid": JWK.kid, "x": JWK.x}]}).encode()
KEYS, _ = read_key_set(KEY_SET)
PARTY = {"addresses": ["12 Sample Row"], "customer_name": 'a "quoted",{name}', "salt": "c2FsdA"}


def record(number: int, version: int = 1, on: str = "2026-05-14", business: str = BUSINESS) -> bytes:
    """The bytes that are signed; the statement holds what JSON escapes, and what our own forms look for."""
    return canonical(
        {
            "noun": "service_record",
            "number": f"2026-{number:06}",
            "version": version,
            "party_hash": sha256(canonical(PARTY)).hexdigest(),
            "issuer": {"business_id": business},
            "content": {"service_on": on, "statement": '},"record":{"é\n\\ no pesticide'},
        }
    )


def line_of(content: bytes, kind: str = RECORD_TYPE, *, is_signed: bool = True) -> bytes:
    """A signed record as a line without its end."""
    signature = f'"{sign(SIGNER, kind, content)}"' if is_signed else "null"
    return b'{"noun":"signed_service_record","record":%b,"sha256":"%b","signature":%b}' % (
        content,
        sha256(content).hexdigest().encode(),
        signature.encode(),
    )


def with_party(line: bytes, party: Any = PARTY, **beside: Any) -> bytes:
    """The same with the persons beside it, or what else stands there."""
    members = {**json.loads(line), "noun": "service_record_with_party", "party": party, **beside}
    return canonical(members)


def export(*lines: bytes, excluded: bytes = b"[]") -> bytes:
    """The lines as NDJSON with their closing line."""
    body = b"".join(line + b"\n" for line in lines)
    closing = b'{"closing":true,"count":%d,"sha256":"%b","next":"bmV4dA","excluded":%b' % (
        len(lines),
        sha256(body).hexdigest().encode(),
        excluded,
    )
    return body + b'%b,"closing_sha256":"%b"}\n' % (closing, sha256(closing).hexdigest().encode())


def page(*lines: bytes) -> bytes:
    """The lines as a page of JSON."""
    return b'{"items":[%b],"next":"bmV4dA","excluded":[]}' % b",".join(lines)


def seal(*records: bytes, version: int = 1, month: str = "2026-05", **changed: Any) -> bytes:
    """The seal of a month over the records' bytes."""
    told = [json.loads(one) for one in records]
    sealed = [
        {
            "number": one["number"],
            "version": one["version"],
            "sha256": sha256(raw).hexdigest(),
            "leaf": leaf_of(raw).hex(),
        }
        for one, raw in zip(told, records, strict=True)
    ]
    content = canonical(
        {
            "noun": "month_seal",
            "business_id": BUSINESS,
            "month": month,
            "version": version,
            "replaces": None if version == 1 else f"{month}.{version - 1}",
            "sealed_at": "2026-06-01T16:00:00Z",
            "count": len(records),
            "root": root_of([leaf_of(one) for one in records]).hex(),
            "records": sealed,
            **changed,
        }
    )
    return b'{"noun":"signed_month_seal","seal":%b,"sha256":"%b","signature":"%b"}' % (
        content,
        sha256(content).hexdigest().encode(),
        sign(SIGNER, SEAL_TYPE, content).encode(),
    )


def verified(files: dict[str, bytes]) -> tuple[int, list[str]]:
    """How many faults were found in files by name, and what was said, the summary left out; seals stand first."""
    said: list[str] = []
    run = Run(said.append)
    run.keys = KEYS
    for name, content in files.items():
        run.verify(File(name, lambda content=content: io.BytesIO(content)))  # type: ignore[misc]
    run.compare_months()
    return run.faults, said


def flipped(content: bytes, place: int, bits: int) -> bytes:
    """The content with some bits of one byte turned over."""
    return content[:place] + bytes([content[place] ^ bits]) + content[place + 1 :]
