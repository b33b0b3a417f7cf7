"""What a work order asks for: its reference data, whether an independent inspection is required, and the steps planned."""

import enum
from typing import Annotated

from msgspec import Meta, Struct

from service.core.entries import CavityId, Kind, MarkText, Note, Text


class Act(enum.StrEnum):
    """What a planned step is. `other` is anything that no entry can show: it counts as done where its performer signs."""

    INSERT = "insert"
    REMOVE = "remove"
    REPLACE = "replace"
    SEATING_TEST = "seating_test"
    RENEW = "renew"
    MATE = "mate"
    UNMATE = "unmate"
    PLACE = "place"
    RETIRE = "retire"
    OTHER = "other"


KINDS: dict[Act, tuple[Kind, ...]] = {
    Act.INSERT: (Kind.INSERTION,),
    Act.REMOVE: (Kind.REMOVAL,),
    Act.REPLACE: (Kind.REMOVAL, Kind.INSERTION),
    Act.SEATING_TEST: (Kind.SEATING_TEST,),
    Act.RENEW: (Kind.RENEWAL,),
    Act.MATE: (Kind.MATING,),
    Act.UNMATE: (Kind.UNMATING,),
    Act.PLACE: (Kind.PLACEMENT,),
    Act.RETIRE: (Kind.RETIREMENT,),
    Act.OTHER: (),
}
"""The kinds of entry that show that a step was done, in order."""


class Reference(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """The data that the work goes by: document, its revision, and the task in it."""

    document: Text
    revision: Text | None = None
    task: Text | None = None


class PlannedStep(Struct, frozen=True, omit_defaults=True, forbid_unknown_fields=True, kw_only=True):
    """One thing to do. Without a connector any of the order's will do, without a cavity any of its."""

    act: Act
    connector: MarkText | None = None
    cavity: CavityId | None = None
    contact: Text | None = None
    tool: Text | None = None
    task: Text | None = None
    note: Note | None = None


class WorkOrder(Struct, frozen=True, omit_defaults=True, forbid_unknown_fields=True, kw_only=True):
    """A work order as the shop or its planning system states it."""

    title: Text
    description: Note | None = None
    asset: Text | None = None
    reference: Reference | None = None
    inspection_required: bool = False
    steps: Annotated[tuple[PlannedStep, ...], Meta(max_length=1000)] = ()


class Stated(Struct, frozen=True):
    """A work order on the books: which version holds."""

    version: int
    order: WorkOrder
