"""The record entry of a work order as a document: what 14 CFR 43.9(a) asks for first, then all that it rests on."""

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime

from service.core import chain
from service.core.records import lines, phrases
from service.core.records.content import (
    CavityLine,
    Count,
    DoneLine,
    Limit,
    MaintenanceRecord,
    PersonLine,
    PlannedLine,
    SignatureLine,
)
from service.records.blocks import Block, Column, Heading, Note, Pairs, Paper, Table

_HASH_SHOWN = 16
"""Digits of an entry's hash on paper; the JSON has all of it."""
_GRAVE = frozenset({"over_limit", "over_mating_limit", "did_not_hold", "blocked", "discrepancies_open"})
"""Remarks that stand in a frame as well. A house choice, no source."""


def paper(record: MaintenanceRecord, sha256: str, language: str = "en") -> Paper:
    """The document. The same record gives the same one, whenever it is asked for."""
    drawn = _Drawn(record, language)
    return Paper(
        title=drawn.say("title"),
        number=f"{phrases.english('record')} {record.number}",
        sha256=sha256,
        dated=record.made_at,
        subtitle=f"{drawn.say('work_order')} {record.statement.work_order}",
        blocks=tuple(drawn.blocks()),
    )


class _Drawn:
    """One record in the making: its words come in English, with another language beside them where that is wanted."""

    def __init__(self, record: MaintenanceRecord, language: str) -> None:
        self._record, self._statement, self._language = record, record.statement, language

    def say(self, code: str) -> str:
        """Words of the document."""
        return phrases.beside(code, self._language)

    def blocks(self) -> Iterable[Block]:
        """Everything in its order."""
        if self._record.corrects is not None:
            reason = f"{self.say('reason')}: {self._record.correction_reason}"
            yield Note(f"{self.say('corrects')} {self._record.corrects}. {reason}", strong=True)
        yield from self._work()
        yield from self._remarks()
        yield from self._signed()
        yield from self._connectors()
        yield from self._counts()
        yield from self._life()
        yield from self._open()
        yield from self._steps()
        yield from self._means()
        yield from self._about()

    def _work(self) -> Iterable[Block]:
        told, record = self._statement, self._record
        yield Heading(self.say("work_done"))
        yield Pairs(
            (
                (self.say("description"), record.description),
                (self.say("reference"), self._reference()),
                (self.say("completed"), f"{_moment(record.completed_at)} UTC\n{self._local()}"),
            ),
            columns=1,
        )
        required = self.say("yes" if told.inspection_required else "no")
        yield Pairs(
            (
                (self.say("work_order"), f"{told.work_order}, {self.say('version')} {told.version}"),
                (self.say("asset"), told.asset or "-"),
                (self.say("began"), f"{_moment(told.began_at)} UTC" if told.began_at else "-"),
                (self.say("inspection_required"), required),
            )
        )
        columns = self._columns(("person", 3), ("badge", 2), ("certificate", 3), ("entries", 1))
        rows = tuple(
            (each.name or "-", each.badge, _certificate(each), str(each.entries)) for each in record.performed_by
        )
        yield Table(columns, rows, self.say("none_stated"), self.say("people"))

    def _local(self) -> str:
        local = self._record.completed_local
        return f"{local:%Y-%m-%d %H:%M} {lines.offset(local)} ({self.say('local')})"

    def _reference(self) -> str:
        reference = self._record.reference
        if reference is None:
            return self.say("none_stated")
        parts = (("revision", reference.revision), ("task", reference.task))
        return ", ".join([reference.document, *(f"{self.say(name)} {value}" for name, value in parts if value)])

    def _remarks(self) -> Iterable[Block]:
        found: dict[str, list[str]] = {}
        for each in self._statement.remarks:
            found.setdefault(each.code, []).extend([each.about] if each.about else [])
        if not found:
            return
        yield Heading(self.say("not_to_be_missed"))
        for code in found:
            if code in _GRAVE:
                yield Note(self.say(f"remark_{code}"), strong=True)
        rows = tuple((self.say(f"remark_{code}"), ", ".join(about) or "-") for code, about in found.items())
        yield Table(self._columns(("what", 6), ("where", 3)), rows, "")

    def _signed(self) -> Iterable[Block]:
        yield Heading(self.say("signatures"))
        columns = self._columns(
            ("meaning", 3), ("person", 3), ("certificate", 3), ("signed_at", 3), ("statement_hash", 4)
        )
        every = (*self._statement.signatures, self._record.approval)
        yield Table(columns, tuple(self._signature(each) for each in every), self.say("none_stated"))
        yield Note(self.say("approves"), strong=True)

    def _signature(self, each: SignatureLine) -> tuple[str, ...]:
        meaning = self.say(each.meaning)
        if each.meaning == "inspected":
            meaning += f": {self.say(each.outcome)}"
        if each.exception_reason:
            meaning += f"\n{self.say('own_work')}: {each.exception_reason}"
        if each.remark:
            meaning += f"\n{each.remark}"
        signed = f"{_moment(each.signed_at, seconds=True)}\n{self.say(each.method)}"
        return meaning, f"{each.name}\n{each.badge}", _certificate(each), signed, each.sha256

    def _connectors(self) -> Iterable[Block]:
        yield Heading(self.say("connectors"))
        columns = self._columns(("serial", 2), ("part_number", 3), ("cage", 1), ("uii", 3), ("place", 3), ("mating", 2))
        rows = []
        for each in self._statement.connectors:
            place = " ".join(part for part in (each.asset, each.zone, each.position) if part)
            mating = f"{each.matings_before} > {each.matings_after}"
            if each.mating_limit is not None:
                mating += f" {self.say('of')} {each.mating_limit.value} {self._verified(each.mating_limit)}"
            rows.append((each.serial, each.part_number or "-", each.cage or "-", each.uii or "-", place or "-", mating))
        yield Table(columns, tuple(rows), self.say("no_counts"))

    def _counts(self) -> Iterable[Block]:
        yield Heading(self.say("counts"))
        columns = (
            *self._columns(("serial", 3), ("cavity", 1.6), ("size", 1.2)),
            *self._columns(("before", 1.8), ("after", 1.8), ("limit", 1.8), ("remaining", 2.2), figures=True),
            *self._columns(("basis", 5)),
        )
        rows = tuple(self._cavity(each) for each in self._statement.cavities)
        yield Table(columns, rows, self.say("no_counts"))
        yield Note(self.say("counts_note"))

    def _cavity(self, each: CavityLine) -> tuple[str, ...]:
        limit = self.say("no_limit_stated") if each.limit is None else str(each.limit.value)
        remaining = self.say("not_known") if each.after.remaining is None else str(each.after.remaining)
        basis = "-" if each.limit is None else self._source(each.limit)
        renewed = each.before.retainer_life != each.after.retainer_life
        before, after = (self._begun(count, life=renewed) for count in (each.before, each.after))
        return each.serial, each.cavity, each.contact_size, before, after, limit, remaining, basis

    def _begun(self, count: Count, *, life: bool) -> str:
        known = "" if count.history_known else f"{self.say('lower_bound')} "
        return f"{known}{count.cycles_begun}" + (
            f"\n({self.say('retainer_life')} {count.retainer_life})" if life else ""
        )

    def _source(self, limit: Limit) -> str:
        parts = (
            ("", limit.document),
            (f"{self.say('revision')} ", limit.revision),
            (f"{self.say('paragraph')} ", limit.paragraph),
        )
        named = ", ".join(f"{name}{value}" for name, value in parts if value)
        return f"{self.say(limit.basis)}. {named or self.say('none_stated')}. {self._verified(limit)}"

    def _verified(self, limit: Limit) -> str:
        if not limit.verified:
            return self.say("not_verified")
        return f"{self.say('verified_by')} {limit.verified_by}, {limit.verified_on}"

    def _life(self) -> Iterable[Block]:
        if not self._statement.life_status:
            return
        yield Heading(self.say("life_status"))
        columns = (
            *self._columns(("part_number", 3), ("serial", 2), ("of", 2)),
            *self._columns(("accumulated", 2.3), ("limit", 1.5), ("remaining", 2.1), figures=True),
            *self._columns(("as_of", 2), ("basis", 4)),
        )
        rows = []
        for each in self._statement.life_status:
            of = self.say(each.of) + (f", {self.say('cavity')} {each.cavity}" if each.cavity else "")
            left = self.say("not_known") if each.remaining is None else str(each.remaining)
            known = "" if each.history_known else f"{self.say('lower_bound')} "
            figures = (f"{known}{each.accumulated}", str(each.limit.value), left)
            rows.append(
                (each.part_number or "-", each.serial, of, *figures, _moment(each.as_of), self._source(each.limit))
            )
        yield Table(columns, tuple(rows), self.say("no_counts"))
        yield Note(self.say("life_note"))

    def _open(self) -> Iterable[Block]:
        yield Heading(self.say("discrepancies"))
        columns = self._columns(("serial", 2), ("cavity", 1), ("what", 6), ("of", 2))
        rows = tuple(
            (each.serial, each.cavity or "-", each.text, self.say("this_work" if each.of_this_work else "beside"))
            for each in self._statement.discrepancies
        )
        yield Table(columns, rows, self.say("none_open"))

    def _steps(self) -> Iterable[Block]:
        yield Heading(self.say("steps"))
        columns = self._columns(
            ("when", 2.4), ("what", 3.4), ("with", 3.4), ("result", 2), ("by", 2), ("number_and_hash", 2.8)
        )
        yield Table(columns, tuple(self._done(each) for each in self._statement.done), self.say("no_steps"))
        yield Note(f"{self.say('steps_note')} {self.say('chain_note')}")
        if self._statement.planned:
            yield Heading(self.say("plan"), 2)
            planned = self._columns(("step", 1), ("what", 4), ("with", 4), ("done", 2))
            yield Table(planned, tuple(self._planned(each) for each in self._statement.planned), self.say("no_plan"))
        if self._statement.entered_in_error:
            yield Heading(self.say("errors"), 2)
            rows = tuple(
                (*self._done(each.line)[:5], f"{_moment(each.corrected_at)}\n{each.corrected_by_person}\n{each.reason}")
                for each in self._statement.entered_in_error
            )
            yield Table((*columns[:5], *self._columns(("corrected", 2.8))), rows, self.say("no_steps"))

    def _done(self, each: DoneLine) -> tuple[str, ...]:
        where = each.cavity or " ".join(each.cavities)
        what = f"{self.say(f'kind_{each.kind}')}\n{each.serial}" + (f" {where}" if where else "")
        told = (("tool", each.tool), ("contact", each.contact))
        means = "\n".join(f"{self.say(name)} {value}" for name, value in told if value)
        number = f"{each.number}: {each.hash[:_HASH_SHOWN]}"
        when = f"{_moment(each.performed_at)}\n{each.local_offset}"
        return when, what, means or "-", self._result(each), each.performed_by, number

    def _result(self, each: DoneLine) -> str:
        told = []
        if each.held is not None:
            told.append(self.say("held" if each.held else "did_not_hold"))
        if each.level is not None:
            told.append(self.say("level" if each.level else "not_level"))
        if each.force_n is not None:
            told.append(f"{each.force_n:g} N")
        if each.accepted is not None:
            told.append(self.say("accepted" if each.accepted else "refused"))
        told.extend(code.replace("_", " ") for code in each.noted)
        if each.note:
            told.append(each.note)
        return "\n".join(told) or "-"

    def _planned(self, each: PlannedLine) -> tuple[str, ...]:
        where = " ".join(part for part in (each.connector, each.cavity) if part)
        what = " ".join(part for part in (self.say(f"act_{each.act.value}"), where) if part)
        what += "".join(f"\n{part}" for part in (each.task, each.note) if part)
        means = "\n".join(
            f"{self.say(name)} {value}" for name, value in (("tool", each.tool), ("contact", each.contact)) if value
        )
        done = self.say("yes" if each.done else "not_shown")
        done += "".join(f"\n{self.say(f'remark_other_{differs}')}" for differs in each.differs)
        return str(each.step), what, means or "-", done

    def _means(self) -> Iterable[Block]:
        yield Heading(self.say("means"))
        contacts = self._columns(("contact", 6), ("uses", 1.5))
        rows = tuple(
            (each.contact or self.say("not_stated"), str(each.insertions)) for each in self._statement.contacts
        )
        yield Table(contacts, rows, self.say("no_means"))
        tools = self._columns(("tool", 3), ("part_number", 3), ("due", 2), ("uses", 1.5))
        used = []
        for each in self._statement.tools:
            due = (each.due_on or "-") + (f" {self.say('overdue')}" if each.overdue else "")
            used.append((each.tool or self.say("not_stated"), each.part_number or "-", due, str(each.uses)))
        yield Table(tools, tuple(used), self.say("no_means"))

    def _about(self) -> Iterable[Block]:
        record = self._record
        yield Heading(self.say("identity"))
        stated = chain.digest(chain.canonical(record.statement)).hex()
        yield Pairs(
            (
                (self.say("record_id"), str(record.id)),
                (self.say("installation"), str(record.installation)),
                (self.say("made"), f"{_moment(record.made_at, seconds=True)} UTC, {record.made_by}"),
                (self.say("statement_hash"), stated),
                (self.say("facts_hash"), record.statement.facts_sha256),
            ),
            columns=1,
        )
        if self._language != "en":
            yield Note(self.say("language_note"))

    def _columns(self, *named: tuple[str, float], figures: bool = False) -> tuple[Column, ...]:
        told = ((self.say(code), width) for code, width in named)
        return tuple(Column(words[:1].upper() + words[1:], width, figures) for words, width in told)


def _moment(at: datetime, *, seconds: bool = False) -> str:
    return at.astimezone(UTC).strftime("%Y-%m-%d %H:%M:%S" if seconds else "%Y-%m-%d %H:%M")


def _certificate(each: PersonLine | SignatureLine) -> str:
    held: Sequence[str] = [part for part in (each.certificate_kind, each.certificate_number) if part]
    return " ".join(held) or "-"
