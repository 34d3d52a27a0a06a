"""The Merkle tree against roots that others published."""

from hashlib import sha256

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.seals.rules import leaf_of, root_of

# transparency-dev/merkle, testonly/constants.go (LeafInputs, RootHashes): RFC 6962 over the first n leaves
LEAVES = [
    bytes.fromhex(one)
    for one in (
        "",
        "00",
        "10",
        "2021",
        "3031",
        "40414243",
        "5051525354555657",
        "606162636465666768696a6b6c6d6e6f",
    )
]
ROOTS = [
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
]


@pytest.mark.parametrize("count", range(9))
def test_the_published_roots_are_met(count: int) -> None:
    assert root_of([leaf_of(one) for one in LEAVES[:count]]).hex() == ROOTS[count]


def as_the_rfc_says(hashes: list[bytes]) -> bytes:
    """RFC 6962 section 2.1 word for word: split at the largest power of two smaller than n."""
    if len(hashes) == 1:
        return hashes[0]
    split = 1
    while split * 2 < len(hashes):
        split *= 2
    left, right = as_the_rfc_says(hashes[:split]), as_the_rfc_says(hashes[split:])
    return sha256(b"\x01" + left + right).digest()


@given(st.lists(st.binary(max_size=8), min_size=1, max_size=130))
def test_the_tree_is_the_rfcs_for_any_count(contents: list[bytes]) -> None:
    hashes = [sha256(b"\x00" + one).digest() for one in contents]
    assert root_of([leaf_of(one) for one in contents]) == as_the_rfc_says(hashes)
