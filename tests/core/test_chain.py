"""The chain against the published vectors of RFC 8785 and RFC 9162."""

import json

import pytest

from service.core import chain

# Test data of the RFC 8785 author's reference repository, and the SHA-256 of the canonical bytes.
JCS = [
    (
        (
            '{"numbers":[333333333.33333329,1E30,4.50,2e-3,0.000000000000000000000000001],'
            '"string":"\\u20ac$\\u000F\\u000aA\'\\u0042\\u0022\\u005c\\\\\\"\\/","literals":[null,true,false]}'
        ),
        (
            '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
            '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
        ),
        "2d5e01a318d0f0879ab568c4be289c8b1f64ef8921a53c6277d5e069978baacb",
    ),
    (
        '[56,{"d":true,"10":null,"1":[ ]}]',
        '[56,{"1":[],"10":null,"d":true}]',
        "099601b171cafed97c333f8878d68e7f8c8f795412adb34b2fdcf0e7c7beac42",
    ),
    (
        '{"1":{"f":{"f":"hi","F":5},"\\n":56},"10":{},"":"empty","a":{},"111":[{"e":"yes","E":"no"}],"A":{}}',
        '{"":"empty","1":{"\\n":56,"f":{"F":5,"f":"hi"}},"10":{},"111":[{"E":"no","e":"yes"}],"A":{},"a":{}}',
        "605f65004ec2db7692522a0852c22f1c989e036d547e88963d1a3143cf3195d5",
    ),
    (
        '{"Unnormalized Unicode":"A\\u030a"}',
        '{"Unnormalized Unicode":"A\u030a"}',
        "0d99aad92a125196ff887876643fd3206786a84ddce2cee52ba4ad256d2381d3",
    ),
]


@pytest.mark.parametrize(("given", "canonical", "sha256"), JCS)
def test_rfc_8785_vectors(given: str, canonical: str, sha256: str) -> None:
    """The canonical form and its hash are those of the published vectors."""
    found = chain.canonical(json.loads(given))
    assert found == canonical.encode()
    assert chain.digest(found).hex() == sha256


LEAVES = ["", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"]
# Roots of the first n leaves: the reference vectors of the RFC 6962 / RFC 9162 tree hash.
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
def test_rfc_9162_roots(count: int) -> None:
    """The Merkle tree hash over the first leaves is that of the published vectors."""
    assert chain.merkle_root([bytes.fromhex(each) for each in LEAVES[:count]]).hex() == ROOTS[count]


def test_a_link_covers_what_came_before() -> None:
    """Another predecessor or another record gives another hash."""
    first = chain.link(b"", b"a")
    assert len({first, chain.link(b"", b"b"), chain.link(first, b"a"), chain.link(first, b"b")}) == 4
