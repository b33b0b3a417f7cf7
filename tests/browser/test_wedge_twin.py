"""A scanner that types, in the browser: the page's modules held to the terminal's and the service's, and to real keys.

The vectors are shared with `tests/core/test_wedge_profile.py` and `tests/client/test_wedge.py`. Beside them, chance: what the
page makes of any keys has to be what the terminal makes of them.
"""

import json
import random
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import msgspec
import pytest
from playwright.sync_api import Page

from scanner_client import keystrokes, wedge
from service.core import wedge_profile
from service.core.envelope import EOT, GS, RS, Fault
from service.core.wedge_profile import CHECK, Profile
from tests.browser import modules
from tests.client.test_wedge import VECTORS, told
from tests.core.test_wedge_profile import VECTORS as STATIONS
from tests.core.test_wedge_profile import proven, tokens

pytestmark = modules.needs_chromium

SEED = 1042
DRIVER = Path(__file__).with_name("wedge_driver.js").read_text("utf-8")
CORE = Path(__file__).parents[2] / "scanner_client" / "page" / "core"
MESSAGE = f"[)>{RS}06{GS}17V0CVA5{GS}1P1234-5/6{GS}S786950{RS}{EOT}"
PROFILES = [each["name"] for each in STATIONS["proofs"] if "profile" in each]

Stroke = tuple[str, int]


@pytest.fixture(scope="module")
def page() -> Iterator[Page]:
    """A browser in which the page's modules can be imported."""
    with modules.opened() as opened:
        yield opened


def another(page: Page) -> Page:
    """A second page of the same origin, with nothing imported yet."""
    browser = page.context.browser
    assert browser is not None
    other = browser.new_page()
    other.goto(page.url)
    return other


def in_page(page: Page, **asked: Any) -> dict[str, Any]:
    """What the page's modules make of what is asked."""
    answered: dict[str, Any] = page.evaluate(DRIVER, asked)
    return answered


def plain(profile: Profile | None) -> Any:
    """A profile as JSON, which is how a page keeps one."""
    return None if profile is None else msgspec.json.decode(msgspec.json.encode(profile))


def judged(found: Profile | Fault) -> dict[str, Any]:
    """What a proof gave, in the form of the driver."""
    if isinstance(found, Fault):
        return {"fault": {"code": found.code, "text": found.text}}
    return {"name": found.name, "profile": plain(found)}


def turned(found: bytes | Fault) -> dict[str, Any]:
    """What a scan was turned back into, in the form of the driver."""
    return {"fault": {"code": found.code, "text": found.text}} if isinstance(found, Fault) else {"hex": found.hex()}


def at_terminal(profile: Profile | None, strokes: Sequence[Stroke], silence_ms: int) -> list[dict[str, Any]]:
    """What the terminal makes of keys, in the form of the driver."""
    state, events, at_ms = wedge.Wedge(profile=profile), [], 1000
    for token, gap_ms in strokes:
        at_ms += gap_ms
        state, event = wedge.press(state, token, at_ms)
        events.append(event)
    if silence_ms:
        events.append(wedge.pause(state, at_ms + silence_ms)[1])
    return [
        {"type": "refused", "reason": each.reason} if isinstance(each, wedge.Refused) else told(each)
        for each in events
        if each is not None
    ]


# --- the vectors


def test_the_page_means_the_same_symbol_and_the_same_times(page: Page) -> None:
    """Check symbol, times and sentences are the same on both sides."""
    found = in_page(page)
    constants = json.loads((Path(__file__).parents[1] / "client" / "vectors.json").read_text("utf-8"))["constants"]
    assert found["check"] == CHECK.encode().hex() == STATIONS["check_hex"]
    assert found["constants"] == constants
    assert constants == {name: getattr(wedge, name.upper()) for name in constants}
    assert found["unproven"] == wedge.UNPROVEN


def test_proofs_and_scans_of_the_vectors(page: Page) -> None:
    """What the check symbol arrives as proves the same profile in the page, or is refused with the same words."""
    received = [tokens(each["received"]) for each in STATIONS["proofs"]]
    scans = [(proven(each["proof"]), tokens(each["received"])) for each in STATIONS["scans"]]
    found = in_page(page, proofs=received, scans=[{"profile": plain(profile), "tokens": of} for profile, of in scans])
    assert found["proofs"] == [judged(wedge_profile.prove(each)) for each in received]
    assert found["scans"] == [turned(wedge_profile.normalise(*each)) for each in scans]
    told_by_vectors = [each.get("profile") or each["fault"] for each in STATIONS["proofs"]]
    assert [each.get("name") or each["fault"]["code"] for each in found["proofs"]] == told_by_vectors


def test_strokes_of_the_vectors(page: Page) -> None:
    """Keys with their times give the events of the vectors, page-only ones among them."""
    asked = [
        {
            "profile": plain(proven(each["proof"])) if each["proof"] else None,
            "strokes": [
                (one, part["gap_ms"], part.get("caps", False))
                for part in each["parts"]
                for one in tokens(part["received"])
            ],
            "silence_ms": each.get("silence_ms", 0),
        }
        for each in STATIONS["strokes"]
    ]
    for vector, events in zip(STATIONS["strokes"], in_page(page, strokes=asked)["strokes"], strict=True):
        assert len(events) == len(vector["events"]), vector["name"]
        for event, expected in zip(events, vector["events"], strict=True):
            if event["type"] == "refused":
                assert (expected["type"], expected["reason"] in event["reason"]) == ("refused", True), vector["name"]
            else:
                assert event == {name: value for name, value in expected.items() if name != "at_terminal"}, vector[
                    "name"
                ]


def test_bytes_of_the_vectors(page: Page) -> None:
    """The terminal's vectors hold in the page wherever a browser can be given the same: text, and control characters."""
    profile = wedge_profile.prove(list(CHECK))
    assert isinstance(profile, Profile)
    ran, asked = [], []
    for vector in VECTORS:
        strokes = [
            (one, part["gap_ms"]) for part in vector["parts"] for one in keystrokes.read(bytes.fromhex(part["hex"]))
        ]
        only_there = {"interrupt", "end"}.intersection(each["type"] for each in vector["events"])
        if not only_there and all(len(one) == 1 for one, _ in strokes):
            ran.append(vector)
            asked.append({"profile": plain(profile), "strokes": strokes, "silence_ms": vector.get("silence_ms", 0)})
    assert len(ran) > 30
    for vector, events in zip(ran, in_page(page, strokes=asked)["strokes"], strict=True):
        without_reason = [{"type": "refused"} if each["type"] == "refused" else each for each in events]
        assert without_reason == vector["events"], vector["name"]


def test_keys_of_a_browser(page: Page) -> None:
    """Chords, function keys, keypad numbers, AltGr and dead keys become the tokens that a profile is made of."""
    found = in_page(page, keyboards=[each["events"] for each in STATIONS["keyboards"]])["keyboards"]
    for vector, keys in zip(STATIONS["keyboards"], found, strict=True):
        assert keys["tokens"] == vector["tokens"], vector["name"]
        assert keys["single"] == vector.get("single", vector["tokens"]), vector["name"]
        assert any(keys["caps"]) is any("CapsLock" in each.get("held", ()) for each in vector["events"])


def test_the_check_symbol_can_be_awaited(page: Page) -> None:
    """While a proof is awaited everything belongs to it, however it arrives, until nothing comes any more."""
    received = [tokens(each["received"]) for each in STATIONS["proofs"] if each["received"]]
    asked = [
        {"profile": None, "proving": True, "strokes": [(one, gap) for one in each], "silence_ms": 1000}
        for each in received
        for gap in (3, 200)
    ]
    expected = [wedge_profile.prove(each) for each in received for _ in (3, 200)]
    for event, one in zip(in_page(page, strokes=asked)["strokes"], expected, strict=True):
        if isinstance(one, Fault):
            assert event == [{"type": "refused", "reason": one.text}]
        else:
            assert event == [{"type": "proven", "profile": one.name}]


def test_a_text_that_arrives_in_one_piece(page: Page) -> None:
    """What a scanner's own program puts in or somebody pastes is judged by the same rules."""
    bars = plain(proven("bar, tilde, caret"))
    arrived = "[)>~06|18S0CVA5786950~^\r\n"
    asked = [
        {"profile": None, "text": "SN-1042\n"},
        {"profile": None, "text": "14"},
        {"profile": None, "text": MESSAGE},
        {"profile": bars, "text": arrived},
        {"profile": bars, "text": "A" * 8001},
        {"profile": None, "text": CHECK},
        {"profile": None, "proving": True, "text": CHECK + "\r"},
    ]
    scan = f"[)>{RS}06{GS}18S0CVA5786950{RS}{EOT}"
    found = in_page(page, whole=asked)["whole"]
    assert found[:4] == [
        {"type": "scan", "hex": b"SN-1042".hex(), "symbology": None},
        {"type": "text", "text": "14"},
        {"type": "refused", "reason": wedge.UNPROVEN},
        {"type": "scan", "hex": scan.encode().hex(), "symbology": None},
    ]
    assert found[4]["type"] == "refused"
    assert found[5:] == [{"type": "proven", "profile": "plain"}] * 2


# --- chance

PIECES = [
    GS,
    RS,
    EOT,
    "|",
    "~",
    "^",
    "/",
    "-",
    "Z",
    "a",
    "{",
    "}",
    "\u241d",
    "\u241e",
    "\uf70b",
    " ",
    "F8",
    "F9",
    "F4",
]
GAPS_MS = [1, 5, 5, 5, 20, 35, 36, 40, 100, 101, 200, 249, 250, 251, 700, 1999]


def station(chance: random.Random) -> dict[str, tuple[str, ...]]:
    """What some characters become at a station that chance has set up."""
    changed = chance.sample([*wedge_profile.PROVEN, GS, RS, EOT, "Y", "0"], chance.randrange(5))
    return {each: tuple(chance.choice(PIECES) for _ in range(chance.randrange(4))) for each in changed}


def sent(of: dict[str, tuple[str, ...]], text: str) -> list[str]:
    """What arrives of a text there."""
    return [token for each in text for token in of.get(each, (each,))]


def test_any_station_is_proven_or_refused_alike(page: Page) -> None:
    """Whatever chance makes of the characters of the check symbol, page and service agree on what it proves."""
    chance = random.Random(SEED)
    received, scans = [], []
    for _ in range(3000):
        of = station(chance)
        lead = chance.choice(("", "", "", "]d1", "x", "\r"))
        received.append(
            [*sent(of, lead + CHECK), *chance.choice(((), ("\r",), ("\r", "\n"), ("Enter",), ("Tab",), ("F8",)))]
        )
        if not chance.randrange(8):
            at = chance.randrange(len(received[-1]))
            received[-1][at : at + chance.randrange(3)] = [chance.choice(PIECES)]
        profile = wedge_profile.prove(received[-1])
        if isinstance(profile, Profile):
            message = [
                *sent(of, MESSAGE),
                *chance.choices(PIECES, k=chance.randrange(3)),
                *chance.choice(((), ("\r",))),
            ]
            scans.append((profile, message))
    found = in_page(page, proofs=received, scans=[{"profile": plain(profile), "tokens": of} for profile, of in scans])
    expected = [judged(wedge_profile.prove(each)) for each in received]
    assert 200 < len(scans) < 2800
    assert len({each["fault"]["code"] for each in expected if "fault" in each}) >= 5
    assert found["proofs"] == expected
    assert found["scans"] == [turned(wedge_profile.normalise(*each)) for each in scans]


def strokes(chance: random.Random, profile: Profile | None) -> list[Stroke]:
    """Keys of a while at a bench: scans fast and slow, half lines, stray keys, suffixes or none."""
    found: list[Stroke] = []
    for _ in range(chance.randrange(1, 5)):
        text = chance.choice(
            (
                MESSAGE,
                MESSAGE,
                "]d1" + MESSAGE,
                "SN-1042",
                "]C0SN-1042",
                "]C10109506000134352",
                "insert 14",
                "14",
                "[)>06S1",
                "a\u241db",
                "x{GS}y",
            )
        )
        cut = slice(
            chance.randrange(len(text)) if not chance.randrange(6) else 0,
            None if chance.randrange(6) else chance.randrange(len(text)),
        )
        arrives = wedge_profile.delivered(profile, text[cut]) if profile and chance.randrange(5) else tuple(text[cut])
        pace_ms = chance.choice((2, 5, 5, 35, 36, 120, 400))
        found += [(each, pace_ms) for each in arrives]
        if not chance.randrange(3):
            found.insert(
                chance.randrange(len(found) + 1),
                (chance.choice([*PIECES, "\x7f", "\x15", "\x08", "\t"]), chance.choice(GAPS_MS)),
            )
        found += [
            (each, chance.choice((2, 5, pace_ms)))
            for each in chance.choice(((), ("\r",), ("\r", "\n"), ("\n",), ("\t",)))
        ]
        if found:
            found[-1] = (found[-1][0], chance.choice(GAPS_MS)) if not chance.randrange(5) else found[-1]
    return found


def sessions(seed: int, count: int) -> list[tuple[Profile | None, list[Stroke], int]]:
    """So many whiles at benches, proven in one of the ways of the vectors or not at all."""
    chance = random.Random(seed)
    profiles = [None, None, None, *(proven(each) for each in PROFILES)]
    chosen = [chance.choice(profiles) for _ in range(count)]
    return [(each, strokes(chance, each), chance.choice((0, 249, 250, 300))) for each in chosen]


def differences(page: Page, told_to: list[tuple[Profile | None, list[Stroke], int]]) -> tuple[list[Any], list[Any]]:
    """The sessions that page and terminal take differently, and all events of the terminal."""
    asked = [{"profile": plain(profile), "strokes": keys, "silence_ms": silence} for profile, keys, silence in told_to]
    there = [at_terminal(*each) for each in told_to]
    here = in_page(page, strokes=asked)["strokes"]
    wrong = [(of, one, other) for of, one, other in zip(told_to, here, there, strict=True) if one != other]
    return wrong, [event for each in there for event in each]


def test_any_keys_are_taken_alike(page: Page) -> None:
    """Scans, typing and what lies between them give the same events in the page and at the terminal, word for word."""
    wrong, events = differences(page, sessions(SEED, 4000))
    assert wrong == []
    kinds = {each["type"] for each in events}
    assert kinds == {"scan", "text", "refused"}
    assert sum(each["type"] == "scan" for each in events) > 1000
    assert len({each["reason"][:30] for each in events if each["type"] == "refused"}) > 3


@pytest.mark.parametrize(
    ("file", "right", "wrong"),
    [
        ("wedge.js", "FAST_MS = 35", "FAST_MS = 36"),
        ("wedge.js", "if (profile === null && needsProof(held)) return refused(UNPROVEN, held);", ""),
        ("wedge.js", "SUBSTITUTE.test(text) || ", ""),
        ("wedge.js", "2 * state.slowest_ms", "state.slowest_ms"),
        ("wedge.js", "|| structured(before)", ""),
        ("readings.js", "return LOST_SEPARATORS;", "return null;"),
        ("wedge_profile.js", "!displaced.has(tokens[at]) && ", ""),
        ("keys.js", "export const", "export const"),
    ],
)
def test_a_wrong_page_would_be_seen(page: Page, file: str, right: str, wrong: str) -> None:
    """The comparison is worth something: a slip in the page's files shows as a difference, and no slip as none."""
    source = (CORE / file).read_text("utf-8")
    assert right in source
    other = another(page)
    body = source.replace(right, wrong)
    other.route(f"**/core/{file}", lambda route: route.fulfill(body=body, content_type="text/javascript"))
    found, _ = differences(other, sessions(SEED, 600))
    assert bool(found) is (right != wrong)
    other.close()


# --- what is kept from the browser


def test_only_the_keys_of_a_scan_are_taken_from_the_browser(page: Page) -> None:
    """A chord or suffix inside a scan does nothing else; a person's chords, Enter and Tab do what they always do."""
    chords = proven("control chords")
    message = [(each, 5) for each in wedge_profile.delivered(chords, MESSAGE)]
    asked = [
        {"profile": plain(chords), "strokes": [*message, ("Enter", 5), ("Enter", 3000)]},
        {
            "profile": None,
            "strokes": [("Ctrl+C", 500), ("F5", 500), ("a", 500), ("Ctrl+D", 500), ("Tab", 500), ("Enter", 500)],
        },
        {"profile": None, "strokes": [(each, 5) for each in "SN-1042"] + [("Enter", 5), ("Tab", 20), ("Tab", 500)]},
        {"profile": None, "strokes": [("1", 150), ("4", 5), ("Enter", 5)]},
    ]
    scanned, person, serial, short = in_page(page, taken=asked)["taken"]
    assert scanned == [False] * 3 + [True] * (len(message) - 3) + [True, False]
    assert person == [False] * 6
    assert serial == [False] * 3 + [True] * 4 + [True, True, False]
    assert short == [False] * 3


LISTEN = """async () => {
  const [wedge, keys] = await Promise.all(["wedge", "keys"].map((each) => import(`/core/${each}.js`)));
  window.heard = []; window.pressed = [];
  let [state, keypad, tokens, event] = [wedge.begin(), keys.IDLE, [], null];
  const hear = (key) => {
    [keypad, tokens] = keys.press(keypad, key);
    for (const token of tokens) {
      if (wedge.takes(state, token, key.timeStamp)) key.preventDefault();
      [state, event] = wedge.feed(state, token, key.timeStamp, keys.capsLock(key));
      window.pressed.push(token);
      if (event) window.heard.push({ scan: Array.from(event.bytes ?? []), text: event.text }[event.type] ?? event.type);
    }
  };
  document.addEventListener("keydown", hear, true);
  document.addEventListener("keyup", hear, true);
  document.body.innerHTML = "<button autofocus onclick='window.heard.push(`button`)'>b</button>";
  document.querySelector("button").focus();
}"""

CHORDS: dict[str, Callable[[Page], None]] = {
    GS: lambda page: page.keyboard.press("Control+BracketRight"),
    RS: lambda page: page.keyboard.press("Control+Shift+Digit6"),
    EOT: lambda page: page.keyboard.press("Control+KeyD"),
}


def test_real_keys_prove_a_station_and_scan(page: Page) -> None:
    """In a real browser a scanner that sends chords is proven by the check symbol, then scans, and presses no button."""
    other = another(page)
    other.evaluate(LISTEN)

    def scan(text: str) -> None:
        for each in text:
            CHORDS.get(each, lambda at, key=each: at.keyboard.press(key))(other)
        other.keyboard.press("Enter")

    scan(MESSAGE)
    scan(CHECK)
    scan(MESSAGE)
    heard = other.evaluate("window.heard")
    assert heard == ["refused", "proven", list(MESSAGE.encode())]
    other.wait_for_timeout(300)
    other.keyboard.press("Enter")
    assert other.evaluate("window.heard.slice(-2)") == ["", "button"]
    other.close()


def test_real_keypad_numbers(page: Page) -> None:
    """In a real browser a number typed on the keypad with Alt held is one key, and ordinary keys are characters."""
    other = another(page)
    other.evaluate(LISTEN)
    other.keyboard.press("KeyA")
    other.keyboard.down("Alt")
    for each in "029":
        other.keyboard.press(f"Numpad{each}")
    other.keyboard.up("Alt")
    other.keyboard.press("F8")
    other.keyboard.press("Shift+KeyB")
    assert other.evaluate("window.pressed") == ["a", "Alt+029", "F8", "B"]
    other.close()
