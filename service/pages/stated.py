"""The parts of a statement as a page shows them: each field of it has its place here, so that what is signed was to be seen."""

from collections.abc import Sequence

from service.core.drawings import signs
from service.core.markup import EMPTY, Markup, element, joined, text
from service.core.records import phrases
from service.core.records.content import (
    CavityLine,
    ConnectorLine,
    Count,
    DiscrepancyLine,
    DoneLine,
    LifeStatus,
    Limit,
    PlannedLine,
    SignatureLine,
    ToolLine,
    WorkOrderStatement,
)
from service.pages import addresses, layout, tables, wording
from service.pages.layout import link
from service.pages.sheet import code
from service.pages.tables import Column

_COUNTS = (
    Column("Cavity"),
    Column("Before", number=True),
    Column("After", number=True),
    Column("Limit"),
    Column("Left", number=True),
    Column("Wear"),
    Column("Contact"),
)
_DONE = (
    Column("When (UTC)"),
    Column("What"),
    Column("With"),
    Column("Result"),
    Column("By"),
    Column("Step"),
    Column("Entry"),
)
_PLANNED = (Column("Step"), Column("What"), Column("With"), Column("Done"))
_LIFE = (
    Column("Part"),
    Column("Of"),
    Column("Accumulated", number=True),
    Column("Limit"),
    Column("Remaining", number=True),
    Column("As of (UTC)"),
)
_OPEN = (Column("What"), Column("Where"), Column("Of"))
_SIGNED = (Column("Meaning"), Column("Who"), Column("Certificate"), Column("When (UTC)"), Column("On"))
_PEOPLE = (Column("Person"), Column("Badge"), Column("Certificate"), Column("Entries", number=True))
_CONTACTS = (Column("Contact"), Column("Insertions", number=True))
_TOOLS = (Column("Tool"), Column("Part number"), Column("Check due"), Column("Uses", number=True))
_HASH = 16


def reference(told: WorkOrderStatement) -> str:
    """The data that the work goes by."""
    found = told.reference
    if found is None:
        return "none stated"
    parts = (("revision ", found.revision), ("task ", found.task))
    return ", ".join([found.document, *(f"{name}{value}" for name, value in parts if value)])


def connectors(told: WorkOrderStatement) -> Markup:
    """Each with where it was when the work ended, and its mating cycles."""
    if not told.connectors:
        return text("-")
    return layout.lines(*(_connector(each) for each in told.connectors))


def _connector(each: ConnectorLine) -> Markup:
    parts = [each.part_number, f"CAGE {each.cage}" if each.cage else None, f"UII {each.uii}" if each.uii else None]
    parts.append(" ".join(part for part in (each.asset, each.zone, each.position) if part) or None)
    if each.matings_before != each.matings_after:
        parts.append(f"mated {each.matings_before} > {each.matings_after}")
    if each.mating_limit is not None:
        verified = "" if each.mating_limit.verified else ", not verified"
        parts.append(f"mating limit {each.mating_limit.value}{verified}")
    if each.retired:
        parts.append("retired")
    told = "; ".join(part for part in parts if part)
    return joined(link(each.serial, addresses.connector(each.connector)), text(f" {told}"))


def remarks(told: WorkOrderStatement) -> Markup:
    """What must not be missed."""
    if not told.remarks:
        return EMPTY
    found: dict[str, list[str]] = {}
    for each in told.remarks:
        found.setdefault(each.text, []).extend([each.about] if each.about else [])
    items = (
        joined(element("b", text(words)), text(f" {', '.join(about)}" if about else ""))
        for words, about in found.items()
    )
    return element("section", element("h2", text("Not to be missed")), layout.lines(*items), class_="open grave plain")


def counts(told: WorkOrderStatement) -> Markup:
    """Counts before the first step of the work in each cavity, and after its last."""
    rows = [_cavity(each) for each in told.cavities]
    table = tables.listed("Cycles begun, by the fold of the whole history", _COUNTS, rows)
    shown = table if rows else layout.nothing("The work touched no cavity.")
    return element("section", element("h2", text("Counts before and after")), shown)


def _cavity(each: CavityLine) -> tuple[Markup, ...]:
    held = {True: "in", False: "empty", None: "not known"}[each.after.occupied]
    flags = [words for said, words in ((each.held is False, "did NOT hold"), (each.blocked, "blocked")) if said]
    between = f" ({wording.counted(each.other_entries, 'other entry', 'other entries')} between)"
    return (
        joined(
            link(each.serial, addresses.connector(each.connector, "history", cavity=each.cavity)),
            text(" "),
            code(each.cavity),
            text(f" size {each.contact_size}"),
        ),
        _count(each.before),
        joined(_count(each.after), text(between if each.other_entries else "")),
        _limit(each.limit),
        wording.left(each.after.remaining),
        signs.named(each.after.wear),
        text(", ".join([held, *flags])),
    )


def _count(each: Count) -> Markup:
    life = f" (life {each.retainer_life})" if each.retainer_life > 1 else ""
    shown = f"{'' if each.history_known else 'at least '}{each.cycles_begun}{life}"
    told = f"{each.insertions} insertions, {each.removals} removals, {each.tine_entries} tool entries"
    return element("span", text(shown), title=told)


def _limit(limit: Limit | None) -> Markup:
    if limit is None:
        return element("span", text("no limit"), class_="unverified")
    parts = (("", limit.document), ("rev. ", limit.revision), ("para. ", limit.paragraph))
    paper = ", ".join(f"{name}{value}" for name, value in parts if value)
    told = text(f"{limit.value}, {limit.basis}. {paper or 'No document'}. ")
    by = text(f"Verified by {limit.verified_by} on {limit.verified_on}.")
    return joined(told, by if limit.verified else wording.unverified())


def life(told: WorkOrderStatement) -> Markup:
    """The status of parts whose limit is mandatory."""
    if not told.life_status:
        return EMPTY
    rows = [_life(each) for each in told.life_status]
    table = tables.listed("Current status when the work ended (14 CFR 43.10)", _LIFE, rows)
    return element("section", element("h2", text("Life status")), table)


def _life(each: LifeStatus) -> tuple[Markup, ...]:
    known = "" if each.history_known else "at least "
    return (
        text(f"{each.part_number or 'part number not known'} S/N {each.serial}"),
        text(each.of + (f", cavity {each.cavity}" if each.cavity else "")),
        text(f"{known}{each.accumulated}"),
        _limit(each.limit),
        wording.left(each.remaining),
        wording.moment(each.as_of),
    )


def planned(told: WorkOrderStatement) -> Markup:
    """The steps planned, each with whether an entry shows it."""
    if not told.planned:
        return EMPTY
    table = tables.listed("In the order of the plan", _PLANNED, [_planned(each) for each in told.planned])
    return element("section", element("h2", text("Steps planned")), table)


def _planned(each: PlannedLine) -> tuple[Markup, ...]:
    where = " ".join(part for part in (each.connector, each.cavity) if part)
    notes = "; ".join(part for part in (each.task, each.note) if part)
    differs = "".join(f", another {name} than planned" for name in each.differs)
    done = text(f"yes{differs}") if each.done else element("span", text("no entry"), class_="flag middling")
    means = ", ".join(f"{name} {value}" for name, value in (("tool", each.tool), ("contact", each.contact)) if value)
    return text(each.step), text(f"{phrases.act(each.act)} {where} {notes}".strip()), text(means or "-"), done


def done(told: WorkOrderStatement) -> Markup:
    """Every entry of the work, and those that were made in error."""
    rows = [_done(each) for each in told.done]
    shown = tables.listed("In the order of the work", _DONE, rows) if rows else layout.nothing("No entry names it.")
    errors = (
        joined(
            text("At "),
            wording.moment(each.line.performed_at),
            text(f" {phrases.english(f'kind_{each.line.kind}')} {each.line.serial} {each.line.cavity or ''} by "),
            text(f"{each.line.performed_by}; corrected by {each.corrected_by_person} "),
            wording.moment(each.corrected_at),
            text(f": {each.reason}"),
        )
        for each in told.entered_in_error
    )
    wrong = joined(element("h3", text("Entered in error")), layout.lines(*errors)) if told.entered_in_error else EMPTY
    return element("section", element("h2", text("Steps done")), shown, wrong)


def _done(each: DoneLine) -> tuple[Markup, ...]:
    where = each.cavity or " ".join(each.cavities)
    means = ", ".join(f"{name} {value}" for name, value in (("tool", each.tool), ("contact", each.contact)) if value)
    return (
        joined(wording.moment(each.performed_at), text(f" {each.local_offset}")),
        joined(text(f"{phrases.english(f'kind_{each.kind}')} {each.serial} "), code(where)),
        text(means or "-"),
        text(_result(each) or "-"),
        text(each.performed_by),
        text(each.step or ("beyond the plan" if each.counts else "-")),
        element("span", text(f"{each.number}: {each.hash[:_HASH]}"), title=each.hash),
    )


def _result(each: DoneLine) -> str:
    told = []
    if each.held is not None:
        told.append("held" if each.held else "did NOT hold")
    if each.level is not None:
        told.append("level" if each.level else "NOT level")
    if each.force_n is not None:
        told.append(f"{each.force_n:g} N")
    if each.accepted is not None:
        told.append("accepted" if each.accepted else "REFUSED")
    told.extend(name.replace("_", " ") for name in each.noted)
    if each.note:
        told.append(each.note)
    return ", ".join(told)


def means(told: WorkOrderStatement) -> Markup:
    """Contacts that went in and tools that were used."""
    contacts = [(text(each.contact or "not stated"), text(each.insertions)) for each in told.contacts]
    tools = [_tool(each) for each in told.tools]
    if not contacts and not tools:
        return EMPTY
    return element(
        "section",
        element("h2", text("Contacts and tools")),
        element(
            "div",
            tables.listed("Contacts that went in", _CONTACTS, contacts) if contacts else EMPTY,
            tables.listed("Tools that were used", _TOOLS, tools) if tools else EMPTY,
            class_="beside",
        ),
    )


def _tool(each: ToolLine) -> tuple[Markup, ...]:
    late = element("span", text("overdue"), class_="flag grave") if each.overdue else EMPTY
    due = joined(text(f"{each.due_on or '-'} "), late)
    return text(each.tool or "not stated"), text(each.part_number or "-"), due, text(each.uses)


def performers(told: WorkOrderStatement) -> Markup:
    """Who did the work."""
    if not told.performers:
        return EMPTY
    rows = [
        (
            text(each.name or "not on the list"),
            text(each.badge),
            text(_certificate(each.certificate_kind, each.certificate_number)),
            text(each.entries),
        )
        for each in told.performers
    ]
    return element(
        "section", element("h2", text("Performed by")), tables.listed("Whoever an entry names", _PEOPLE, rows)
    )


def _certificate(kind: str | None, number: str | None) -> str:
    return " ".join(part for part in (kind, number) if part) or "-"


def discrepancies(told: WorkOrderStatement, caption: str = "Open now") -> Markup:
    """What is open of this work, and at the cavities that it touched."""
    rows = [_open(each) for each in told.discrepancies]
    table = tables.listed(caption, _OPEN, rows) if rows else layout.nothing(f"{caption}: nothing.")
    return element("section", element("h2", text("Open discrepancies")), table)


def _open(each: DiscrepancyLine) -> tuple[Markup, ...]:
    where = addresses.page(addresses.DISCREPANCIES, connector=str(each.connector))
    return (
        text(each.text),
        joined(link(each.serial, where), text(f" {each.cavity or ''}")),
        text("this work" if each.of_this_work else "a cavity that it touched"),
    )


def signatures(told: WorkOrderStatement) -> Markup:
    """Who has signed so far, the oldest first."""
    return signed(told.signatures)


def signed(lines: Sequence[SignatureLine]) -> Markup:
    """Who signed what, the oldest first."""
    rows = [_signature(each) for each in lines]
    table = tables.listed("The oldest first", _SIGNED, rows) if rows else layout.nothing("Nobody has signed.")
    return element("section", element("h2", text("Signatures")), table)


def _signature(each: SignatureLine) -> tuple[Markup, ...]:
    refused = element("span", text("refused"), class_="flag grave") if each.outcome == "refused" else EMPTY
    told = [part for part in (each.remark, each.exception_reason and f"own work: {each.exception_reason}") if part]
    return (
        joined(text(f"{each.meaning} "), refused, text(" ".join(told))),
        text(f"{each.name}, {each.badge}"),
        text(_certificate(each.certificate_kind, each.certificate_number)),
        joined(wording.moment(each.signed_at), text(f" by {each.method}")),
        element("span", text(each.sha256[:_HASH]), title=each.sha256),
    )
