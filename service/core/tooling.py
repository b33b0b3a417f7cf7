"""Which tool goes in from which face, for a family of connectors and a contact size."""

import enum

from msgspec import Struct


class Face(enum.StrEnum):
    """A side of the insert: wire side is the rear, mating face the front."""

    WIRE_SIDE = "wire_side"
    MATING_FACE = "mating_face"


class Half(enum.StrEnum):
    """One of the two half cycles of a rework."""

    REMOVE = "remove"
    INSERT = "insert"


class Release(enum.StrEnum):
    """From which side the retainer is released: it decides the face of the removal tool."""

    REAR = "rear"
    FRONT = "front"


class Tool(Struct, frozen=True):
    """A tool that serves one half of the job for one contact size. `status` says how sure the pairing is."""

    part_number: str
    contact_size: str
    half: Half
    end: str
    status: str
    source: str


class Pull(Struct, frozen=True):
    """The light pull that a freshly inserted contact of one size has to stand.

    `verified` only where somebody of the shop put a name, a day and a document to it: any other figure is a default.
    """

    contact_size: str
    force_n: float
    force_lbf: float
    verified: bool
    status: str
    source: str


class Tooling(Struct, frozen=True):
    """What a family of connectors is worked on with."""

    release: Release
    release_status: str
    tools: tuple[Tool, ...]
    pulls: tuple[Pull, ...] = ()

    def serving(self, half: Half, contact_size: str) -> tuple[Tool, ...]:
        """The tools that serve this half for this size."""
        return tuple(each for each in self.tools if each.half is half and each.contact_size == contact_size)

    def pull(self, contact_size: str) -> Pull | None:
        """The pull for this size, where one is known."""
        return next((each for each in self.pulls if each.contact_size == contact_size), None)


def tool_face(release: Release, half: Half) -> Face:
    """Where the tool goes in: contacts always enter from the wire side; a front release is worked from the mating face."""
    return Face.MATING_FACE if half is Half.REMOVE and release is Release.FRONT else Face.WIRE_SIDE
