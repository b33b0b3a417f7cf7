"""The chain against the published vectors of RFC 8785."""

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


def test_a_link_covers_what_came_before() -> None:
    """Another predecessor or another record gives another hash."""
    first = chain.link(b"", b"a")
    assert len({first, chain.link(b"", b"b"), chain.link(first, b"a"), chain.link(first, b"b")}) == 4
