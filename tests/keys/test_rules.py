"""Keys: form, checksum, judgement."""

import re
import zlib
from datetime import datetime, timedelta
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.kernel.errors import Refused
from service.keys.rules import Caller, KeyRow, check_key, check_scope, hash_of, key_in, make_key
from tests.bodies import NOW, an_id

ID = UUID(an_id(7))
KEY = make_key(ID, bytes(range(32)))
secrets = st.binary(min_size=32, max_size=32)


def a_row(**members: object) -> KeyRow:
    """What the database knows of KEY."""
    row = {
        "business_id": UUID(an_id(1)),
        "id": ID,
        "worker_id": None,
        "scopes": ["read"],
        "hash": hash_of(KEY),
        "expires_at": None,
        "revoked_at": None,
    }
    return KeyRow(**{**row, **members})  # type: ignore[arg-type]


@given(st.uuids(), secrets)
def test_a_key_is_read_back_from_the_header_with_its_id(key_id: UUID, secret: bytes) -> None:
    key = make_key(key_id, secret)
    assert re.fullmatch(r"setbook_[0-9a-f]{32}_[0-9a-f]{64}_[0-9a-f]{8}", key)
    assert key_in(f"Bearer {key}") == (key, key_id)
    assert key_in(f"bearer  {key} ") == (key, key_id)


def test_the_last_part_is_the_crc_32_of_all_before_it() -> None:
    # ISO 3309, as zlib computes it
    start, _, checksum = KEY.rpartition("_")
    assert int(checksum, 16) == zlib.crc32(start.encode())


@given(st.integers(8, len(KEY) - 1), st.sampled_from("0123456789abcdef"))
def test_one_wrong_digit_is_found_without_the_database(place: int, digit: str) -> None:
    mistyped = KEY[:place] + digit + KEY[place + 1 :]
    if mistyped == KEY:
        return
    with pytest.raises(Refused) as refused:
        key_in(f"Bearer {mistyped}")
    assert refused.value.kind == "no_key"


@pytest.mark.parametrize(
    ("header", "sentence"),
    [
        (None, "Send your API key"),
        ("", "holds no API key of the form"),
        (KEY, "holds no API key of the form"),
        (f"Basic {KEY}", "holds no API key of the form"),
        (f"Bearer {KEY.upper()}", "holds no API key of the form"),
        (f"Bearer {KEY[:-1]}", "holds no API key of the form"),
        (f"Bearer {KEY[:-1]}{'0' if KEY[-1] != '0' else '1'}", "its checksum does not fit"),
    ],
)
def test_a_header_without_a_whole_key_is_refused_with_what_to_mend(header: str | None, sentence: str) -> None:
    with pytest.raises(Refused, match=sentence) as refused:
        key_in(header)
    # RFC 9110 section 11.6.1: a 401 names the scheme
    assert refused.value.headers == {"WWW-Authenticate": 'Bearer realm="setbook"'}


def test_a_key_holds_until_the_instant_it_runs_out() -> None:
    row = a_row(expires_at=NOW)
    assert check_key(KEY, row, NOW - timedelta(microseconds=1)) == Caller(row.business_id, ID, None, ["read"])
    with pytest.raises(Refused, match="has run out"):
        check_key(KEY, row, NOW)


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        (None, "is not known"),
        (a_row(hash=hash_of(make_key(ID, bytes(32)))), "is not known"),
        (a_row(revoked_at=NOW), "was revoked"),
        (a_row(revoked_at=NOW, expires_at=NOW - timedelta(days=1)), "was revoked"),
    ],
)
def test_a_key_that_is_unknown_or_revoked_opens_nothing(row: KeyRow | None, sentence: str) -> None:
    now: datetime = NOW - timedelta(days=30)
    with pytest.raises(Refused, match=sentence) as refused:
        check_key(KEY, row, now)
    assert refused.value.kind == "no_key"


def test_a_scope_that_was_not_given_is_named() -> None:
    caller = check_key(KEY, a_row(), NOW)
    check_scope(caller, "read")
    with pytest.raises(Refused, match="lacks the scope `record`") as refused:
        check_scope(caller, "record")
    assert refused.value.kind == "scope_missing"
