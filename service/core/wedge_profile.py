"""Wedge profiles: what a scanner that types makes of each character at one station, proven by a printed check symbol.

A keyboard wedge may deliver GS as Ctrl+], as a function key, as a picture of itself, as something that a site once
programmed, or not at all, and the keyboard layout may change the rest. Nobody can know; so each station scans the check
symbol once, what arrives tells what each character becomes, and every later scan is turned back by that alone. A profile
that could confuse two messages is refused: a substitute that may stand inside a UII (sites really do send `/` for GS), one
for two characters, letters or digits that changed.

What arrives is a sequence of tokens: a character as it is, or the name of what was pressed (`Ctrl+]`, `Alt+029`, `F8`).
How proofs and scans must come out is in `tests/core/wedge_vectors.json`, for this and for any other implementation.
"""

import re
from collections.abc import Iterator, Sequence

from msgspec import Struct

from service.core.envelope import EOT, GS, RS, Fault

ALPHABET = frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-/")
"""What a UII may hold (public pages quoting MIL-STD-130N)."""
PROVEN = (GS, RS, " ", *"-/[)>+:.%]")
"""The characters, letters and digits apart, that a mark may need: each stands in the check symbol on its own. `+` is in our
labels, `:` `.` `%` in our own marks and in links, `]` begins a symbology identifier."""

_BODY = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789azA-B/C[D)E>F+G:H.I%J]K"
CHECK = f"[)>{RS}06{GS}ZTINEBOOK WEDGE CHECK{RS}06{GS}Z{_BODY}{RS}{EOT}"
"""What the check symbol holds: a legal ISO/IEC 15434 message that identifies nothing (data identifier Z, by agreement)."""

LONGEST_SUBSTITUTE = 8
"""Tokens."""
_LONGEST_PROOF = len(CHECK) * LONGEST_SUBSTITUTE
_SUFFIXES = (("\r", "\n"), ("\r",), ("\n",), ("\t",), ("Enter",), ("Tab",))
_ENDING = frozenset(("\r", "\n", "\t", "Enter", "Tab"))
_AIM = re.compile("\\][A-Za-z][0-9A-Za-z]")
_NAMES = {GS: "GS", RS: "RS", EOT: "EOT", " ": "space"}


class Arrival(Struct, frozen=True):
    """What one character arrives as. No tokens: it does not arrive, which only EOT may do."""

    character: str
    tokens: tuple[str, ...]


class Profile(Struct, frozen=True):
    """What a station's scanner delivers; every character that is not listed arrives as itself."""

    arrivals: tuple[Arrival, ...]

    @property
    def name(self) -> str:
        """The profile to keep with each scan, readable: `GS=Ctrl+] RS=Ctrl+Shift+6 EOT=Ctrl+D`, or `plain`."""
        changed = [each for each in self.arrivals if each.tokens != (each.character,)]
        shown = (f"{_shown(each.character)}={''.join(map(_shown, each.tokens)) or 'nothing'}" for each in changed)
        return " ".join(shown) or "plain"


def prove(received: Sequence[str]) -> Profile | Fault:
    """The profile of a station, from what the check symbol arrived as; or why no scan there could be trusted."""
    tokens = _without_suffix(received)
    if not tokens or len(tokens) > _LONGEST_PROOF:
        return _not_the_symbol()
    coded, names = _coded(tokens)
    found = _PATTERN.fullmatch(coded)
    if found is None:
        return _why_not(tokens)
    arrived = {each: found[f"c{at}"] for at, each in enumerate(PROVEN)}
    end = found["end"]
    if end and not end.startswith(arrived[RS]):
        return _not_the_symbol()
    arrived[EOT] = end[len(arrived[RS]) :]
    profile = Profile(tuple(Arrival(key, tuple(names.get(one, one) for one in text)) for key, text in arrived.items()))
    header = "".join(arrived[each] for each in "[)>" + RS)
    if not found["lead"].endswith(header):
        return _not_the_symbol()
    before = normalise(profile, tokens[: len(found["lead"]) - len(header)])
    if isinstance(before, Fault) or not _AIM.fullmatch(before.decode() or "]d1"):
        return _not_the_symbol()
    return _confusion(profile) or profile


def normalise(profile: Profile, received: Sequence[str]) -> bytes | Fault:
    """What the symbol held, in UTF-8, without the one suffix that the scanner sends after it.

    A fault where something arrives that the profile does not explain: the scanner's set-up was changed, so nothing that it
    sends is known any more.
    """
    book = {each.tokens: each.character for each in profile.arrivals if each.tokens}
    displaced = {each.character for each in profile.arrivals if each.tokens != (each.character,)}
    longest = max((len(each) for each in book), default=1)
    tokens, text, at = _without_suffix(received), [], 0
    while at < len(tokens):
        taken = next((n for n in range(1, longest + 1) if tokens[at : at + n] in book), 0)
        if taken:
            text.append(book[tokens[at : at + taken]])
        elif len(tokens[at]) == 1 and tokens[at] not in displaced and not "\ud800" <= tokens[at] <= "\udfff":
            text.append(tokens[at])
        else:
            return Fault("not_by_profile", f"{_shown(tokens[at])} arrived, which it never should here: {_SET_UP}")
        at += taken or 1
    return "".join(text).encode()


def delivered(profile: Profile, text: str) -> tuple[str, ...]:
    """What a station with this profile delivers for a text: the inverse of `normalise`."""
    arrived = {each.character: each.tokens for each in profile.arrivals}
    return tuple(token for each in text for token in arrived.get(each, (each,)))


_SET_UP = "scan the check symbol again, and check the scanner set-up."


def _confusion(profile: Profile) -> Fault | None:
    """Why messages could be taken for one another, if they could."""
    taken: dict[tuple[str, ...], str] = {}
    for each in profile.arrivals:
        if not each.tokens:
            continue
        arrives = f"{_shown(each.character)} arrives as {''.join(map(_shown, each.tokens))}"
        if each.tokens != (each.character,):
            if ALPHABET.issuperset(each.tokens):
                return Fault("inside_alphabet", f"{arrives}, which may stand in a UII: choose another substitute.")
            if len(_letters(each.tokens[0])) == len(each.tokens[0]) == 1 or each.tokens[0] in ALPHABET:
                return Fault("ambiguous", f"{arrives}, which begins like ordinary data: choose another substitute.")
            if _ENDING.intersection(each.tokens):
                return Fault("ends_message", f"{arrives}, which would end the message: choose another substitute.")
        clash = next((other for other in taken if _begins(other, each.tokens) or _begins(each.tokens, other)), None)
        if clash is not None:
            other = _shown(taken[clash])
            return Fault("ambiguous", f"{arrives}, which can't be told from {other}: choose another substitute.")
        taken[each.tokens] = each.character
    return None


def _begins(short: tuple[str, ...], long: tuple[str, ...]) -> bool:
    return long[: len(short)] == short


def _without_suffix(received: Sequence[str]) -> tuple[str, ...]:
    tokens = tuple(received)
    suffix = next((each for each in _SUFFIXES if tokens[-len(each) :] == each), ())
    return tokens[: len(tokens) - len(suffix)]


def _shown(token: str) -> str:
    return _NAMES.get(token, token if token.isprintable() else "".join(f"<{ord(each):02X}>" for each in token))


# --- taking the check symbol apart

_PLACEHOLDER = 0xF0000


def _coded(tokens: tuple[str, ...]) -> tuple[str, dict[str, str]]:
    """Tokens as a text of one character each, and what each stand-in stands for."""
    named = dict.fromkeys(each for each in tokens if len(each) != 1 or ord(each) >= _PLACEHOLDER)
    stand_ins = {each: chr(_PLACEHOLDER + at) for at, each in enumerate(named)}
    return "".join(stand_ins.get(each, each) for each in tokens), {code: each for each, code in stand_ins.items()}


def _pattern() -> Iterator[str]:
    """Letters and digits of the check text as they are; whatever is between them is what a character became."""
    known: set[str] = set()
    yield "(?P<lead>.*?)"
    for each in CHECK.removeprefix(f"[)>{RS}").removesuffix(f"{RS}{EOT}"):
        if each not in PROVEN:
            yield each
        elif each in known:
            yield f"(?P=c{PROVEN.index(each)})"
        else:
            known.add(each)
            yield f"(?P<c{PROVEN.index(each)}>.{{1,{LONGEST_SUBSTITUTE}}}?)"
    yield f"(?P<end>.{{0,{2 * LONGEST_SUBSTITUTE}}})"


_PATTERN = re.compile("".join(_pattern()), re.DOTALL)


def _why_not(tokens: tuple[str, ...]) -> Fault:
    expected, arrived = _letters(CHECK), _letters("".join(each for each in tokens if len(each) == 1))
    if arrived == expected:
        return Fault(
            "separators_lost",
            "Letters and digits arrive, but a separator or sign between them does not: set the scanner to send control "
            "characters, or a substitute for each.",
        )
    if arrived.swapcase() == expected:
        return Fault(
            "caps_lock", "Capitals arrive as small letters: switch Caps Lock off and scan the check symbol again."
        )
    if len(arrived) == len(expected):
        pairs = zip(expected, arrived, strict=True)
        wrong = ", ".join(dict.fromkeys(f"{one} as {other}" for one, other in pairs if one != other))
        text = f"Letters or digits are changed ({wrong}): set the scanner's keyboard country to the computer's."
        return Fault("layout", text)
    return _not_the_symbol()


def _letters(text: str) -> str:
    return "".join(each for each in text if each.isascii() and each.isalnum())


def _not_the_symbol() -> Fault:
    text = (
        "This is not what the check symbol should give. If it was the check symbol, set the scanner's keyboard country to "
        "the computer's, and let it send the whole symbol unchanged."
    )
    return Fault("not_the_check_symbol", text)
