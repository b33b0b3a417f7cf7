"""A connector that goes to another owner and comes back."""

import uuid
from datetime import timedelta

import pytest

from service import problems
from service.core import chain, entries
from service.core.transfers import bundle
from service.problems import ProblemRaised
from service.store import database
from service.workflow import connectors, transfer_keys
from tests.conftest import run
from tests.transfers.shops import CONNECTOR, Opened, Shop


async def worked_on(shop: Shop) -> None:
    """A connector with a life: cycles over its rating, a correction, a resolution, a renewal, a revised rating, a place."""
    await shop.register()
    await shop.record("placement", asset="TN-101", zone="410", position="P12")
    for _ in range(4):
        await shop.record("insertion", cavity="A", work_order="WO-1", tool="T-20-03")
        await shop.record("removal", cavity="A", work_order="WO-1")
    wrong = await shop.record("insertion", cavity="C", force_n=12.5)
    await shop.record("correction", corrects=wrong.id, note="Scanned twice")
    odd = await shop.record("removal", cavity="c")
    await shop.record("resolution", refers_to=odd.id, note="It had come with a contact in")
    await shop.revise(5)
    await shop.record("renewal", cavity="A", note="By the approved practice")
    await shop.record("insertion", cavity="A", note="ž Ω \U0001f600")
    await shop.record("removal", cavity="C")


def test_it_arrives_as_it_was(opened: Opened) -> None:
    """Id, entries, hashes, definitions and state are the same on the other side, and verify passes on both."""

    async def work() -> None:
        async with opened("seller", "buyer") as (seller, buyer):
            await worked_on(seller)
            before, was = await seller.chain(), await seller.head()
            view, data = await seller.hand_over()
            taken, new = await buyer.take_in(data)
            assert new
            assert (taken.id, taken.direction, taken.party, taken.hash) == (view.id, "in", "seller", was.hash.hex())
            assert await buyer.chain() == before == await seller.chain()
            now = await buyer.head()
            assert (now.state, now.hash, now.definition, now.entries) == (
                was.state,
                was.hash,
                was.definition,
                was.entries,
            )
            assert not now.handed_over
            assert await seller.breaks() == await buyer.breaks() == []

    run(work())


def test_further_entries_chain_on(opened: Opened) -> None:
    """What is recorded at the new owner goes on from the last hash that came, and their lists hold the connector."""

    async def work() -> None:
        async with opened("seller", "buyer") as (seller, buyer):
            await worked_on(seller)
            _, data = await seller.hand_over()
            await buyer.take_in(data)
            last = (await buyer.head()).hash
            result = await buyer.record("insertion", cavity="A")
            assert result.outcome == "recorded"
            assert result.discrepancies == ("inserted_while_occupied",)
            body, digest = (await buyer.chain())[-1]
            assert digest == chain.link(last, body)
            assert await buyer.breaks() == []
            opened_ = await buyer.owner.fetch(
                "select code from tinebook.open_discrepancy where connector = $1", CONNECTOR
            )
            assert {row["code"] for row in opened_} >= {"inserted_while_occupied", "removed_while_empty"}

    run(work())


def test_who_has_left_is_never_go(opened: Opened) -> None:
    """After the hand-over every step is answered no_go with the reason, and the connector stands on no list of what is due."""

    async def work() -> None:
        async with opened("seller", "buyer") as (seller, _):
            await worked_on(seller)
            assert (await seller.answer("remove")).answer == "go"
            assert await seller.owner.fetchval("select count(*) from tinebook.open_discrepancy") > 0
            await seller.hand_over()
            for action in ("insert", "remove", "replace"):
                answered = await seller.answer(action)
                assert answered.answer == "no_go"
                assert [each.answer for each in answered.steps] == ["no_go"]
                assert answered.steps[0].reasons[0].code == "handed_over"
            for table in ("limit_line", "worn_cavity", "open_discrepancy"):
                assert await seller.owner.fetchval(f"select count(*) from tinebook.{table}") == 0
            assert await seller.breaks() == []

    run(work())


def test_facts_are_kept_and_wait(opened: Opened) -> None:
    """A fact about a connector that has left is kept, outside its chain; it joins when the connector comes back."""

    async def work() -> None:
        async with opened("seller", "buyer") as (seller, buyer):
            await worked_on(seller)
            _, data = await seller.hand_over()
            left = await seller.chain()
            late = await seller.record("removal", cavity="A")
            assert late.outcome == "parked"
            assert await seller.chain() == left
            row = await seller.owner.fetchrow("select reason from tinebook.parked where id = $1", late.id)
            assert row is not None
            assert "handed over" in row["reason"]
            with pytest.raises(ProblemRaised) as raised:
                await connectors.assign_parked(
                    seller.connection, seller.scribe, seller.house, late.id or CONNECTOR, CONNECTOR
                )
            assert raised.value.problem.type == problems.Type.HANDED_OVER.uri
            with pytest.raises(ProblemRaised, match="handed over"):
                await seller.revise(7)
            await buyer.take_in(data)
            await buyer.record("tine_entry", cavity="C")
            _, back = await buyer.hand_over()
            await seller.take_in(back)
            assert [body for body, _ in await seller.chain()][: len(left) + 1] == [
                body for body, _ in await buyer.chain()
            ]
            assert chain.decode_body((await seller.chain())[-1][0]).recorded.entry.id == late.id
            assert await seller.breaks() == await buyer.breaks() == []

    run(work())


def test_a_fact_that_was_recorded_on_both_sides_is_one(opened: Opened) -> None:
    """What waited here and was recorded there under its id counts once when the connector comes back."""

    async def work() -> None:
        async with opened("seller", "buyer") as (seller, buyer):
            await worked_on(seller)
            _, data = await seller.hand_over()
            late = await seller.record("removal", cavity="A")
            kept = await seller.owner.fetchval("select body from tinebook.parked where id = $1", late.id)
            fact = entries.EntryDecoder.decode(_entry(kept))
            await buyer.take_in(data)
            assert (await buyer.repeat(fact)).outcome == "recorded"
            _, back = await buyer.hand_over()
            await seller.take_in(back)
            assert await seller.chain() == await buyer.chain()
            assert (await seller.repeat(fact)).outcome == "already_recorded"
            assert await seller.breaks() == []

    run(work())


def _entry(parked: bytes) -> bytes:
    import msgspec  # noqa: PLC0415 - for this alone

    return bytes(msgspec.json.decode(parked, type=dict[str, msgspec.Raw])["entry"])


def test_it_goes_on_over_three_owners(opened: Opened) -> None:
    """From one owner to the next and back to the first the chain stays one, and each bundle carries the one before it."""

    async def work() -> None:
        async with opened("first", "second", "third") as shops:
            await worked_on(shops[0])
            giver = shops[0]
            for taker in (*shops[1:], shops[0]):
                _, data = await giver.hand_over()
                held = bundle.read(data)
                assert (bundle.EARLIER in held.files) == (giver is not shops[0])
                await taker.take_in(data)
                await taker.record("tine_entry", cavity="C")
                await taker.revise(6 + len(held.definitions))
                giver = taker
            whole = await shops[0].chain()
            assert (await shops[0].head()).definition_number == 5
            assert len(whole) == 5 + (await shops[0].head()).entries
            for shop in shops:
                assert await shop.breaks() == []
            assert not (await shops[0].head()).handed_over
            assert (await shops[1].head()).handed_over
            assert (await shops[2].head()).handed_over

    run(work())


def test_the_same_bundle_again_changes_nothing(opened: Opened) -> None:
    """Taken in twice, a bundle is taken in once; also after the connector went on."""

    async def work() -> None:
        async with opened("seller", "buyer") as (seller, buyer):
            await worked_on(seller)
            _, data = await seller.hand_over()
            first, _ = await buyer.take_in(data)
            before = await buyer.counts()
            second, new = await buyer.take_in(data)
            assert (second, new) == (first, False)
            assert await buyer.counts() == before
            await buyer.hand_over()
            third, new = await buyer.take_in(data)
            assert (third, new) == (first, False)
            assert (await buyer.head()).handed_over

    run(work())


def test_a_hand_over_can_be_taken_back(opened: Opened) -> None:
    """The sender's own bundle brings the connector back, as long as it is the newest."""

    async def work() -> None:
        async with opened("seller") as (seller,):
            await worked_on(seller)
            _, data = await seller.hand_over()
            await seller.take_in(data)
            assert not (await seller.head()).handed_over
            assert (await seller.answer("remove")).answer == "go"
            assert (await seller.record("removal", cavity="A")).outcome == "recorded"
            await seller.hand_over()
            before = await seller.counts()
            again, new = await seller.take_in(data)
            assert not new
            assert again.direction == "in"
            assert (await seller.head()).handed_over
            assert await seller.counts() == before
            assert await seller.breaks() == []

    run(work())


def test_rebuild_makes_the_head_anew(opened: Opened) -> None:
    """Whether a connector has left is told by the transfers: verify sees where the head says otherwise."""

    async def work() -> None:
        async with opened("seller") as (seller,):
            await worked_on(seller)
            await seller.hand_over()
            await seller.owner.execute("update tinebook.head set handed_over = false")
            assert [each.place for each in await seller.breaks()] == ["head"]
            from service.workflow import proof  # noqa: PLC0415 - for this alone

            done = [each async for each in proof.rebuild(seller.owner, seller.house, None, lambda *_: None)]
            assert done == [CONNECTOR]
            assert (await seller.head()).handed_over
            assert await seller.breaks() == []

    run(work())


def test_the_key_is_made_once(opened: Opened) -> None:
    """The installation's key stays the same, and the feed tells of what went and came."""

    async def work() -> None:
        async with opened("seller", "buyer") as (seller, buyer):
            await worked_on(seller)
            first = await transfer_keys.ring(seller.connection, "x", seller.later())
            view, data = await seller.hand_over()
            assert view.public_key == first.public_key
            await buyer.take_in(data)
            for shop, topic in ((seller, "connector.handed_over"), (buyer, "connector.received")):
                rows = await shop.owner.fetch(
                    "select connector, body from tinebook.feed_arrival where topic = $1", topic
                )
                assert [row["connector"] for row in rows] == [CONNECTOR]
                assert str(view.id).encode() in rows[0]["body"]
            page = await database.fetch(buyer.connection, "transfers", None, 10, CONNECTOR)
            assert [row["id"] for row in page] == [view.id]

    run(work())


def test_handing_over_twice_under_one_id_is_once(opened: Opened) -> None:
    """The same request with its id gets the same answer; another connector's or another buyer's under that id is refused."""

    async def work() -> None:
        from service import transfer_messages as wire  # noqa: PLC0415 - for this alone
        from service.workflow import transfers  # noqa: PLC0415 - the same

        async with opened("seller") as (seller,):
            await worked_on(seller)
            asked, number = wire.HandOver(to="buyer", reason="Sold"), uuid.uuid4()
            order = transfers.Order(CONNECTOR, asked, "x", seller.later(), number)
            first = await transfers.hand_over(seller.connection, seller.house, order)
            second = await transfers.hand_over(seller.connection, seller.house, order)
            assert (first[0], first[1], second[0], second[1]) == (first[0], True, first[0], False)
            other = transfers.Order(CONNECTOR, wire.HandOver(to="else", reason="Sold"), "x", seller.later(), number)
            with pytest.raises(ProblemRaised, match="another transfer"):
                await transfers.hand_over(seller.connection, seller.house, other)
            with pytest.raises(ProblemRaised, match="handed over"):
                await seller.hand_over("a third")

    run(work())


def test_what_may_be_about_it_is_never_left_behind(opened: Opened) -> None:
    """While entries wait under its mark, which another connector bears as well, it can't leave: they would count nowhere."""

    async def work() -> None:
        async with opened("seller", "buyer") as (seller, buyer):
            await seller.register()
            other = uuid.uuid4()
            await seller.register(other, cage="1ABC2")
            waits = [(await seller.record(each, "EX-0001", cavity="A")).id for each in ("insertion", "removal")]
            with pytest.raises(ProblemRaised, match=r"entries wait here .*cavity A") as raised:
                await seller.hand_over()
            assert raised.value.problem.type == problems.Type.TRANSFER_CONFLICT.uri
            assert not (await seller.head()).handed_over
            for each, connector in zip(waits, (other, CONNECTOR), strict=True):
                assert each is not None
                await connectors.assign_parked(seller.connection, seller.scribe, seller.house, each, connector)
            _, data = await seller.hand_over()
            await buyer.take_in(data)
            assert (await buyer.head()).entries == 1
            assert await seller.breaks() == await buyer.breaks() == []

    run(work())


def test_what_was_recorded_by_a_clock_ahead_waits_until_its_time(opened: Opened) -> None:
    """A renewal dated after the work that follows it would take that work's cycles away, so the bundle is refused till then."""

    async def work() -> None:
        async with opened("seller", "buyer") as (seller, buyer):
            await seller.register()
            seller.ahead = timedelta(hours=9)
            await seller.record("renewal", cavity="A", note="By the approved practice")
            _, data = await seller.hand_over()
            with pytest.raises(ProblemRaised, match="one of the two clocks is wrong"):
                await buyer.take_in(data)
            assert (await buyer.counts())["connector"] == 0
            for _ in range(9):
                buyer.later()
            await buyer.take_in(data)
            for _ in range(3):
                await buyer.record("insertion", cavity="A")
                await buyer.record("removal", cavity="A")
            assert (await buyer.answer("insert")).answer == "no_go"

    run(work())
