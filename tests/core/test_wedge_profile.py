"""Wedge profiles: proven by a check symbol, and whatever is proven loses nothing. The vectors are for other implementations too."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import zxingcpp
from hypothesis import given
from hypothesis import strategies as st

from service.core import marks, wedge_profile
from service.core.envelope import EOT, GS, RS, Fault
from service.core.marks import Meaning
from service.core.wedge_profile import CHECK, Profile

VECTORS = json.loads(Path(__file__).with_name("wedge_vectors.json").read_text("utf-8"))


def tokens(received: list[Any]) -> list[str]:
    """The tokens of a vector: a text is its characters, an object a key that was pressed."""
    found: list[str] = []
    for each in received:
        found += list(each) if isinstance(each, str) else [each["key"]]
    return found


def proven(name: str) -> Profile:
    """The profile that a vector proves."""
    (vector,) = [each for each in VECTORS["proofs"] if each["name"] == name]
    profile = wedge_profile.prove(tokens(vector["received"]))
    assert isinstance(profile, Profile)
    return profile


PROFILES = [each["name"] for each in VECTORS["proofs"] if "profile" in each]


def test_the_vectors_hold_the_check_symbol() -> None:
    """The vectors and the program mean the same check symbol, and it holds every sign that a station must prove."""
    assert CHECK.encode().hex() == VECTORS["check_hex"]
    assert set("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789[)>-/ " + GS + RS + EOT) <= set(CHECK)
    assert len(PROFILES) >= 10


@pytest.mark.parametrize("vector", VECTORS["proofs"], ids=[each["name"] for each in VECTORS["proofs"]])
def test_a_proof(vector: dict[str, Any]) -> None:
    """What the check symbol arrives as proves a profile, or is refused with its reason."""
    found = wedge_profile.prove(tokens(vector["received"]))
    if isinstance(found, Fault):
        assert found.code == vector["fault"]
        assert found.text.endswith(".")
    else:
        assert found.name == vector["profile"]


@pytest.mark.parametrize("vector", VECTORS["scans"], ids=[each["name"] for each in VECTORS["scans"]])
def test_a_scan(vector: dict[str, Any]) -> None:
    """What arrives at a station is turned back by its profile alone; what the profile does not explain is refused."""
    found = wedge_profile.normalise(proven(vector["proof"]), tokens(vector["received"]))
    assert (found.code if isinstance(found, Fault) else found.hex()) == vector.get("fault", vector.get("hex"))


def test_the_check_symbol_is_a_legal_mark_that_identifies_nothing() -> None:
    """Printed and read with a camera, the check symbol is a sound message and no connector's."""
    symbol = zxingcpp.create_barcode(CHECK, zxingcpp.BarcodeFormat.DataMatrix, force_square=True)
    (found,) = zxingcpp.read_barcodes(np.array(symbol.to_image(scale=4)))
    assert found.bytes == CHECK.encode()
    mark = marks.read(found.bytes)
    assert (mark.meaning, [each.code for each in mark.faults]) == (Meaning.NO_IDENTITY, ["no_identity"])


UII = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-/"
values = st.text(UII, min_size=1, max_size=20)
sentences = st.text(UII + " +:.%()[]>", min_size=1, max_size=20)
suffixes = st.sampled_from(["", "\r", "\r\n", "\n", "\t"])


@st.composite
def messages(draw: st.DrawFn) -> str:
    """Legal ISO/IEC 15434 messages of one to three envelopes, with a symbology identifier or without."""
    envelopes = [
        f"{draw(st.sampled_from(['05', '06', '12', 'DD']))}{GS}{GS.join(draw(st.lists(sentences, min_size=1, max_size=4)))}{RS}"
        for _ in range(draw(st.integers(1, 3)))
    ]
    return f"{draw(st.sampled_from(['', ']d1', ']Q1']))}[)>{RS}{''.join(envelopes)}{EOT}"


def arrives(profile: Profile, text: str) -> str:
    """A text as the station passes it on at best: without EOT where its scanner drops that."""
    drops = any(each.character == EOT and not each.tokens for each in profile.arrivals)
    return text.removesuffix(EOT) if drops else text


@given(st.sampled_from(PROFILES), messages() | values, suffixes)
def test_every_legal_message_survives_every_proven_station(name: str, message: str, suffix: str) -> None:
    """A UII or a legal message comes back byte for byte, whatever the station makes of it on the way."""
    profile = proven(name)
    sent = (*wedge_profile.delivered(profile, message), *suffix)
    assert wedge_profile.normalise(profile, sent) == arrives(profile, message).encode()


pieces = st.sampled_from(
    [GS, RS, EOT, "", "|", "~", "^", "/", "-", "Z", "a", "{", "}", "\u241d", "\u241e", "\uf70b", "\r", " "]
)
keys = st.sampled_from(["Ctrl+]", "Ctrl+6", "Ctrl+D", "F8", "F9", "Alt+029", "Alt+030", "Enter"])
substitutes = st.lists(pieces | keys, max_size=3).map(lambda found: tuple(each for each in found if each))
stations = st.dictionaries(st.sampled_from([*wedge_profile.PROVEN, EOT, "Y", "0"]), substitutes, max_size=6)


@given(stations, messages(), suffixes)
def test_no_station_that_is_proven_loses_anything(
    station: dict[str, tuple[str, ...]], message: str, suffix: str
) -> None:
    """Whatever a station makes of each character: either its check symbol is refused, or every message survives it."""

    def sent(text: str) -> list[str]:
        return [token for each in text for token in station.get(each, (each,))]

    profile = wedge_profile.prove([*sent(CHECK), *suffix])
    if isinstance(profile, Profile):
        assert wedge_profile.normalise(profile, [*sent(message), *suffix]) == arrives(profile, message).encode()


@given(st.lists(st.characters() | keys | st.sampled_from(list(CHECK)), max_size=200))
def test_nothing_that_arrives_breaks_it(received: list[str]) -> None:
    """Anything that arrives is refused with a reason, or is turned back, never an error."""
    assert isinstance(wedge_profile.prove(received), Fault)
    for name in PROFILES[:3]:
        assert isinstance(wedge_profile.normalise(proven(name), received), bytes | Fault)
