"""The tree of RFC 9162: roots of known trees, and that growing it by and by gives what the definition gives."""

import hashlib

from hypothesis import given
from hypothesis import strategies as st

from service.core import merkle

# Source: the transparency-dev/merkle repository's test data for RFC 6962 and 9162 (leaves d0 to d7, roots by size).
LEAVES = [
    bytes.fromhex(each)
    for each in ("", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f")
]
ROOTS = (
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
)


def defined(leaves: list[bytes]) -> bytes:
    """The root as RFC 9162, 2.1.1 defines it: split at the largest power of two below the size."""
    if not leaves:
        return hashlib.sha256(b"").digest()
    if len(leaves) == 1:
        return leaves[0]
    split = 1 << (len(leaves) - 1).bit_length() - 1
    return merkle.node(defined(leaves[:split]), defined(leaves[split:]))


def test_published_roots() -> None:
    """Trees of up to eight leaves have the published roots, and so do a leaf and a node by themselves."""
    hashes = [merkle.leaf(each) for each in LEAVES]
    assert [merkle.root(merkle.grown(merkle.EMPTY, hashes[:size])).hex() for size in range(9)] == list(ROOTS)
    assert merkle.leaf(b"L123456").hex() == "395aa064aa4c29f7010acfe3f25db9485bbd4b91897b6ad7ad547639252b4d56"
    assert merkle.node(b"N123", b"N456").hex() == "aa217fe888e47007fa15edab33c2b492a722cb106c64667fc2b044444de66bbb"


@given(st.integers(0, 70), st.integers(0, 70))
def test_a_tree_that_grows_is_the_tree(first: int, more: int) -> None:
    """However it came to its leaves, its root is that of the definition, and its peaks hold them all in order."""
    hashes = [merkle.leaf(bytes([each])) for each in range(first + more)]
    peaks = merkle.grown(merkle.grown(merkle.EMPTY, hashes[:first]), hashes[first:])
    assert merkle.root(peaks) == defined(hashes)
    spans = list(merkle.spans(peaks.size))
    assert [place for span in spans for place in span] == list(range(peaks.size))
    assert [defined(hashes[span.start : span.stop]) for span in spans] == list(peaks.hashes)
