"""The table of keyings: at which angles from the main key the other keys of a shell stand."""

import csv
from importlib import resources

import msgspec
from msgspec import Struct

from service.catalog.rows import Status


class Keying(Struct, frozen=True, kw_only=True):
    """The four other keys of a keying, in degrees from the main key in the order in which the specification names them.

    They are the same for all `shells` of a group.
    """

    family: str
    shells: tuple[str, ...]
    position: str
    ar_deg: int
    br_deg: int
    cr_deg: int
    dr_deg: int
    status: Status
    source: str

    @property
    def angles_deg(self) -> tuple[int, ...]:
        """All four."""
        return (self.ar_deg, self.br_deg, self.cr_deg, self.dr_deg)


def load() -> tuple[Keying, ...]:
    """All keyings."""
    text = resources.files("service.catalog").joinpath("keyings.csv").read_text(encoding="utf-8")
    found = csv.DictReader(text.splitlines(), strict=True)
    return tuple(msgspec.convert({**row, "shells": row["shells"].split()}, Keying, strict=False) for row in found)
