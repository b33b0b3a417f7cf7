"""The shop's own figures: what they may say, which of them holds, and how they stand before the catalogue's."""

import enum
from collections.abc import Iterable
from typing import Annotated, Literal

from msgspec import Meta, Struct, structs

from service.core import entries, forces
from service.core.entries import Fault, Rating, Text, TextOrNothing
from service.core.tooling import Half, Pull, Release, Tool, Tooling

VERIFIED, NOT_VERIFIED = "house, verified", "house, not verified"


class What(enum.StrEnum):
    """The closed list of what a shop may state for itself."""

    RATING = "rating"
    MATING_RATING = "mating_rating"
    NEARING_FRACTION = "nearing_fraction"
    PULL = "pull"
    TOOL = "tool"
    RELEASE = "release"


BY_SIZE = frozenset({What.PULL, What.TOOL})
"""What is stated for one contact size of a family or part number; the rest holds for all sizes."""


class HouseTool(Struct, frozen=True, omit_defaults=True, forbid_unknown_fields=True, kw_only=True):
    """A tool that the shop uses for one half of the job; `end` says which end of it."""

    half: Half
    part_number: Text
    end: TextOrNothing = ""


class Figure(Struct, frozen=True, omit_defaults=True, forbid_unknown_fields=True, kw_only=True):
    """What is stated. Which fields belong to which kind, `FIELDS` says."""

    cycles: Annotated[int, Meta(ge=1, le=100_000)] | None = None
    basis: Literal["mandatory", "recommended", "house"] | None = None
    first_insertion_counts: bool | None = None
    nearing_fraction: Annotated[float, Meta(gt=0, le=1)] | None = None
    force_n: Annotated[float, Meta(gt=0, le=1000)] | None = None
    tools: Annotated[tuple[HouseTool, ...], Meta(max_length=20)] | None = None
    release: Release | None = None


_RATED = (("cycles", "basis"), ("first_insertion_counts", "nearing_fraction"))
FIELDS: dict[What, tuple[tuple[str, ...], tuple[str, ...]]] = {
    What.RATING: _RATED,
    What.MATING_RATING: _RATED,
    What.NEARING_FRACTION: (("nearing_fraction",), ()),
    What.PULL: (("force_n",), ()),
    What.TOOL: (("tools",), ()),
    What.RELEASE: (("release",), ()),
}
"""Kind -> the fields of a figure that it must have, and those that it may have."""


class HouseValue(Struct, frozen=True, kw_only=True):
    """One figure of the shop's with where it comes from. Without a figure it is withdrawn: what is less exact holds again."""

    what: What
    family: str | None
    part_number: str | None
    contact_size: str | None
    figure: Figure | None
    document: str | None = None
    revision: str | None = None
    paragraph: str | None = None
    verified_by: str | None = None
    verified_on: str | None = None

    @property
    def verified(self) -> bool:
        """As for a rating: somebody put a name and a day to it, and said which document."""
        return entries.is_verified(self.document, self.verified_by, self.verified_on)

    @property
    def status(self) -> str:
        """How sure it is, in the words that stand beside a catalogue's status."""
        return VERIFIED if self.verified else NOT_VERIFIED

    @property
    def source(self) -> str:
        """Where it comes from, in a line."""
        place = " ".join(each for each in (self.document, self.revision, self.paragraph) if each)
        by = f"verified by {self.verified_by} on {self.verified_on}" if self.verified else ""
        return "; ".join(each for each in (place or "no document stated", by) if each)


def faults(
    what: What, family: str | None, part_number: str | None, size: str | None, figure: Figure | None
) -> list[Fault]:
    """What makes a statement none: for nothing, of the wrong size, or with the wrong fields."""
    found = []
    if family is None and part_number is None:
        found.append(Fault("family", "say for which family or part number it holds"))
    if what in BY_SIZE and size is None:
        found.append(Fault("contact_size", f"a {what} holds for one contact size: name it"))
    if what not in BY_SIZE and size is not None:
        found.append(Fault("contact_size", f"a {what} holds for all contact sizes: leave it out"))
    if figure is None:
        return found
    needed, allowed = FIELDS[what]
    for name in Figure.__struct_fields__:
        given = getattr(figure, name) is not None
        if name in needed and not given:
            found.append(Fault(f"value/{name}", f"a {what} states {name}"))
        elif given and name not in (*needed, *allowed):
            found.append(Fault(f"value/{name}", f"a {what} does not state {name}"))
    return found


_Place = tuple[What, str | None, str | None, str | None]


class Book:
    """The figures that hold. What is stated for a part number comes before what is stated for its family."""

    def __init__(self, values: Iterable[HouseValue] = ()) -> None:
        self._held: dict[_Place, HouseValue] = {
            (each.what, each.family, each.part_number, each.contact_size): each
            for each in values
            if each.figure is not None
        }
        self._sizes = tuple(dict.fromkeys(place[3] for place in self._held if place[3] is not None))

    def __bool__(self) -> bool:
        """Whether the shop states anything."""
        return bool(self._held)

    def chosen(
        self, what: What, family: str | None, part_number: str | None, size: str | None = None
    ) -> HouseValue | None:
        """The figure that holds for a connector: of its part number in its family, of its part number, of its family."""
        for place in ((family, part_number), (None, part_number), (family, None)):
            found = self._held.get((what, *place, size)) if place != (None, None) else None
            if found is not None:
                return found
        return None

    def rating(self, what: What, family: str | None, part_number: str | None) -> Rating | None:
        """The house's rating of the retainers, or of the mating, with its provenance."""
        found = self.chosen(what, family, part_number)
        if found is None or found.figure is None or found.figure.cycles is None or found.figure.basis is None:
            return None
        return Rating(
            value=found.figure.cycles,
            basis=found.figure.basis,
            document=found.document,
            revision=found.revision,
            paragraph=found.paragraph,
            verified_by=found.verified_by,
            verified_on=found.verified_on,
            first_insertion_counts=found.figure.first_insertion_counts is not False,
            nearing_fraction=found.figure.nearing_fraction,
        )

    def nearing_fraction(self, family: str | None, part_number: str | None) -> float | None:
        """From which fraction of its rating a connector warns."""
        found = self.chosen(What.NEARING_FRACTION, family, part_number)
        return found.figure.nearing_fraction if found is not None and found.figure is not None else None

    def tooling(self, base: Tooling | None, family: str | None, part_number: str | None) -> Tooling | None:
        """What the connector is worked on with: the catalogue's, with the house's release side, tools and pulls before it.

        Tools that the house states for a size and half replace the catalogue's for them: it may do so because those are
        wrong. Of a family that nobody states a release side for, nothing can be said.
        """
        side = self.chosen(What.RELEASE, family, part_number)
        if side is not None and side.figure is not None and side.figure.release is not None:
            base = base or Tooling(side.figure.release, side.status, ())
            base = structs.replace(base, release=side.figure.release, release_status=side.status)
        if base is None:
            return None
        tools, pulls = base.tools, base.pulls
        for size in self._sizes:
            stated = self._tools(family, part_number, size)
            halves = {each.half for each in stated}
            tools = (*stated, *(each for each in tools if each.contact_size != size or each.half not in halves))
            pull = self._pull(family, part_number, size)
            if pull is not None:
                pulls = (pull, *(each for each in pulls if each.contact_size != size))
        return structs.replace(base, tools=tools, pulls=pulls)

    def _tools(self, family: str | None, part_number: str | None, size: str) -> tuple[Tool, ...]:
        found = self.chosen(What.TOOL, family, part_number, size)
        if found is None or found.figure is None:
            return ()
        return tuple(
            Tool(each.part_number, size, each.half, each.end, found.status, found.source)
            for each in found.figure.tools or ()
        )

    def _pull(self, family: str | None, part_number: str | None, size: str) -> Pull | None:
        found = self.chosen(What.PULL, family, part_number, size)
        if found is None or found.figure is None or found.figure.force_n is None:
            return None
        force_n = found.figure.force_n
        return Pull(size, force_n, forces.pounds(force_n), found.verified, found.status, found.source)
