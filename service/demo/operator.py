"""The invented operator: its aircraft, zones and positions, its people, benches and tools, and what it rates by.

Larkmoor Air Survey does not exist, nor do its aircraft marks, badges, shops, tools or serials. Part numbers have the
forms of published specifications. The CAGE codes are those that public identification examples print.
"""

from msgspec import Struct

from service.core.entries import Rating

NAME = "Larkmoor Air Survey"
LISTED_SINCE_DAYS = 8 * 365 + 2
"""How long before the fleet's day the log book was begun."""


class Position(Struct, frozen=True):
    """A place on every aircraft of the fleet, and the part number of the connector half that belongs there."""

    name: str
    zone: str
    part_number: str


ZONES = {
    "110": "Z110 nose bay",
    "210": "Z210 flight deck",
    "230": "Z230 cabin, left wall",
    "240": "Z240 cabin, right wall",
    "310": "Z310 tail cone",
    "410": "Z410 left nacelle",
    "420": "Z420 right nacelle",
    "510": "Z510 left wing",
    "610": "Z610 right wing",
    "710": "Z710 gear bay",
    "880": "Z880 survey bay",
}

# Position, zone, part number. One aircraft has each of them once.
_POSITIONS = """
P101 110 D38999/26WB35SN     J101 110 D38999/24WB35PN     P102 110 D38999/26WC98PA     J102 110 D38999/20WC98SA
P103 110 M83723/75R1624N     J103 110 M83723/72R1624N     P104 110 D38999/26WA98PN     P105 110 MS3476W10-6S
P201 210 D38999/26WE35SN     J201 210 D38999/20WE35PN     P202 210 D38999/26WJ61SN     J202 210 D38999/20FJ61PN
P203 210 D38999/26WF32SN     J203 210 D38999/24WF32PN     P204 210 D38999/26WD19SN     J204 210 D38999/20WD19PN
P205 210 MS27467T17B35PA     J205 210 MS27466T17B35SA     P206 210 MS3476W16-26P      J206 210 MS3470W16-26S
P207 210 D38999/26FC35SN     J207 210 D38999/24FC35PN
P231 230 D38999/26WD18PN     J231 230 D38999/20WD18SN     P232 230 MS27473T14B35P     J232 230 MS27472T14B35S
P233 230 MS3470L12-10PY      J233 230 MS3476L12-10SY      P234 230 D38999/26WE26SN
P241 240 D38999/26WD18PN     J241 240 D38999/20WD18SN     P242 240 MS27473T16B26S     J242 240 MS27472T16B26P
P243 240 MS3474L14-19P       J243 240 MS3476L14-19S       P244 240 D38999/26WE99SN
P311 310 D38999/26WC35SB     J311 310 D38999/24WC35PB     P312 310 D38999/46FC35SN     J312 310 D38999/40FC35PN
P313 310 MS27467T11B35P      P314 310 MS24266R14B15SN     J314 310 MS24264R14B15PN
P411 410 M83723/75R1415N     J411 410 M83723/72R1415N     P412 410 M83723/76R1831N     J412 410 M83723/71R1831N
P413 410 D38999/26FD15SN     P414 410 MS24266R12T12SN     J414 410 MS24264R12T12PN
P421 420 M83723/75R1415N     J421 420 M83723/72R1415N     P422 420 M83723/76R1831N     J422 420 M83723/71R1831N
P423 420 D38999/26FD15SN     P424 420 MS24266R12T12SN     J424 420 MS24264R12T12PN
P511 510 D38999/46FB98SN     J511 510 D38999/44FB98PN     P512 510 D38999/26FC4SN      P513 510 MS27484T12B8S
P514 510 D38999/26FB5SN
P611 610 D38999/46FB98SN     J611 610 D38999/44FB98PN     P612 610 D38999/26FC4SN      P613 610 MS27484T12B8S
P614 610 D38999/26FB5SN
P711 710 D38999/26WC8PN      J711 710 D38999/20WC8SN      P712 710 MS3475W10-6P        P713 710 M83723/86K1006N
P714 710 MS24266R10B5SN
P881 880 D38999/47WE26SN     J881 880 D38999/40WE26PN     P882 880 D38999/26WJ43SN     J882 880 D38999/20WJ43PN
P883 880 D38999/26WG24SN     P884 880 D38999/26WF28PN     P885 880 MS27467T15B19P      J885 880 MS27466T15B19S
P886 880 MS3476W18-32S       P887 880 D38999/46WD97SN     P888 880 D38999/26WF11SN     P889 880 M83723/75R2041N
"""


def _read(text: str) -> tuple[Position, ...]:
    words = text.split()
    return tuple(
        Position(name, ZONES[zone], number)
        for name, zone, number in zip(words[::3], words[1::3], words[2::3], strict=True)
    )


POSITIONS = _read(_POSITIONS)

CHRONIC = "P614"
"""The position that keeps coming back: an intermittent circuit at the right wing tip."""
CAMPAIGNED = ("P881", "P412", "P422")
"""Positions that the modification programmes reworked on every aircraft."""
UNRATED = frozenset({"J233", "P714"})
"""Nobody has looked up a rating for what sits here."""


class Programme(Struct, frozen=True):
    """A modification carried out on all aircraft: the positions, how many cavities of each, when it began, how long it took."""

    order: str
    positions: tuple[str, ...]
    cavities: int
    began_days_ago: int
    lasted_days: int


PROGRAMMES = (
    Programme("MOD-118 survey pod wiring", ("P881",), 5, 2300, 300),
    Programme("MOD-118 rev A survey pod wiring", ("P881",), 4, 1500, 240),
    Programme("MOD-131 generator control", ("P412", "P422"), 6, 1250, 360),
    Programme("MOD-118 rev B survey pod wiring", ("P881",), 4, 640, 200),
    Programme("MOD-146 generator control, second step", ("P412", "P422"), 4, 420, 240),
)

INSPECTORS = ("badge 104", "badge 109", "badge 112")
TECHNICIANS = tuple(f"badge {number}" for number in range(113, 141))
STRANGER = "badge 611"
"""Not on the list."""
PEOPLE = {each: f"Inspector {each[6:]}" for each in INSPECTORS} | {
    each: f"Technician {each[6:]}" for each in TECHNICIANS
}

BENCHES = ("Bench 1, Hangar West", "Bench 2, Hangar West", "Bench 3, Hangar East", "Bench 4, Hangar East")
TABLETS = ("Tablet 1, flight line", "Tablet 2, flight line", "Tablet 3, night shift")
STORE = "Store, Hangar East"
QUARANTINE = "Quarantine cage, Hangar East"

_TOOLS = {
    "M81969/14-01": 4,
    "M81969/14-02": 3,
    "M81969/14-03": 3,
    "M81969/14-04": 2,
    "M81969/14-11": 3,
    "M81969/8-05": 1,
    "M81969/8-06": 1,
    "MS24256A20": 2,
    "MS24256R20": 2,
    "MS24256A16": 1,
    "MS24256R16": 1,
    "MS24256A12": 1,
    "MS24256R12": 1,
}
TOOLS = {
    f"LT-{family}{each + 1:02}": number
    for family, (number, count) in enumerate(_TOOLS.items(), 1)
    for each in range(count)
}
"""The shop's marks for its insertion and removal tools, with their part numbers."""
WORN_TOOL = "LT-202"
"""A removal tool whose tip wore out: it spreads tines too far, and the next contact fails its seating test far more often."""
OVERDUE_TOOL, SOON_DUE_TOOL = "LT-401", "LT-302"
"""A tool whose check has run out, and one whose check is about to."""
STRANGE_TOOL = "LT-977"
"""Not on the list."""

CAGES = ("0CVA5", "0F3N5", "A3309", None)
"""Codes that public examples of identification marks print, and none for connectors that bear only a serial."""

RATED = 10
"""A placeholder in the trade's usual order of size; no document that could be read states it."""
MATED = 500
_DOCUMENT = "Larkmoor house practice HP-12"
_CHECKED = frozenset({"D38999/26WE35SN", "D38999/26FB5SN", "M83723/76R1831N", "MS3470L12-10PY", "MS24266R14B15SN"})


def rating(position: Position, checked_on: str) -> Rating | None:
    """What the retainers at a position are rated by. A few part numbers were checked against the document by a person."""
    if position.name in UNRATED:
        return None
    checked = position.part_number in _CHECKED
    return Rating(
        value=RATED,
        basis="house",
        document=_DOCUMENT,
        revision="C",
        paragraph="4.2",
        verified_by=INSPECTORS[0] if checked else None,
        verified_on=checked_on if checked else None,
    )


def mating_rating() -> Rating:
    """What coupling is rated by, checked by nobody so far."""
    return Rating(value=MATED, basis="house", document=_DOCUMENT, revision="C", paragraph="6.1")


_CONTACTS = {
    "38999": {
        "pin": {"22D": "M39029/58-360", "20": "M39029/58-363", "16": "M39029/58-364", "12": "M39029/58-365"},
        "socket": {"22D": "M39029/56-348", "20": "M39029/56-351", "16": "M39029/56-352", "12": "M39029/56-353"},
    },
    "38999-II": {
        "pin": {"22D": "M39029/58-360", "20": "M39029/58-363", "16": "M39029/58-364", "12": "M39029/58-365"},
        "socket": {"22D": "M39029/57-354", "20": "M39029/57-357", "16": "M39029/57-358", "12": "M39029/57-359"},
    },
    "others": {
        "pin": {"20": "M39029/4-110", "16": "M39029/4-111", "12": "M39029/4-113"},
        "socket": {"20": "M39029/5-115", "16": "M39029/5-116", "12": "M39029/5-118"},
    },
}


def contact(family: str, sex: str | None, size: str) -> str | None:
    """The contact that the shop fits, as a technician would note it; None where none is known for the family."""
    if family == "26500" or sex is None:
        return None
    by_sex = _CONTACTS.get(family) or _CONTACTS["38999" if family.startswith("38999") else "others"]
    return by_sex[sex].get(size)
