"""Everything that is known of a part number: its form field by field, and what the reference data have on it."""

from collections.abc import Iterator

from service import part_number_messages as messages
from service.catalog import Catalog, Description, Status
from service.catalog.contacts import Contact as ContactRow
from service.core import part_numbers
from service.core.part_numbers import Contact, Decoded, Fault, Part, Tool, contacts

_EXTENDED_DUTY = ("H", "J")
_STANDARD_DUTY = ("P", "S", "")


def identify(book: Catalog, number: str) -> messages.PartNumberView:
    """Read a number exactly as it is written and say what is known of it."""
    found = part_numbers.identify(number)
    if isinstance(found, Fault):
        return messages.PartNumberView(
            number=number,
            canonical=None,
            kind=None,
            syntax="wrong",
            known=False,
            form=None,
            fields=(),
            fault=_fault(number, found),
            doubts=(),
            connector=None,
            contact=None,
            tools=(),
        )
    if isinstance(found, Contact):
        return _of_contact(book, found)
    if isinstance(found, Tool):
        return _of_tool(book, found)
    return _of_connector(book, book.describe(number), found)


def _of_connector(book: Catalog, described: Description, found: Decoded) -> messages.PartNumberView:
    return messages.PartNumberView(
        number=found.text,
        canonical=_canonical(found.family, found.codes),
        kind="connector",
        syntax="fine",
        known=described.arrangement_known,
        form=_form(found, found.family),
        fields=_fields(found.parts),
        fault=_fault(found.text, described.fault) if described.fault else None,
        doubts=tuple(_connector_doubts(described, found)),
        connector=_connector(book, described, found),
        contact=None,
        tools=(),
    )


def _connector(book: Catalog, described: Description, found: Decoded) -> messages.ConnectorKindView:
    tooling = described.tooling
    sizes = {each.size for each in described.arrangement.contacts} if described.arrangement else set()
    keying = book.keying(found)
    return messages.ConnectorKindView(
        title=described.family.title if described.family else None,
        shell=found.shell,
        shell_half=_half(found),
        sex=found.sex,
        contacts_supplied=found.contacts_supplied,
        removable=found.removable,
        position=found.position,
        positions=_positions(described, found),
        arrangement=_arrangement(book, described, found),
        keying=None
        if keying is None
        else messages.KeyingView(
            position=keying.position, angles_deg=keying.angles_deg, status=keying.status, source=keying.source
        ),
        release=tooling.release if tooling else None,
        release_status=tooling.release_status if tooling else None,
        contacts=tuple(_contact(each) for each in _fitting(book, found, sizes)),
        tools=tuple(each for each in tool_uses(book, None, found.family) if each.contact_size in sizes)
        if tooling
        else (),
    )


def _half(found: Decoded) -> messages.ShellHalf | None:
    """Plug or receptacle, as the meaning of the sheet says."""
    words = next((each.meaning for each in found.parts if each.name == "sheet"), "")
    return "plug" if "plug" in words else "receptacle" if "receptacle" in words else None


def _positions(described: Description, found: Decoded) -> messages.PositionView:
    arrangement = described.arrangement
    if arrangement is None or arrangement.alternates is None:
        return messages.PositionView(allowed=found.positions, of="form")
    return messages.PositionView(allowed=("N", *arrangement.alternates), of="arrangement")


def _arrangement(book: Catalog, described: Description, found: Decoded) -> messages.ArrangementView:
    row, cavities = described.arrangement, described.cavities
    return messages.ArrangementView(
        standard=found.arrangement_standard,
        name=found.arrangement,
        known=row is not None,
        active=row.active if row else None,
        total=row.total if row else None,
        contacts=tuple(messages.SizeView(contact_size=each.size, count=each.count) for each in row.contacts)
        if row
        else (),
        cavities=tuple(messages.CavityPlaceView(id=each.id, contact_size=each.contact_size) for each in cavities)
        if cavities
        else None,
        cavities_status=described.cavities_status,
        spare_contacts=book.spares(row.total) if row else None,
        inserts=book.inserts(found),
        status=row.status if row else None,
        source=row.source if row else None,
    )


def _fitting(book: Catalog, found: Decoded, sizes: set[str]) -> Iterator[ContactRow]:
    """The contacts of the list that go into this insert: by family, sex, mating size and, where coded, mating cycles."""
    code = found.codes.get("contact", "")
    duty = "extended" if code in _EXTENDED_DUTY else "standard" if code in _STANDARD_DUTY else None
    if found.removable is False or found.sex is None:
        return
    for each in book.contact_rows:
        fits = found.family in each.families and each.sex is found.sex and each.mating_size in sizes
        if fits and duty in (None, each.duty):
            yield each


def _connector_doubts(described: Description, found: Decoded) -> Iterator[str]:
    row = described.arrangement
    if found.status == Status.MEMORY:
        yield f"The form of a {found.family} number is known from memory only: {found.source}."
    if row is None:
        yield f"Arrangement {found.arrangement} is on no list of {found.arrangement_standard} that is known here."
    elif not row.active:
        yield f"Arrangement {row.name} is inactive for new design."
    if row is not None and row.doubt:
        yield f"{row.doubt[0].upper()}{row.doubt[1:].rstrip('.')}."
    if row is not None and described.cavities is None:
        yield f"The cavity ids of {row.name} are not known here, and none are made up."
    if described.cavities_status is Status.DERIVED:
        yield "The cavity ids are derived, not read from the standard."
    if found.removable is None:
        yield "Whether the contacts can be removed is not known from this number."
    if found.sex is None:
        yield "Whether it holds pins or sockets is not known from this number."
    if found.sheet == "3475" and found.shell_class not in ("L", "W"):
        yield "This plug is listed in classes L and W only (public transcription of MIL-DTL-26482H, Supplement 1)."
    yield from _unexplained(found.parts)


def _unexplained(parts: tuple[Part, ...]) -> Iterator[str]:
    for each in parts:
        if each.status == "unknown":
            yield f"What {each.code} means as {each.name} is in no table here."


def _of_contact(book: Catalog, found: Contact) -> messages.PartNumberView:
    canonical = _canonical("AS39029", found.codes)
    row = book.contact(canonical or "")
    fault = _other_sheet(book, found) if row is None else None
    doubts = [*_unexplained(found.parts)]
    if row is None:
        doubts.append("This contact is on no list that is known here; its bands follow from its number all the same.")
    elif row.doubt:
        doubts.append(f"{row.doubt[0].upper()}{row.doubt[1:]}.")
    return messages.PartNumberView(
        number=found.text,
        canonical=canonical,
        kind="contact",
        syntax="fine",
        known=row is not None,
        form=_form(found, "AS39029"),
        fields=_fields(found.parts),
        fault=_fault(found.text, fault) if fault else None,
        doubts=tuple(doubts),
        connector=None,
        contact=_contact(row) if row else _unlisted(canonical or found.text, found),
        tools=(),
    )


def _other_sheet(book: Catalog, found: Contact) -> Fault | None:
    """A BIN is unique across all sheets (AS39029, second-hand): one that is known from another can't be right here."""
    other = next((each for each in book.contact_rows if each.part_number.endswith(f"-{found.bin}")), None)
    if other is None:
        return None
    at = next(each.at for each in found.parts if each.name == "sheet")
    text = f"{found.bin} is the number of {other.part_number}, and no two contacts share one."
    sheet = other.part_number.removeprefix("AS39029/").split("-")[0]
    return Fault("number_of_other_sheet", text, at, (part_numbers.Expected("sheet", (sheet,)),))


def _contact(row: ContactRow) -> messages.ContactView:
    return messages.ContactView(
        part_number=row.part_number,
        known=True,
        sex=row.sex,
        mating_size=row.mating_size,
        wire_awg=row.wire_awg or None,
        serves=row.serves,
        duty=row.duty,
        bands=_bands(row.part_number[-3:]),
        reading_order=contacts.READING_ORDER,
        doubt=row.doubt,
        status=row.status,
        source=row.source,
    )


def _unlisted(canonical: str, found: Contact) -> messages.ContactView:
    sheet = next(each for each in found.parts if each.name == "sheet")
    return messages.ContactView(
        part_number=canonical,
        known=False,
        sex=found.sex,
        mating_size=None,
        wire_awg=None,
        serves=sheet.meaning,
        duty=None,
        bands=_bands(found.bin),
        reading_order=contacts.READING_ORDER,
        doubt="on no list that is known here",
        status=sheet.status,
        source=sheet.source,
    )


def _bands(number: str) -> tuple[messages.BandView, ...]:
    return tuple(messages.BandView(digit=each.digit, colour=each.colour) for each in part_numbers.bands(number))


def _of_tool(book: Catalog, found: Tool) -> messages.PartNumberView:
    canonical = _canonical(found.family, found.codes)
    uses = tuple(tool_uses(book, canonical, None))
    doubts = [*_unexplained(found.parts)]
    if not uses:
        doubts.append("This tool is on no list that is known here.")
    if any(each.status == Status.MEMORY for each in uses):
        doubts.append("That it serves some of these sizes or families is known from memory only.")
    return messages.PartNumberView(
        number=found.text,
        canonical=canonical,
        kind="tool",
        syntax="fine",
        known=bool(uses),
        form=_form(found, found.family),
        fields=_fields(found.parts),
        fault=None,
        doubts=tuple(doubts),
        connector=None,
        contact=None,
        tools=uses,
    )


def tool_uses(book: Catalog, part_number: str | None, family: str | None) -> Iterator[messages.ToolUseView]:
    """What the catalogue says that a tool does, for a part number, for a family, or for both."""
    for each in book.tools:
        if part_number in (None, each.tool.part_number) and (family is None or family in each.families):
            yield messages.ToolUseView(
                part_number=each.tool.part_number,
                half=each.tool.half,
                contact_size=each.tool.contact_size,
                end=each.tool.end,
                families=each.families,
                status=each.tool.status,
                source=each.tool.source,
            )


def _canonical(family: str, codes: dict[str, str]) -> str | None:
    written = part_numbers.encode(family, codes)
    return written if isinstance(written, str) else None


def _form(found: Decoded | Contact | Tool, family: str) -> messages.FormView:
    return messages.FormView(family=family, specification=found.specification, status=found.status, source=found.source)


def _fields(parts: tuple[Part, ...]) -> tuple[messages.FieldView, ...]:
    return tuple(
        messages.FieldView(
            name=each.name,
            code=each.code,
            at=each.at,
            meaning=each.meaning,
            status=each.status,
            source=each.source,
        )
        for each in parts
    )


def _fault(number: str, fault: Fault) -> messages.FaultView:
    return messages.FaultView(
        code=fault.code,
        text=fault.text,
        at=fault.at,
        character=number[fault.at] if fault.at < len(number) else None,
        expected=tuple(messages.ExpectedView(field=each.field, allowed=each.allowed) for each in fault.expected),
    )
