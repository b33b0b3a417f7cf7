"""What is signed, as bytes: the reference vectors of RFC 8785, from its author's repository, and the hashes of their output."""

import hashlib
import json
import math
import struct
from uuid import UUID

import pytest

from service.core import chain
from service.core.signing import seals
from service.core.signing.seals import Sealed
from tests.signing.shop import NOW

VECTORS: dict[str, tuple[str, str, str]] = {
    # name -> JSON as it comes, its canonical form, SHA-256 of that form
    "values": (
        (
            r'{"numbers":[333333333.33333329,1E30,4.50,2e-3,0.000000000000000000000000001],'
            r'"string":"\u20ac$\u000F\u000aA\u0027\u0042\u0022\u005c\\\"\/","literals":[null,true,false]}'
        ),
        (
            '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
            '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
        ),
        "2d5e01a318d0f0879ab568c4be289c8b1f64ef8921a53c6277d5e069978baacb",
    ),
    "arrays": (
        '[56,{"d":true,"10":null,"1":[ ]}]',
        '[56,{"1":[],"10":null,"d":true}]',
        "099601b171cafed97c333f8878d68e7f8c8f795412adb34b2fdcf0e7c7beac42",
    ),
    "structures": (
        '{"1":{"f":{"f":"hi","F":5},"\\n":56.0},"10":{},"":"empty","a":{},"111":[{"e":"yes","E":"no"}],"A":{}}',
        '{"":"empty","1":{"\\n":56,"f":{"F":5,"f":"hi"}},"10":{},"111":[{"E":"no","e":"yes"}],"A":{},"a":{}}',
        "605f65004ec2db7692522a0852c22f1c989e036d547e88963d1a3143cf3195d5",
    ),
    "unicode": (
        '{"Unnormalized Unicode":"A\\u030a"}',
        '{"Unnormalized Unicode":"A\u030a"}',
        "0d99aad92a125196ff887876643fd3206786a84ddce2cee52ba4ad256d2381d3",
    ),
}


@pytest.mark.parametrize("name", VECTORS)
def test_canonical_form_is_that_of_rfc_8785(name: str) -> None:
    """RFC 8785, its author's test data: order of keys, form of numbers, escapes, no blanks, text left as it is."""
    given, wanted, sha256 = VECTORS[name]
    made = chain.canonical(json.loads(given))
    assert made == wanted.encode()
    assert hashlib.sha256(made).hexdigest() == sha256


def test_keys_are_ordered_by_utf_16() -> None:
    """RFC 8785, its author's test data ("weird"): keys stand in the order of their UTF-16 code units."""
    keys = ["\n", "\r", "1", "</script>", "\x80", "ö", "€", "😂", "\ufb33"]
    made = json.loads(seals.canonical(dict.fromkeys(reversed(keys), 1)))
    assert list(made) == keys


NUMBERS = {
    # RFC 8785, appendix B: IEEE 754 bits -> text
    "0000000000000000": "0",
    "8000000000000000": "0",
    "0000000000000001": "5e-324",
    "8000000000000001": "-5e-324",
    "7fefffffffffffff": "1.7976931348623157e+308",
    "44b52d02c7e14af5": "9.999999999999997e+22",
    "44b52d02c7e14af6": "1e+23",
    "444b1ae4d6e2ef50": "1e+21",
    "3eb0c6f7a0b5ed8d": "0.000001",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7",
    "41b3de4355555555": "333333333.3333333",
    "becbf647612f3696": "-0.0000033333333333333333",
}


@pytest.mark.parametrize("bits", NUMBERS)
def test_numbers_have_one_form(bits: str) -> None:
    """RFC 8785, appendix B: each double has the text that ECMAScript gives it."""
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    assert seals.canonical({"n": number}) == f'{{"n":{NUMBERS[bits]}}}'.encode()


@pytest.mark.parametrize("value", [2**53, -(2**53), 10**30, math.nan, math.inf])
def test_what_readers_would_take_differently_is_not_signed(value: float) -> None:
    """RFC 8785, 3.2.2.3: numbers that a double can't hold, or that are none, are errors and never rounded."""
    with pytest.raises(seals.StatementError, match="no canonical form"):
        seals.canonical({"n": value})


def test_text_that_is_none_is_not_signed() -> None:
    """RFC 8785, 3.2.2.2: half a surrogate pair is an error."""
    with pytest.raises(seals.StatementError, match="no canonical form"):
        seals.canonical({"n": "\ud800"})


def _sealed(**changes: object) -> Sealed:
    told: dict[str, object] = {
        "id": UUID(int=7),
        "subject": "work_order",
        "reference": "WO-1",
        "meaning": "inspected",
        "outcome": "accepted",
        "remark": None,
        "badge": "B-7",
        "name": "R. Example",
        "certificate_number": "EX-1",
        "certificate_kind": "repairman",
        "method": "secret",
        "exception_reason": None,
        "sha256": "00",
        "signed_at": NOW,
    }
    return Sealed(**told | changes)  # type: ignore[arg-type]


@pytest.mark.parametrize("field", Sealed.__struct_fields__)
def test_a_seal_covers_every_field(field: str) -> None:
    """Whatever is changed in a signature, or in the seal before it, its seal no longer fits."""
    other = {"id": UUID(int=8), "signed_at": NOW.replace(hour=13)}.get(field, "other")
    assert seals.seal(b"", _sealed()) != seals.seal(b"", _sealed(**{field: other}))
    assert seals.seal(b"", _sealed()) != seals.seal(b"x" * 32, _sealed())
