"""Vectors for a second reader of marks: the marks of the standards, and what chance makes of them, with what `marks` reads.

`python -m tests.core.mark_vectors` writes `mark_vectors.json` anew; a test holds the file to it.
"""

import functools
import json
import random
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import msgspec
from msgspec import Struct

from service.core import marks
from service.core.marks import Mark, Meaning
from tests.core import test_marks, test_marks_gs1
from tests.core.test_marks import raw

FILE = Path(__file__).with_name("mark_vectors.json")
SEED = 1042
MUTATIONS = 700


class Scan(Struct, frozen=True):
    """What a reader gives: bytes, and the symbology identifier if it gives one beside them."""

    data: bytes
    symbology: str | None = None


PLAIN = [
    "SN-1042",
    " SN 1 ",
    "",
    "   ",
    "6F9619FF-8B86-4D01-B42D-00CF4FC964FF\r",
    "urn:uuid:6f9619ff-8b86-4d01-b42d-00cf4fc964ff",
    "Urn:UUID:6f9619ff-8b86-4d01-b42d-00cf4fc964ff",
    "urn:uuid:6f9619ff-8b86-4d01-b42d-00cf4fc964f",
    "https://records.example/connectors/6F9619FF-8B86-4D01-B42D-00CF4FC964FF",
    "https://records.example/shop/connectors/6f9619ff-8b86-4d01-b42d-00cf4fc964ff",
    "https://records.example/x?/connectors/6f9619ff-8b86-4d01-b42d-00cf4fc964ff",
    "https://records.example/connectors/6f9619ff-8b86-4d01-b42d-00cf4fc964ff/",
    "urn:tinebook:badge:117",
    "URN:TINEBOOK:tool:M81969/14-02",
    "urn:tinebook:tool:M81969%2f14-02",
    "urn:tinebook:work_order:WO%20 7",
    "urn:tinebook:work_order:WO%e2%82%ac7",
    "urn:tinebook:work_order:WO%e2%82",
    "urn:tinebook:cavity:c",
    "urn:tinebook:cavity:a b",
    "urn:tinebook:bench:B 1",
    "urn:tinebook:bench:",
    "urn:tinebook:bench:x?y",
    "urn:tinebook:robot:7",
    "urn:tinebook",
    "urn:tineboo\u212a:badge:117",
    "urn:t\u0131nebook:badge:117",
    "http\u017f://a/01/09506000134352/21/X",
    "http://EXAMPLE/parts?SN=7",
    "\ufeffSN-1042",
    "SN\u00e91042",
    "SN\U0001f6001042",
    "SN\u20281042",
    "SN\u00851042",
    "A" * 200,
    "A" * 201,
    "\U0001f600" * 200,
    "\U0001f600" * 201,
    "A" * 2000,
    "A" * 2001,
    "]E012345",
    "[)>",
    "[)><GS>",
    "x<GS>y",
]
BYTES = [b"SN\xff1042", b"\xed\xa0\x80", b"\xc0\x80SN", b"]d1", b"\xe8010950600013435221ABC"]


def bases() -> list[tuple[str, Scan]]:
    """The marks of the standards and of the tables in the tests, by name."""
    found = [(name, Scan(data)) for name, data, _, _ in test_marks.IDENTITIES]
    found += [(name, Scan(data)) for name, data, _ in test_marks.REFUSED]
    found += [(name, Scan(raw(text))) for name, text, _ in test_marks.MALFORMED]
    found += [(f"envelope {at}", Scan(bytes.fromhex(each[2]))) for at, each in enumerate(test_marks.ENVELOPES)]
    found += [(f"scanned {at}", Scan(raw(text))) for at, (text, _) in enumerate(test_marks_gs1.SCANNED)]
    found += [(f"link {at}", Scan(raw(text))) for at, (text, _) in enumerate(test_marks_gs1.LINKS)]
    found += [(f"no link {at}", Scan(raw(text))) for at, text in enumerate(test_marks_gs1.NO_LINKS)]
    found += [(f"text {at}", Scan(raw(text))) for at, text in enumerate(PLAIN)]
    found += [(f"bytes {at}", Scan(data)) for at, data in enumerate(BYTES)]
    # ANSI MH10.8.2, the example under 34L.
    both = "[)><RS>06<GS>25SUN123456789PA12345<GS>4LUS<GS>16D20131108<GS>34LHTTP://EXAMPLE/?SCAN=<RS>05<GS>13131108<RS><EOT>"
    found.append(("two envelopes", Scan(raw(both))))
    lenient = "[)><RS>05<GS>800406141419999960MH80312<GS>21MH80312<GS>950614141<GS>24099999<RS><EOT>"
    found.append(("lenient GS1 label", Scan(raw(lenient))))
    return found


# --- chance

SYMBOLOGIES = [None, None, None, "]d1", "]d2", "]d7", "]Q1", "]C0", "]C1", "]E0", ""]
CHARACTERS = [
    *"\x1d\x1d\x1d\x1e\x1e\x04\r\n\t\x00\x1b\x1c\x1f\x7f DIOSVPTQaz059/-+#%?:",
    *"\u0085\u00a0\u00e9\u0131\u017f\u0130\u212a\u2003\u2028\u241d\u241e\u2404\u2420\uf70b\ufeff\uffff\ufffe\U0001f600",
]
DATA_SETS = [
    ("17V0CVA5", "1P12-34", "S786950"),
    ("17V0CVA5", "1T1234", "S7/86"),
    ("12V123456789", "1P1234", "S786950", "30P77"),
    ("18VD0CVA5", "1P1", "S2"),
    ("18S0CVA5786950", "1P7"),
    ("25SUN123456789PA1", "4LUS"),
    ("37SD0CVA51234+786950",),
]
TEXT_SETS = [
    ("MFR 0CVA5", "SER 674A36458", "PNR 12"),
    ("CAG 0CVA5", "PNO 1234", "SEQ 786950"),
    ("UID D0CVA5786950", "DAT 2026"),
    ("DUN 123456789", "UCN 10936"),
    ("USN 0CVA5786950",),
]
FRAGMENTS = [
    *(
        "17V0CVA5",
        "1P1234",
        "S786950",
        "18S0CVA5786950",
        "25SD0CVA57",
        "25SUN12",
        "37SD0CVA512+3",
        "1T9",
        "12V123456789",
    ),
    *("3V0614141", "7LW81X9C", "18VD0CVA5", "I1M8GD", "22S80A", "30P77", "4LUS", "99S9", "001P1", "MFR 0CVA5", "SER 1"),
    *("CAG 0CVA5", "SPL 0F3N5", "UCN 1", "PNO 12", "SEQ 3", "LOT 9", "BII 9", "UID D0CVA57", "USN 0CVA51", "PNR 5"),
    *("DUN 123456789", "EUC 0614141", "DAT 2026", "80040614141X", "0109506000134352", "21A", "10B", ""),
]
HEADS = [
    *["[)>\x1e06\x1d", "[)>\x1e12\x1d"] * 4,
    "[)>\x1eDD\x1d",
    "[)>\x1e05\x1d",
    "[)>\x1e07",
    "[)>\x1e",
    "]d1[)>\x1e06\x1d",
]
ENDS = ["\x1e\x04", "\x1e\x04", "\x1e\x04\r", "\x1e\x04\r\n", "\x1e", "\x04", "", "\t", "\r\r"]
STARTS = [
    "urn:tinebook:",
    "URN:TINEBOOK:badge:",
    "urn:tinebook:cavity:",
    "urn:uuid:",
    "https://a/01/",
    "]d2",
    "]C1",
    "]E0",
]


def scans(chance: random.Random) -> Iterator[Scan]:
    """Scans without end: marks that chance has damaged, and messages that it has put together."""
    whole = [each.data for _, each in bases()]
    ways: list[Callable[[], bytes]] = [
        lambda: damaged(chance, chance.choice(whole)),
        lambda: damaged(chance, composed(chance)),
        lambda: damaged(chance, composed(chance), 1),
        functools.partial(composed, chance),
        functools.partial(composed, chance),
        lambda: spliced(chance, chance.choice(whole), chance.choice(whole)),
        functools.partial(begun, chance),
        lambda: text(chance, 12).encode(),
    ]
    while True:
        yield Scan(chance.choice(ways)(), chance.choice(SYMBOLOGIES))


def composed(chance: random.Random) -> bytes:
    """A message of likely elements, in one envelope or two."""
    head = chance.choice(HEADS)
    told = head + elements(chance, DATA_SETS if "06" in head else TEXT_SETS)
    if not chance.randrange(5):
        told += "\x1e" + chance.choice(("06", "05", "99", "02")) + "\x1d" + elements(chance, DATA_SETS)
    return (told + chance.choice(ENDS)).encode()


def begun(chance: random.Random) -> bytes:
    """What begins like something that is read in its own way."""
    return (chance.choice(STARTS) + text(chance, 12)).encode()


def elements(chance: random.Random, sets: Sequence[tuple[str, ...]]) -> str:
    """Likely elements: those of one identity in any order, with a stray one or without, or any at all; some too long."""
    found = [*chance.choice(sets)]
    if not chance.randrange(5):
        found.append(chance.choice(FRAGMENTS))
    if not chance.randrange(8):
        found = [chance.choice(FRAGMENTS) for _ in range(chance.randrange(1, 5))]
    if not chance.randrange(4):
        found.reverse()
    if not chance.randrange(8):
        found[-1] += "7" * chance.choice((1, 15, 30, 45))
    return "\x1d".join(found)


def text(chance: random.Random, longest: int) -> str:
    """A few characters, mostly ordinary ones."""
    return "".join(
        chance.choice(CHARACTERS) if not chance.randrange(4) else chance.choice("AZ019-/:%41")
        for _ in range(chance.randrange(longest + 1))
    )


def damaged(chance: random.Random, data: bytes, most: int = 3) -> bytes:
    """The same bytes with one to three things gone, put in, exchanged or doubled."""
    for _ in range(chance.randrange(1, most + 1)):
        start = chance.randrange(len(data) + 1)
        end = min(len(data), start + chance.randrange(1, 4))
        put = chance.choice(
            (chance.choice(CHARACTERS).encode(), bytes((chance.randrange(256),)), chance.choice(FRAGMENTS).encode())
        )
        match chance.randrange(5):
            case 0:
                data = data[:start] + data[end:]
            case 1:
                data = data[:start] + put + data[start:]
            case 2:
                data = data[:start] + put + data[end:]
            case 3:
                data = data[:end] + data[start:]
            case _:
                data = data[:start] + data[start:end].swapcase() + data[end:]
    return data


def spliced(chance: random.Random, one: bytes, other: bytes) -> bytes:
    """The start of one mark and the end of another, as when two scans run together."""
    return one[: chance.randrange(len(one) + 1)] + other[chance.randrange(len(other) + 1) :]


# --- what is written down


def told(mark: Mark) -> dict[str, Any]:
    """A mark as JSON, without what is empty."""
    whole: dict[str, Any] = msgspec.json.decode(msgspec.json.encode(mark))
    return {name: value for name, value in whole.items() if value not in (None, [])}


def is_gs1(mark: Mark) -> bool:
    """Whether a reader that leaves GS1 to the service says so of this mark."""
    return mark.meaning is Meaning.GS1 or any(each.format == "05" for each in mark.elements)


def vector(name: str, scan: Scan) -> dict[str, Any]:
    """One scan with what Python reads in it."""
    beside = {} if scan.symbology is None else {"symbology": scan.symbology}
    return {"name": name, "hex": scan.data.hex(), **beside, "mark": told(marks.read(scan.data, scan.symbology))}


def document() -> str:
    """The whole file: one vector a line."""
    chance = random.Random(SEED)
    found = [vector(name, each) for name, each in bases()]
    found += [vector(f"chance {at}", each) for at, each in zip(range(MUTATIONS), scans(chance), strict=False)]
    about = (
        "Scans (bytes in hexadecimal, the symbology identifier if it came beside them) -> the mark that is read in them; what "
        "is not there is null or empty. The first are from the standards and tables that tests/core/test_marks*.py name, the "
        "rest what seeded chance made of them. Written by python -m tests.core.mark_vectors."
    )
    lines = ",\n".join("  " + json.dumps(each, sort_keys=True) for each in found)
    return f'{{\n "about": {json.dumps(about)},\n "vectors": [\n{lines}\n ]\n}}\n'


if __name__ == "__main__":
    FILE.write_text(document(), "utf-8")
