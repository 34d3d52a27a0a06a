"""Whether bytes are what was signed: a record, a closing line. Pure, and by the bytes as they stand.

What is signed is cut out of the file as it is and never written anew, so that no byte passes unseen: a record stands
in RFC 8785 form, where a quote inside a text is always escaped, so that `,"record":{` can only be a member.
"""

import json
import re
from hashlib import sha256

import msgspec

from service.kernel.canonical import canonical
from service.seals.rules import leaf_of
from service.signatures.rules import RECORD_TYPE, NotVerified, check
from service.verify.models import Keys, Looked, Said

SIGNED = rb'"sha256":"([0-9a-f]{64})","signature":(?:null|"([0-9A-Za-z_.-]+)")\}'
_RECORD = re.compile(
    rb'\{(?:"erased":(?:null|(\{.*?\})),)?"noun":"(?:signed_service_record|service_record_with_party)"'
    rb'(?:,"party":(?:null|(\{.*?\})))?,"record":(\{.*\}),' + SIGNED,
    re.DOTALL,
)
_NAME = re.compile(
    rb'"noun":"service_record","number":"([0-9]{4}-[0-9]{6})".*"version":([0-9]{1,9})\}', re.DOTALL
)
_CLOSING = re.compile(
    rb'(\{"closing":true,"count":([0-9]{1,12}),"sha256":"([0-9a-f]{64})","next":("[^"\\]*"),"excluded":(\[.*\]))'
    rb',"closing_sha256":"([0-9a-f]{64})"\}\n',
    re.DOTALL,
)
_PARTY_GONE = b'"party":null,'
CLOSING = b'{"closing":'
NO_JSON = "These bytes are not as they were handed out: they are no JSON."
NO_RECORD = "These bytes are no signed record as it was handed out, nor an export, page or seal."
REWRITTEN = (
    "What it says is what was signed, but its bytes are not as they were handed out: white space, escapes or the "
    "order of members were changed; keep the file as it came."
)
NOT_READ = (ValueError, msgspec.MsgspecError, RecursionError)


def look(keys: Keys, raw: bytes) -> Looked:
    """A signed record, with the persons beside it or without, as it stands in a file."""
    found = _look(keys, raw)
    if found.faults:
        written = _written_anew(raw)
        if written not in (None, raw) and not _look(keys, written or b"").faults:
            return msgspec.structs.replace(found, faults=[REWRITTEN])
    return found


def _look(keys: Keys, raw: bytes) -> Looked:
    form = _RECORD.fullmatch(raw)
    if form is None:
        is_json = _written_anew(raw) is not None
        return Looked(name=_name_in(raw), faults=[NO_RECORD if is_json else NO_JSON])
    erased, party, record, digest, signature = form.groups()
    found = sha256(record)
    kid, wrong = check_signed(keys, RECORD_TYPE, record, digest.decode(), signature)
    faults = [wrong] if wrong else []
    said = _said(record)
    if said is None:
        faults.append("What is signed is no service record.")
    elif party is not None and sha256(party).hexdigest() != said.party_hash:
        faults.append(
            "The party block is not the one that belongs to the record: party_hash is of other bytes."
        )
    words, wrong = (None, None) if erased is None else _erased(erased)
    if wrong:
        faults.append(wrong)
    if erased is not None and party is not None:
        faults.append("It says that its persons were erased, and they stand beside it.")
    if erased is None and party is None and _PARTY_GONE in raw[: form.start(3)]:
        faults.append("Its persons are left out, and nothing says that they were erased.")
    if signature is None and not faults and _written_anew(record) != record:
        faults.append("The record is not in RFC 8785 form.")
    return Looked(
        name=_name_in(raw) if said is None else f"record {said.number}.{said.version}",
        faults=faults,
        said=said,
        sha256=found.hexdigest(),
        leaf=leaf_of(record).hex(),
        kid=kid,
        is_unsigned=signature is None,
        erased=words,
    )


def check_signed(
    keys: Keys, kind: str, content: bytes, digest: str, signature: bytes | None
) -> tuple[str | None, str | None]:
    """The `kid` that signed the content as such a kind, and what does not hold, in one sentence."""
    same = sha256(content).hexdigest() == digest
    try:
        kid = None if signature is None else check(keys, kind, content, signature.decode())
    except NotVerified as wrong:
        if same or not str(wrong).startswith("The signature does not fit"):
            return None, str(wrong)
        return None, "These are not the bytes that were signed: neither the signature nor the SHA-256 fits."
    if same:
        return kid, None
    return kid, "The SHA-256 that stands beside is not that of the bytes."


def closing_faults(raw: bytes, count: int, digest: str) -> list[str]:
    """What does not hold in the closing line of an export of so many lines with that SHA-256 (hex)."""
    form = _CLOSING.fullmatch(raw)
    if form is None:
        return ["The closing line is not as it was sent; pull the export anew."]
    before, said_count, said_digest, following, excluded, own = form.groups()
    faults = []
    if int(said_count) != count:
        faults.append(f"The closing line counts {int(said_count)} records, and {count} stand before it.")
    if said_digest.decode() != digest:
        faults.append("The closing line's SHA-256 is not that of the lines before it.")
    if own.decode() != sha256(before).hexdigest():
        faults.append("The closing line is not as it was sent: closing_sha256 is of other bytes.")
    if not is_compact(following) or not is_compact(excluded):
        faults.append("The closing line is not as it was sent: next or excluded is no JSON as we write it.")
    return faults


def is_compact(raw: bytes) -> bool:
    """Whether it is JSON with nothing between its parts and nothing escaped without need."""
    try:
        return msgspec.json.encode(msgspec.json.decode(raw)) == raw
    except NOT_READ:
        return False


def _said(record: bytes) -> Said | None:
    try:
        return msgspec.json.decode(record, type=Said)
    except NOT_READ:
        return None


def _erased(raw: bytes) -> tuple[str | None, str | None]:
    """When and on which ground the persons were erased, or what is wrong with saying so."""
    try:
        stated = msgspec.json.decode(raw, type=dict[str, str])
        words = f"at {stated['at']} ({stated['ground']})"
    except (*NOT_READ, KeyError):
        return None, "The member that says when the persons were erased cannot be read."
    return words, None if _written_anew(raw) == raw else "The member erased is not in RFC 8785 form."


def _name_in(raw: bytes) -> str:
    """As far as the bytes still say it."""
    found = _NAME.search(raw)
    return "a record" if found is None else f"record {found[1].decode()}.{found[2].decode()}"


def _written_anew(raw: bytes) -> bytes | None:
    """The RFC 8785 form of what the bytes say; None where they are no JSON."""
    try:
        return canonical(json.loads(raw))
    except NOT_READ:
        return None
