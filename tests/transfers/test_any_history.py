"""Properties: whatever was recorded, it arrives as it was, and the log card is a function of the ledger."""

import random
import uuid
from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.core import chain, fold
from service.core.chain import DefinitionBody, LedgerBody
from service.core.entries import Entry, HouseRule, Kind, Recorded
from service.core.transfers import bundle, card, contents
from service.core.transfers.bundle import Link
from tests import histories
from tests.conftest import run
from tests.transfers.shops import Opened, Shop
from tests.transfers.test_tampering import AT, KEY, files_of, manifest_of

CAVITIES = ("A", "C", "c")
_ACTS = st.sampled_from(
    [
        *(Kind.INSERTION, Kind.REMOVAL, Kind.TINE_ENTRY, Kind.SEATING_TEST, Kind.FINDING, Kind.FINDING_CLOSED),
        *(Kind.MATING, Kind.UNMATING, Kind.PLACEMENT, Kind.RENEWAL, Kind.RETIREMENT, Kind.CARRY_IN),
        *(Kind.CORRECTION, Kind.ACCEPTANCE, Kind.RESOLUTION),
    ]
)
_WORDS = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Cn")), min_size=1, max_size=12)


@st.composite
def ledgers(draw: st.DrawFn) -> list[Recorded]:
    """Histories of any kinds in any order of time, with references forwards, backwards and into nothing."""
    made: list[Recorded] = []
    for number in range(1, draw(st.integers(0, 14)) + 1):
        kind = draw(_ACTS)
        other = uuid.UUID(int=draw(st.integers(1, 16)))
        fields: dict[str, object] = {}
        if kind in (Kind.INSERTION, Kind.REMOVAL, Kind.TINE_ENTRY, Kind.SEATING_TEST):
            fields["cavity"] = draw(st.sampled_from(CAVITIES))
        if kind in (Kind.RENEWAL, Kind.FINDING, Kind.CARRY_IN):
            fields["cavity"] = draw(st.sampled_from((*CAVITIES, None)))
        if kind is Kind.CARRY_IN:
            fields["insertions"] = draw(st.integers(0, 5))
        if kind is Kind.SEATING_TEST:
            fields["force_n"] = draw(st.floats(0, 50))
        if kind is Kind.PLACEMENT:
            fields["asset"] = draw(_WORDS)
        if kind is Kind.CORRECTION:
            fields["corrects"] = other
        if kind in (Kind.RESOLUTION, Kind.ACCEPTANCE):
            fields["refers_to"] = other
        fields["note"] = draw(st.none() | _WORDS)
        at = AT + timedelta(minutes=draw(st.integers(0, 60)))
        entry = Entry(
            id=uuid.UUID(int=number),
            connector="x",
            kind=kind,
            performed_at=at,
            performed_by=draw(_WORDS),
            **fields,  # type: ignore[arg-type]
        )
        made.append(Recorded(entry=entry, recorded_at=AT + timedelta(minutes=number), recorded_by="x"))
    return made


def links_of(history: list[Recorded]) -> tuple[tuple[Link, ...], tuple[Link, ...], DefinitionBody]:
    """The chains of a history."""
    known = DefinitionBody(definition=histories.definition(), recorded_at=AT, recorded_by="x", reason="registered")
    body = chain.canonical_definition(known)
    previous = chain.link(b"", body)
    definitions, links = (Link(body, previous),), []
    for number, each in enumerate(history, 1):
        body = chain.canonical_body(LedgerBody(connector=histories.CONNECTOR, number=number, recorded=each))
        previous = chain.link(previous, body)
        links.append(Link(body, previous))
    return definitions, tuple(links), known


@given(ledgers())
def test_any_history_survives_the_bundle(history: list[Recorded]) -> None:
    """Packed and read, any history is what it was, to the byte of every body and hash."""
    definitions, entries, known = links_of(history)
    files = files_of(definitions, entries)
    told = manifest_of(files, entries or definitions, len(entries))
    held = bundle.read(bundle.pack(told, files, KEY))
    assert (held.definitions, held.entries) == (definitions, entries)
    found = contents.read(held)
    assert found.definitions == (known,)
    assert list(found.history) == history


@given(ledgers())
def test_a_log_card_counts_as_the_fold_does(history: list[Recorded]) -> None:
    """The last life of each cavity on the card is the state that the fold gives; every entry and open discrepancy is on it."""
    definitions, entries, known = links_of(history)
    source = card.Source([known], history, [each.hash.hex() for each in entries], definitions[-1].hash.hex())
    made = card.card(source, HouseRule())
    assert chain.canonical(made) == chain.canonical(card.card(source, HouseRule()))
    state = fold.fold(known.definition, history)
    last = {each.cavity: each for each in made.lives}
    for cavity in state.cavities:
        shown = last[cavity.id]
        assert (shown.life, shown.insertions, shown.removals, shown.tine_entries, shown.until_entry) == (
            *(cavity.life, cavity.insertions, cavity.removals, cavity.tine_entries),
            None,
        )
        assert [each.life for each in made.lives if each.cavity == cavity.id] == list(range(1, cavity.life + 1))
    assert [each.number for each in made.entries] == list(range(1, len(history) + 1))
    opened = {(each.entry, each.code, each.cavity) for each in made.discrepancies if each.outcome == "open"}
    numbers = {each.entry.id: number for number, each in enumerate(history, 1)}
    assert opened == {
        *((numbers[each.entry], each.code.value, None) for each in state.whole.discrepancies),
        *((numbers[one.entry], one.code.value, part.id) for part in state.cavities for one in part.discrepancies),
    }
    assert made.hash == (entries[-1] if entries else definitions[0]).hash.hex()


async def _something(shop: Shop, chance: random.Random) -> None:
    kind = chance.choice(["insertion", "removal", "tine_entry", "renewal", "mating", "placement", "revision"])
    if kind == "revision":
        await shop.revise(chance.randint(1, 20))
    elif kind == "placement":
        await shop.record(kind, asset=chance.choice(["TN-1", "TN-2"]))
    elif kind == "mating":
        await shop.record(kind)
    else:
        await shop.record(kind, cavity=chance.choice(CAVITIES))


@pytest.mark.parametrize("seed", range(3))
def test_any_way_between_owners_keeps_one_chain(opened: Opened, seed: int) -> None:
    """Whoever has it, works on it or only talks of it: every chain is a beginning of the longest, and verify passes everywhere."""

    async def work() -> None:
        chance = random.Random(seed)
        async with opened("one", "two", "three") as shops:
            holder = shops[0]
            await holder.register()
            for _ in range(14):
                step = chance.random()
                if step < 0.35:
                    taker = chance.choice([each for each in shops if each is not holder])
                    _, data = await holder.hand_over()
                    await taker.take_in(data)
                    holder = taker
                elif step < 0.5:
                    other = chance.choice([each for each in shops if each is not holder])
                    assert (await other.record("tine_entry", cavity="A")).outcome == "parked"
                else:
                    await _something(holder, chance)
            whole = await holder.chain()
            for shop in shops:
                assert await shop.breaks() == []
                rows = await shop.owner.fetch("select body, hash from tinebook.entry order by number")
                mine = [(row["body"], row["hash"]) for row in rows]
                longest = whole[len(whole) - (await holder.head()).entries :]
                assert mine == longest[: len(mine)]
            now = await holder.head()
            bodies = [chain.decode_body(body).recorded for body, _ in whole[now.definition_number :]]
            assert fold.fold(now.definition, bodies) == now.state

    run(work())
