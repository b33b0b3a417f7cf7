"""The catalogue: what the reference tables say about a family, an arrangement or a part number."""

from collections.abc import Collection

import msgspec
from msgspec import Struct

from service.catalog import contacts, keyings, rows
from service.core import part_numbers
from service.core.contacts import Contacts
from service.core.entries import CavityDefinition
from service.core.part_numbers import Decoded, Expected, Fault, Sex
from service.core.tooling import Pull, Release, Tooling

_Key = tuple[str, str]
"""An arrangement: its standard without revision, its name."""


class Description(Struct, frozen=True, kw_only=True):
    """What is known of a part number. Form and reference data are apart: a number may be well formed and unknown.

    `fault` is what is wrong with the number: its form, its position, or an arrangement that its family does not have.
    """

    part_number: str
    decoded: Decoded | None
    fault: Fault | None
    family: rows.Family | None = None
    arrangement: rows.Arrangement | None = None
    cavities: tuple[CavityDefinition, ...] | None = None
    cavities_status: rows.Status | None = None
    tooling: Tooling | None = None

    @property
    def arrangement_known(self) -> bool:
        """Whether the arrangement is on its standard's list, whatever the number's form says."""
        return self.arrangement is not None


class Catalog(Struct, frozen=True, kw_only=True):
    """All reference data, read once. It never changes while the service runs."""

    families: dict[str, rows.Family]
    arrangements: dict[_Key, rows.Arrangement]
    cavity_rows: dict[_Key, tuple[rows.Cavity, ...]]
    tools: tuple[rows.FamilyTool, ...]
    caution_rows: tuple[rows.Caution, ...]
    spare_rows: tuple[rows.Spares, ...]
    mating_rows: tuple[rows.Mating, ...]
    retention_rows: tuple[rows.Force, ...]
    pull_rows: tuple[rows.Force, ...]
    plug_rows: tuple[rows.SealingPlug, ...]
    colour_rows: tuple[rows.ToolColour, ...]
    unused_rows: tuple[rows.UnusedCavity, ...]
    contact_rows: tuple[contacts.Contact, ...]
    keying_rows: tuple[keyings.Keying, ...]

    def arrangement(self, of: Decoded | _Key) -> rows.Arrangement | None:
        """The arrangement of a part number, or by standard and name; None if it is on no list."""
        return self.arrangements.get(_key(of))

    def inserts(self, of: Decoded) -> tuple[str, ...]:
        """The inserts that the list has for the shell of a part number in its family."""
        found = (
            each.name.split("-")[1]
            for each in self.arrangements.values()
            if each.standard == of.arrangement_standard
            and of.family in each.families
            and each.name.startswith(f"{of.shell}-")
        )
        return tuple(sorted(found, key=int))

    def contact(self, part_number: str) -> contacts.Contact | None:
        """A contact by its number in the one spelling, AS39029/58-360."""
        return next((each for each in self.contact_rows if each.part_number == part_number), None)

    def contacts(self, family: str | None, sex: Sex | None) -> Contacts:
        """The contacts made for a family and an insert, and the others."""
        return contacts.made_for(self.contact_rows, family, sex)

    def keying(self, of: Decoded) -> keyings.Keying | None:
        """Where the keys of the shell stand, for the families that the table has."""
        return next(
            (
                each
                for each in self.keying_rows
                if each.family == of.family and of.shell in each.shells and each.position == of.position
            ),
            None,
        )

    def cavities(self, of: Decoded | _Key) -> tuple[CavityDefinition, ...] | None:
        """The cavities in the order of the insert, or None where their ids are not known. Ids are never made up."""
        found = self._cavity_rows(_key(of))
        return tuple(CavityDefinition(each.cavity, each.contact_size) for each in found) if found else None

    def cavities_status(self, of: Decoded | _Key) -> rows.Status | None:
        """How sure the cavities of an arrangement are: as sure as the least sure of them."""
        key = _key(of)
        found = self._cavity_rows(key)
        if not found:
            return None
        if key not in self.cavity_rows:
            return rows.Status.DERIVED
        order = list(rows.Status)
        return max((each.status for each in found), key=order.index)

    def listed(self, of: Decoded | _Key) -> tuple[rows.Cavity, ...]:
        """The cavities as the table has them, each with its source; those of a twin are derived. Empty where none is listed."""
        key = _key(of)
        found = self._cavity_rows(key)
        if key in self.cavity_rows:
            return found
        return tuple(
            msgspec.structs.replace(each, status=rows.Status.DERIVED, source=f"as in {each.arrangement}: {each.source}")
            for each in found
        )

    def tooling(self, family: str) -> Tooling | None:
        """Release side and tools of a family, or None for a family that is not in the catalogue."""
        known = self.families.get(family)
        if known is None:
            return None
        tools = tuple(each.tool for each in self.tools if family in each.families)
        pulls = tuple(_pull(each) for each in self.pull_rows if family in each.families)
        return Tooling(release=known.release, release_status=known.status, tools=tools, pulls=pulls)

    def pull(self, family: str, contact_size: str) -> rows.Force | None:
        """The light pull after an insertion: a default with its status, never a limit."""
        return _force(self.pull_rows, family, contact_size)

    def retention(self, family: str, contact_size: str) -> rows.Force | None:
        """The axial load under which a contact has to be retained (EIA-364-29 names the test, not the figure)."""
        return _force(self.retention_rows, family, contact_size)

    def mating(self, family: str, contact_style: str) -> rows.Mating | None:
        """How many mating cycles the family's contacts of that style are built for: never taken as a rating."""
        return next(
            (
                each
                for each in self.mating_rows
                if family in each.families and (not each.contact_styles or contact_style in each.contact_styles)
            ),
            None,
        )

    def sealing_plug(self, family: str, contact_size: str) -> rows.SealingPlug | None:
        """The plug for an unused cavity of that size."""
        return next(
            (each for each in self.plug_rows if family in each.families and each.contact_size == contact_size), None
        )

    def tool_colour(self, contact_size: str) -> rows.ToolColour | None:
        """The colour of the tools for that size."""
        return next((each for each in self.colour_rows if each.contact_size == contact_size), None)

    def unused_cavities(self, place: rows.Place | None = None) -> tuple[rows.UnusedCavity, ...]:
        """What is done with unused cavities, anywhere and in that place; every place where none is said."""
        return tuple(each for each in self.unused_rows if None in (place, each.place) or each.place is place)

    def cautions(self, works: Collection[rows.Work | str], release: Release | None = None) -> tuple[rows.Caution, ...]:
        """The cautions for the work, warnings first. What holds for one release side is left out if it is not known."""
        return tuple(
            each
            for each in self.caution_rows
            if (not each.works or set(each.works) & set(works)) and each.release in (None, release)
        )

    def spares(self, contacts: int) -> int:
        """How many spare contacts a connector with so many contacts is given (AC 43.13-1B 11-234)."""
        return next(
            each.spares for each in self.spare_rows if each.contacts_up_to is None or contacts <= each.contacts_up_to
        )

    def describe(self, part_number: str) -> Description:
        """Everything that is known of a part number."""
        decoded = part_numbers.decode(part_number)
        if isinstance(decoded, Fault):
            return Description(part_number=part_number, decoded=None, fault=decoded)
        arrangement = self.arrangement(decoded)
        return Description(
            part_number=part_number,
            decoded=decoded,
            fault=_fault(decoded, arrangement, self.inserts(decoded)),
            family=self.families.get(decoded.family),
            arrangement=arrangement,
            cavities=self.cavities(decoded),
            cavities_status=self.cavities_status(decoded),
            # Without retainers there is nothing that an insertion or removal tool could release.
            tooling=self.tooling(decoded.family) if decoded.removable is not False else None,
        )

    def _cavity_rows(self, key: _Key) -> tuple[rows.Cavity, ...]:
        """The rows of an arrangement, or those of its twin.

        A 38999 series II insert is that of the other series under a shell one larger: all that could be compared agree
        in number and contacts. Where they differ or one is missing, nothing is derived.
        """
        if key in self.cavity_rows:
            return self.cavity_rows[key]
        arrangement = self.arrangements.get(key)
        if arrangement is None or arrangement.families != ("38999-II",):
            return ()
        shell, _, insert = arrangement.name.partition("-")
        twin = self.arrangements.get((arrangement.standard, f"{int(shell) + 1}-{insert}"))
        if twin is None or set(twin.contacts) != set(arrangement.contacts):
            return ()
        return self.cavity_rows.get((twin.standard, twin.name), ())


def load() -> Catalog:
    """Read the tables of this package. Keep the result: it takes some milliseconds."""
    cavities: dict[_Key, tuple[rows.Cavity, ...]] = {}
    for each in rows.cavities():
        key = (each.standard, each.arrangement)
        cavities[key] = (*cavities.get(key, ()), each)
    return Catalog(
        families={each.family: each for each in rows.families()},
        arrangements={(each.standard, each.name): each for each in rows.arrangements()},
        cavity_rows=cavities,
        tools=rows.tools(),
        caution_rows=rows.cautions(),
        spare_rows=rows.spares(),
        mating_rows=rows.mating(),
        retention_rows=rows.retention(),
        pull_rows=rows.pulls(),
        plug_rows=rows.sealing_plugs(),
        colour_rows=rows.tool_colours(),
        unused_rows=rows.unused_cavities(),
        contact_rows=contacts.load(),
        keying_rows=keyings.load(),
    )


def _force(of: tuple[rows.Force, ...], family: str, contact_size: str) -> rows.Force | None:
    return next((each for each in of if family in each.families and each.contact_size == contact_size), None)


def _pull(row: rows.Force) -> Pull:
    return Pull(row.contact_size, row.force_n, row.force_lbf, verified=False, status=row.status, source=row.source)


def _key(of: Decoded | _Key) -> _Key:
    return (of.arrangement_standard, of.arrangement) if isinstance(of, Decoded) else of


def _fault(decoded: Decoded, arrangement: rows.Arrangement | None, inserts: tuple[str, ...]) -> Fault | None:
    if arrangement is None:
        return None
    if decoded.family not in arrangement.families:
        listed = (
            f"shell {decoded.shell} has {', '.join(inserts)}" if inserts else f"it has none for shell {decoded.shell}"
        )
        text = f"Arrangement {arrangement.name} is not used in {decoded.family}: {listed}."
        expected = (Expected("insert", inserts),) if inserts else ()
        return Fault("arrangement_not_in_family", text, decoded.start("insert"), expected)
    if arrangement.alternates is None:
        return None
    return part_numbers.position_fault(decoded, arrangement.alternates)
