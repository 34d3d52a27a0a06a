"""Sealed secrets: opened by their own key for their own row, and by nothing else."""

from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.kernel.sealing import NONCE_BYTES, NotOpened, seal, unseal

KEY, NONCE = bytes(range(32)), bytes(NONCE_BYTES)
BUSINESS, ROW, OTHER = UUID(int=1), UUID(int=2), UUID(int=3)
SEALED = seal(KEY, b"of 24 to 64 bytes or more", BUSINESS, ROW, NONCE)


def test_the_published_vector():
    """AES-256-GCM test case 14 of the GCM specification (McGrew, Viega): zero key, nonce and block.

    Ours has associated data, so its tag is another; the ciphertext is the same.
    """
    sealed = seal(bytes(32), bytes(16), BUSINESS, ROW, bytes(12))
    assert sealed[12:28].hex() == "cea7403d4d606b6e074ec5d3baf39d18"


@given(
    st.binary(max_size=100),
    st.binary(min_size=32, max_size=32),
    st.binary(min_size=12, max_size=12),
    st.uuids(),
    st.uuids(),
)
def test_what_was_sealed_is_opened(plain, key, nonce, business_id, row_id):
    assert unseal(key, seal(key, plain, business_id, row_id, nonce), business_id, row_id) == plain


@given(st.integers(0, len(SEALED) * 8 - 1))
def test_no_bit_may_be_flipped(bit):
    changed = bytearray(SEALED)
    changed[bit // 8] ^= 1 << bit % 8
    with pytest.raises(NotOpened):
        unseal(KEY, bytes(changed), BUSINESS, ROW)


@pytest.mark.parametrize(
    ("key", "sealed", "business_id", "row_id"),
    [
        (bytes(32), SEALED, BUSINESS, ROW),
        (KEY, SEALED, OTHER, ROW),
        (KEY, SEALED, BUSINESS, OTHER),
        (KEY, SEALED, ROW, BUSINESS),
        (KEY, SEALED[:-1], BUSINESS, ROW),
        (KEY, SEALED[:8], BUSINESS, ROW),
        (KEY, b"", BUSINESS, ROW),
    ],
)
def test_another_key_another_row_or_a_part_opens_nothing(key, sealed, business_id, row_id):
    with pytest.raises(NotOpened, match="SETBOOK_SECRET_KEY"):
        unseal(key, sealed, business_id, row_id)


def test_the_secret_is_not_in_what_is_kept():
    assert b"24 to 64" not in SEALED
