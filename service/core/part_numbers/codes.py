"""What the codes of part numbers mean: tables, each with its source and how sure it is.

The same letter means other things in other specifications, so there is a table for each field of each of them.
"""

from service.core.part_numbers.values import Code

_SECOND_HAND, _DERIVED, _MEMORY, _UNKNOWN = "second-hand", "derived", "memory", "unknown"


def table(status: str, source: str, meanings: dict[str, str]) -> tuple[Code, ...]:
    """Codes that one source gives with one certainty."""
    return tuple(Code(code, meaning, status, source) for code, meaning in meanings.items())


def unexplained(letters: str, known: tuple[Code, ...]) -> tuple[Code, ...]:
    """The known codes, and those letters that may stand there though no table here says what they mean."""
    seen = {each.code for each in known}
    return (
        *known,
        *(Code(letter, "in no table here", _UNKNOWN, "no source") for letter in letters if letter not in seen),
    )


def picked(codes: tuple[Code, ...], words: str) -> tuple[Code, ...]:
    """Those of the codes that are named, in a text with blanks between them."""
    wanted = words.split(" ")
    return tuple(each for each in codes if each.code in wanted)


_38999 = "public transcription of MIL-DTL-38999M"
SHEETS_38999_III = table(
    _SECOND_HAND,
    f"{_38999} and a public parts-selection list",
    {
        "20": "series III wall-mounting receptacle",
        "21": "series III hermetic box-mounting receptacle",
        "23": "series III hermetic jam-nut receptacle",
        "24": "series III jam-nut receptacle",
        "25": "series III hermetic solder-mounting receptacle",
        "26": "series III plug with grounding fingers",
        "27": "series III hermetic weld-mounting receptacle",
    },
)
SHEETS_38999_IV = table(
    _SECOND_HAND,
    f"{_38999} and a public parts-selection list",
    {
        "40": "series IV wall-mounting receptacle",
        "41": "series IV hermetic receptacle",
        "42": "series IV box-mounting receptacle",
        "43": "series IV hermetic receptacle",
        "44": "series IV jam-nut receptacle",
        "45": "series IV hermetic receptacle",
        "46": "series IV plug with grounding fingers",
        "47": "series IV plug",
        "48": "series IV hermetic receptacle",
    },
)
CLASSES_38999 = table(
    _SECOND_HAND,
    f"{_38999} Table II and 3.3.6.2",
    {
        "W": "cadmium, olive drab",
        "F": "electroless nickel",
        "G": "space grade, electroless nickel",
        "T": "nickel-fluorocarbon",
        "Z": "zinc-nickel, black",
        "R": "nickel, higher corrosion resistance",
        "C": "anodised, non-conductive",
        "V": "tin-zinc",
        "J": "composite, cadmium",
        "M": "composite, nickel",
        "K": "steel firewall, passivated",
        "S": "steel firewall, electrodeposited nickel",
        "L": "steel, nickel",
        "H": "hermetic",
        "N": "hermetic",
        "Y": "hermetic",
        "AA": "a newer class whose finish is in no table here",
        "AB": "a newer class whose finish is in no table here",
    },
)
SHELLS_38999 = table(
    _SECOND_HAND,
    f"{_38999} Table I",
    {letter: f"shell size {size}" for letter, size in zip("ABCDEFGHJ", range(9, 27, 2), strict=True)},
)
CONTACTS_38999 = table(
    _SECOND_HAND,
    f"{_38999} 1.4.2",
    {
        "P": "pins, 500 mating cycles",
        "S": "sockets, 500 mating cycles",
        "H": "pins, 1500 mating cycles",
        "J": "sockets, 1500 mating cycles",
        "A": "pin insert without contacts",
        "B": "socket insert without contacts",
        "R": "rhodium-plated pins",
        "M": "rhodium-plated sockets",
        "G": "heavy-gold pins",
        "U": "heavy-gold sockets",
        "X": "hermetic, eyelet terminals",
        "Z": "hermetic, eyelet terminals",
        "C": "hermetic, feed-through",
        "D": "hermetic, feed-through",
    },
)
CONTACTS_38999_MS = tuple(
    Code(each.code, each.meaning, _MEMORY, "letters as in MIL-DTL-38999M 1.4.2; that they hold here is from memory")
    for each in CONTACTS_38999
)
KEYS_38999_III = table(
    _SECOND_HAND,
    f"{_38999} figure 6",
    {"N": "normal keying"} | {letter: f"alternate keying {letter}" for letter in "ABCDE"},
)
KEYS_38999_IV = table(
    _SECOND_HAND,
    f"{_38999} figure 7",
    {"N": "normal keying"} | {letter: f"alternate keying {letter}" for letter in "ABCDKLMR"},
)

_LIST = "public parts-selection list; kind of shell from memory"
SHEETS_38999_I = table(
    _SECOND_HAND,
    "public parts-selection list",
    {
        "27466": "series I wall-mounting receptacle",
        "27467": "series I plug",
        "27468": "series I jam-nut receptacle",
    },
) + table(_MEMORY, _LIST, {"27656": "series I wall-mounting receptacle, from behind the panel"})
SHEETS_38999_II = table(
    _MEMORY,
    _LIST,
    {
        "27472": "series II wall-mounting receptacle",
        "27473": "series II plug",
        "27474": "series II jam-nut receptacle",
        "27484": "series II plug with grounding fingers",
        "27497": "series II wall-mounting receptacle, from behind the panel",
        "27508": "series II box-mounting receptacle, from behind the panel",
    },
)
CLASSES_38999_MS = table(
    _MEMORY,
    "from memory",
    {
        "E": "environment-resisting, with rear hardware",
        "P": "potted",
        "T": "environment-resisting, without rear hardware",
        "Y": "hermetic",
    },
)
FINISHES_38999_MS = table(
    _MEMORY,
    "from memory",
    {
        "A": "bright cadmium",
        "B": "cadmium, olive drab",
        "C": "anodised, non-conductive",
        "F": "electroless nickel",
        "T": "nickel-fluorocarbon",
        "Z": "zinc-nickel, black",
    },
)
KEYS_38999_MS = table(
    _MEMORY,
    "from memory",
    {"N": "normal keying"} | {letter: f"alternate keying {letter}" for letter in "ABCDE"},
)

_83723 = "public transcription of MIL-DTL-83723G"
_KINDS_83723 = {
    "71": "bayonet wall-mounting receptacle",
    "73": "bayonet jam-nut receptacle",
    "75": "bayonet plug",
    "77": "bayonet plug with grounding fingers",
    "82": "threaded wall-mounting receptacle",
    "84": "threaded jam-nut receptacle",
    "86": "threaded plug",
    "91": "threaded plug with grounding fingers",
    "95": "threaded self-locking plug",
}
SHEETS_83723_SOCKETS = table(
    _SECOND_HAND, f"{_83723} 3.7.1", {sheet: f"{kind}, sockets" for sheet, kind in _KINDS_83723.items()}
)
SHEETS_83723_PINS = table(
    _SECOND_HAND,
    f"{_83723} 3.7.1",
    {str(int(sheet) + 1): f"{kind}, pins" for sheet, kind in _KINDS_83723.items()},
)
CLASSES_83723 = table(
    _SECOND_HAND,
    f"{_83723} 3.7.1",
    {
        "A": "anodised",
        "G": "steel, passivated",
        "K": "steel firewall",
        "M": "electrodeposited aluminium",
        "R": "electroless nickel",
        "T": "nickel-fluorocarbon",
        "W": "cadmium, olive drab",
        "Z": "zinc-nickel",
    },
)
# Which of these are sealed is not known letter by letter.
CLASSES_83723_OTHER = table(
    _SECOND_HAND, f"{_83723} 3.7.1", dict.fromkeys("HJLNPSY", "hermetic or firewall; which is in no table here")
)
_1554 = "public transcription of MIL-STD-1554A figure 1"
POSITIONS_1554_SMALL = table(
    _SECOND_HAND, _1554, {"N": "normal position"} | {digit: f"alternate position {digit}" for digit in "6789"}
)
POSITIONS_1554 = table(
    _SECOND_HAND,
    _1554,
    {"N": "normal position"}
    | {digit: f"alternate position {digit}, inactive for new design" for digit in "12345"}
    | {char: f"alternate position {char}" for char in "6789Y"},
)

_26482 = "public transcription of MIL-DTL-26482H"
SHEETS_26482_CRIMP = table(
    _SECOND_HAND,
    f"{_26482} 1.2.6 and Table I",
    {
        "3120": "series 1 crimp wall-mounting receptacle",
        "3121": "series 1 crimp cable receptacle",
        "3122": "series 1 crimp box-mounting receptacle",
        "3124": "series 1 crimp jam-nut receptacle",
        "3126": "series 1 crimp plug",
        "3127": "series 1 crimp flanged receptacle",
        "3128": "series 1 crimp flanged receptacle",
    },
)
SHEETS_26482_SOLDER = table(
    _SECOND_HAND,
    f"{_26482} 1.2.6 and Table I",
    {
        "3110": "series 1 solder wall-mounting receptacle",
        "3111": "series 1 solder cable receptacle",
        "3112": "series 1 solder box-mounting receptacle",
        "3113": "series 1 solder connector, another kind",
        "3114": "series 1 solder jam-nut receptacle",
        "3116": "series 1 solder plug",
        "3119": "series 1 solder connector, another kind",
    },
)
CLASSES_26482_1 = table(
    _SECOND_HAND,
    f"{_26482} 1.2.6",
    {
        "E": "grommet",
        "F": "grommet and strain relief",
        "P": "potted",
        "J": "for jacketed cable",
        "H": "hermetic",
    },
)
FINISHES_26482_1 = (
    *table(_SECOND_HAND, f"{_26482} 1.2.6", {"W": "cadmium, olive drab: the usual finish, not written"}),
    *table(
        _DERIVED,
        f"same letters as the classes of series 2 in a {_26482}",
        {"D": "electrodeposited aluminium", "T": "nickel-fluorocarbon", "K": "zinc-nickel"},
    ),
)
SHEETS_26482_2 = table(
    _SECOND_HAND,
    f"{_26482} 1.2.6 and Table I",
    {
        "3470": "series 2 narrow-flange receptacle",
        "3471": "series 2 cable receptacle",
        "3472": "series 2 wide-flange receptacle",
        "3474": "series 2 jam-nut receptacle",
        "3475": "series 2 plug with grounding fingers",
        "3476": "series 2 plug",
    },
)
CLASSES_26482_2 = table(
    _SECOND_HAND,
    f"{_26482} 1.2.6",
    {
        "A": "anodised black, 200 °C",
        "L": "electroless nickel, 200 °C",
        "W": "cadmium, olive drab, 175 °C",
        "K": "zinc-nickel, 175 °C",
        "T": "nickel-fluorocarbon, 175 °C",
        "D": "electrodeposited aluminium, 175 °C",
        "H": "hermetic",
        "N": "hermetic",
    },
)
CONTACTS_26482 = (
    *table(_SECOND_HAND, f"{_26482} 1.1.1", {"P": "pins", "S": "sockets"}),
    *table(_MEMORY, "from memory", {"A": "pin insert without contacts", "B": "socket insert without contacts"}),
)
POSITIONS_1669 = table(
    _SECOND_HAND,
    "public transcription of MIL-STD-1669A",
    {letter: f"insert turned in the shell to position {letter}" for letter in "WXYZ"},
)

_5015 = "public transcription of MIL-DTL-5015H 6.6 and Table XIX"
SHEETS_50151_CRIMP = table(
    _SECOND_HAND,
    _5015,
    {
        "3450": "crimp wall-mounting receptacle",
        "3451": "crimp cable receptacle",
        "3452": "crimp box-mounting receptacle",
        "3454": "crimp jam-nut receptacle",
        "3456": "crimp plug",
        "3459": "crimp self-locking plug",
    },
)
SHEETS_50151_SOLDER = table(
    _MEMORY,
    "number second-hand from MIL-DTL-5015H; kind of shell from memory",
    {
        "3100": "solder wall-mounting receptacle",
        "3101": "solder cable receptacle",
        "3102": "solder box-mounting receptacle",
        "3106": "solder straight plug",
        "3108": "solder angle plug",
    },
)
CLASSES_50151_CRIMP = (
    *table(
        _MEMORY,
        "letter second-hand from MIL-DTL-5015H; its meaning from memory",
        {"L": "nickel", "W": "cadmium, olive drab", "K": "steel firewall"},
    ),
    *table(_UNKNOWN, "no source", dict.fromkeys(("LS", "WS", "KT", "KS"), "in no table here")),
    *table(_SECOND_HAND, _5015, dict.fromkeys(("U", "US"), "inactive")),
)
CLASSES_50151_SOLDER = table(
    _MEMORY,
    "letter second-hand from MIL-DTL-5015H, where all are cancelled or inactive; its meaning from memory",
    {
        "A": "solid back shell",
        "E": "environment-resisting, with strain relief",
        "F": "environment-resisting, with strain relief, lighter",
        "R": "environment-resisting, without strain relief",
    },
)
CONTACTS_50151 = table(_SECOND_HAND, _5015, {"P": "pins", "S": "sockets"})
POSITIONS_1651 = table(
    _SECOND_HAND,
    "public transcription of MIL-STD-1651B",
    {letter: f"insert turned in the shell to position {letter}" for letter in "WXYZ"},
)

_ALL_MEMORY = "the whole form is from memory"
SHEETS_26500 = table(
    _MEMORY,
    _ALL_MEMORY,
    {"24264": "flange receptacle", "24265": "single-hole (jam-nut) receptacle", "24266": "plug"},
)
CLASSES_26500 = table(_MEMORY, _ALL_MEMORY, {"R": "aluminium shell"})
COUPLINGS_26500 = table(_MEMORY, _ALL_MEMORY, {"B": "bayonet coupling", "T": "threaded coupling"})
CONTACTS_26500 = table(_MEMORY, _ALL_MEMORY, {"P": "pins", "S": "sockets"})
