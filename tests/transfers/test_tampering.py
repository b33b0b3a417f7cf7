"""Bundles that were altered, and connectors that can't go over like this: refused, and nothing is left half done."""

import base64
import io
import json
import uuid
import zipfile
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import asyncpg
import pytest
import rfc8785
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from service.core import chain
from service.core.chain import DefinitionBody, LedgerBody
from service.core.entries import Entry, Kind, Recorded
from service.core.transfers import bundle, contents
from service.core.transfers.bundle import BundleError, Link, Manifest
from service.problems import ProblemRaised
from tests import histories
from tests.conftest import run
from tests.transfers.shops import CONNECTOR, Opened, Shop
from tests.transfers.test_round_trip import worked_on

KEY = bytes(range(32))
AT = datetime(2026, 3, 2, 8, tzinfo=UTC)
Files = dict[str, bytes]


def chained(count: int = 3) -> tuple[tuple[Link, ...], tuple[Link, ...]]:
    """A definition and some entries of the tables' connector."""
    known = DefinitionBody(definition=histories.definition(), recorded_at=AT, recorded_by="x", reason="registered")
    body = chain.canonical_definition(known)
    previous = chain.link(b"", body)
    definitions, links = (Link(body, previous),), []
    for number in range(1, count + 1):
        entry = Entry(
            id=uuid.UUID(int=number),
            connector=str(histories.CONNECTOR),
            kind=Kind.TINE_ENTRY,
            performed_at=AT,
            performed_by="badge 1",
            cavity="A",
        )
        recorded = Recorded(entry=entry, recorded_at=AT, recorded_by="x")
        body = chain.canonical_body(LedgerBody(connector=histories.CONNECTOR, number=number, recorded=recorded))
        previous = chain.link(previous, body)
        links.append(Link(body, previous))
    return definitions, tuple(links)


def files_of(definitions: tuple[Link, ...], entries: tuple[Link, ...], **more: bytes) -> Files:
    """The files of a bundle."""
    return {
        bundle.READ_ME: b"read me",
        bundle.DEFINITIONS: bundle.lines(definitions),
        bundle.ENTRIES: bundle.lines(entries),
        bundle.LOG_CARD_DATA: b"{}",
        bundle.LOG_CARD: b"%PDF",
        bundle.RECORDS: b"{}",
        bundle.SIGNATURES: b"{}",
        bundle.EARLIER: b"PK",
        **more,
    }


def manifest_of(files: Files, entries: tuple[Link, ...], count: int = 3, **changes: Any) -> Manifest:
    """A manifest that fits the files."""
    public = Ed25519PrivateKey.from_private_bytes(KEY).public_key().public_bytes_raw()
    told: dict[str, Any] = {
        "form": bundle.FORM,
        "id": uuid.UUID(int=77),
        "connector": histories.CONNECTOR,
        "serial": "EX-0001",
        "cage": None,
        "part_number": None,
        "marks": (),
        "sender": bundle.Sender(installation=uuid.UUID(int=5), public_key=bundle.key_text(public)),
        "recipient": bundle.Recipient(name="buyer", installation=None),
        "reason": "Sold",
        "made_by": "x",
        "made_at": AT,
        "definitions": 1,
        "entries": count,
        "hash": entries[-1].hash.hex(),
        "files": tuple(bundle.file_line(name, data) for name, data in files.items()),
        "notice": "n",
    }
    return Manifest(**{**told, **changes})


def whole() -> bytes:
    """A bundle that holds together."""
    definitions, entries = chained()
    files = files_of(definitions, entries)
    return bundle.pack(manifest_of(files, entries), files, KEY)


def unpacked(data: bytes) -> Files:
    """The members of a bundle."""
    with zipfile.ZipFile(io.BytesIO(data)) as held:
        return {each: held.read(each) for each in held.namelist()}


def packed(members: Files, how: int = zipfile.ZIP_STORED) -> bytes:
    """Members as a ZIP file."""
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", how) as held:
        for name, data in members.items():
            held.writestr(name, data)
    return target.getvalue()


def test_a_whole_bundle_is_read_and_made_byte_for_byte() -> None:
    """The same content and key give the same bytes, and they read back as what went in."""
    data = whole()
    assert data == whole()
    held = bundle.read(data)
    assert (held.definitions, held.entries) == chained()
    assert len(contents.read(held).history) == 3


@pytest.mark.parametrize(
    "name",
    [
        *(bundle.MANIFEST, bundle.SIGNATURE, bundle.READ_ME, bundle.DEFINITIONS, bundle.ENTRIES),
        *(bundle.LOG_CARD, bundle.LOG_CARD_DATA, bundle.RECORDS, bundle.SIGNATURES, bundle.EARLIER),
    ],
)
def test_no_byte_of_any_file_can_be_another(name: str) -> None:
    """One bit flipped anywhere in any member: refused, naming that member (the manifest's fail by form or by signature)."""
    members = unpacked(whole())
    size = len(members[name])
    for place in range(0, size, max(1, size // 60)):
        changed = bytearray(members[name])
        changed[place] ^= 1
        with pytest.raises(BundleError) as raised:
            bundle.read(packed({**members, name: bytes(changed)}))
        if name not in (bundle.MANIFEST, bundle.SIGNATURE):
            assert raised.value.place == name
        assert raised.value.remedy


def test_no_byte_of_the_file_can_be_another_unseen() -> None:
    """One bit flipped anywhere in the file: it is refused, or reads as exactly the same content."""
    data = whole()
    held = bundle.read(data)
    for place in range(0, len(data), 7):
        changed = bytearray(data)
        changed[place] ^= 4
        try:
            found = bundle.read(bytes(changed))
        except BundleError:
            continue
        assert found == held


def _without(members: Files, name: str) -> Files:
    return {each: data for each, data in members.items() if each != name}


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        (lambda _: b"", "no ZIP file"),
        (lambda _: b"PK\x03\x04" + b"\0" * 200, "no ZIP file"),
        (lambda data: data[: len(data) // 2], "no ZIP file"),
        (lambda data: packed(unpacked(data), zipfile.ZIP_DEFLATED), "compressed"),
        (lambda data: packed({**unpacked(data), "../evil": b"x"}), "does not belong"),
        (lambda data: packed({**unpacked(data), "more.txt": b"x"}), "does not belong"),
        (lambda data: packed(_without(unpacked(data), bundle.ENTRIES)), "entries.ndjson is missing"),
        (lambda data: packed(_without(unpacked(data), bundle.SIGNATURE)), "signature.json is missing"),
        (lambda data: packed(_without(unpacked(data), bundle.RECORDS)), "not those that came"),
        (lambda data: packed({**unpacked(data), bundle.MANIFEST: b"{}"}), "can't be read"),
        (lambda data: packed({**unpacked(data), bundle.MANIFEST: b'{"form":"tinebook-transfer/9"}'}), "of the form"),
        (lambda data: packed({**unpacked(data), bundle.SIGNATURE: b"[" * 5000}), "can't be read"),
    ],
)
def test_what_is_no_bundle_is_refused(changed: Callable[[bytes], bytes], words: str) -> None:
    """Damaged, cut off, compressed, with a file too many or too few, of another form: each is said."""
    with pytest.raises(BundleError, match=words):
        bundle.read(changed(whole()))


def test_the_manifest_is_signed_in_one_form_only() -> None:
    """A manifest that says the same in other bytes is not what was signed."""
    members = unpacked(whole())
    loose = json.dumps(json.loads(members[bundle.MANIFEST]), indent=1).encode()
    with pytest.raises(BundleError, match="RFC 8785"):
        bundle.read(packed({**members, bundle.MANIFEST: loose}))


def test_the_signature_is_for_this_purpose_only() -> None:
    """A signature by the same key over the bare manifest, as for another purpose, is none over a bundle."""
    members = unpacked(whole())
    signed = json.loads(members[bundle.SIGNATURE])
    key = Ed25519PrivateKey.from_private_bytes(KEY)
    signed["signature"] = base64.b64encode(key.sign(members[bundle.MANIFEST])).decode()
    with pytest.raises(BundleError, match="not what was signed"):
        bundle.read(packed({**members, bundle.SIGNATURE: rfc8785.dumps(signed)}))


def test_another_key_does_not_sign_in_its_place() -> None:
    """A manifest that names one key and is signed by another is refused."""
    members = unpacked(whole())
    other = Ed25519PrivateKey.from_private_bytes(KEY[::-1])
    signed = json.loads(members[bundle.SIGNATURE])
    signed["public_key"] = bundle.key_text(other.public_key().public_bytes_raw())
    with pytest.raises(BundleError, match="not by the key"):
        bundle.read(packed({**members, bundle.SIGNATURE: rfc8785.dumps(signed)}))


def _signed(entries: tuple[Link, ...], count: int | None = None, **changes: Any) -> bytes:
    definitions, _ = chained()
    files = files_of(definitions, entries)
    return bundle.pack(manifest_of(files, entries, count or len(entries), **changes), files, KEY)


def _rechained(bodies: list[bytes]) -> tuple[Link, ...]:
    previous, links = chained()[0][0].hash, []
    for body in bodies:
        previous = chain.link(previous, body)
        links.append(Link(body, previous))
    return tuple(links)


def test_a_chain_that_is_broken_is_refused_although_it_is_signed() -> None:
    """A sender's own bundle with a body changed, an entry left out, two swapped or another head: each is said with its line."""
    _, (one, two, three) = chained()
    worse = Link(two.body.replace(b'"A"', b'"C"'), two.hash)
    for entries, words in (
        ((one, worse, three), "line 2.*hash does not cover"),
        ((one, three), "line 2.*hash does not cover"),
        ((two, one, three), "line 1.*hash does not cover"),
    ):
        with pytest.raises(BundleError, match=words):
            bundle.read(_signed(entries))
    with pytest.raises(BundleError, match="head of the chain"):
        bundle.read(_signed((one, two, three), hash=two.hash.hex()))
    with pytest.raises(BundleError, match="holds 3 lines, the manifest says 4"):
        bundle.read(_signed((one, two, three), count=4))
    with pytest.raises(BundleError, match="RFC 8785"):
        bundle.read(_signed(_rechained([one.body.replace(b":", b": ", 1)])))


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (b'"cavity":"A"', b'"cavity":"Z"', "cavity 'Z'"),
        (b'"number":1', b'"number":2', "not in its place"),
        (b'"kind":"tine_entry"', b'"kind":"unheard_of"', "this version can read"),
        (b'"noted":[]', b'"noted":["unheard_of"]', "does not know"),
        (
            str(histories.CONNECTOR).encode() + b'","number"',
            str(uuid.UUID(int=9)).encode() + b'","number"',
            "another connector",
        ),
    ],
)
def test_what_makes_no_sense_is_refused_although_it_is_signed_and_chained(old: bytes, new: bytes, words: str) -> None:
    """An unknown cavity, a number out of place, a kind or a code of another version, another connector's entry."""
    _, (one, *_) = chained()
    assert old in one.body
    held = bundle.read(_signed(_rechained([one.body.replace(old, new)])))
    with pytest.raises(BundleError, match=words):
        contents.read(held)


def test_an_id_that_stands_twice_is_refused() -> None:
    """Two entries under one id are no ledger of ours."""
    _, (one, *_) = chained()
    held = bundle.read(_signed(_rechained([one.body, one.body.replace(b'"number":1', b'"number":2')])))
    with pytest.raises(BundleError, match="stands twice"):
        contents.read(held)


def test_another_identity_in_the_manifest_is_refused() -> None:
    """What the manifest calls the connector is what its last definition calls it."""
    _, entries = chained()
    held = bundle.read(_signed(entries, serial="EX-0002"))
    with pytest.raises(BundleError, match="another connector"):
        contents.read(held)


async def _refused(shop: Shop, data: bytes, words: str) -> None:
    """Not taken in, with these words and with what to do; not a row more anywhere."""
    before = await shop.counts()
    with pytest.raises(ProblemRaised) as raised:
        await shop.take_in(data)
    detail = raised.value.problem.detail
    assert words in detail, detail
    assert len(detail) > 80, "says what to do"
    assert await shop.counts() == before


def test_a_sender_whom_nobody_trusts_is_refused(opened: Opened) -> None:
    """An unknown key, and one that is no longer trusted; what to compare and what to type is said."""

    async def work() -> None:
        async with opened("seller", "buyer") as (seller, buyer):
            await worked_on(seller)
            view, data = await seller.hand_over()
            await buyer.trust(seller, trusted=False)
            await _refused(buyer, data, view.fingerprint)
            await buyer.trust(seller)
            assert (await buyer.take_in(data))[1]
            definitions, entries = chained()
            del definitions
            await _refused(buyer, _signed(entries), "is not known here")

    run(work())


def test_a_bundle_for_another_installation_is_refused(opened: Opened) -> None:
    """A bundle that names its installation is taken in there, and nowhere else."""

    async def work() -> None:
        async with opened("seller", "buyer", "thief") as (seller, buyer, thief):
            await worked_on(seller)
            for_whom = await buyer.owner.fetchval("select installation from tinebook.installation")
            _, data = await seller.hand_over(installation=for_whom)
            await _refused(thief, data, str(for_whom))
            assert (await buyer.take_in(data))[1]

    run(work())


def test_one_that_never_left_is_not_written_over(opened: Opened) -> None:
    """A connector that is on the books and was not handed over refuses every bundle, and so does one with its identity."""

    async def work() -> None:
        async with opened("seller", "buyer", "third") as (seller, buyer, third):
            await worked_on(seller)
            _, data = await seller.hand_over()
            await buyer.register()
            await _refused(buyer, data, "never left")
            await third.register(uuid.uuid4())
            await _refused(third, data, "is on the books as connector")
            assert await buyer.breaks() == await third.breaks() == []

    run(work())


def test_ledgers_that_parted_are_not_joined(opened: Opened) -> None:
    """Entries on both sides since: refused with where they parted; an older bundle than what is here is refused, too."""

    async def work() -> None:
        async with opened("seller", "buyer", "third") as (seller, buyer, third):
            await worked_on(seller)
            count = (await seller.head()).entries
            _, data = await seller.hand_over()
            await buyer.take_in(data)
            await third.take_in(data)
            await buyer.record("tine_entry", cavity="A")
            await third.record("tine_entry", cavity="C")
            _, from_buyer = await buyer.hand_over()
            _, from_third = await third.hand_over()
            await seller.take_in(from_buyer)
            await _refused(seller, from_third, "never left")
            await seller.hand_over()
            await _refused(seller, from_third, f"parted at entries {count + 1}")
            await _refused(third, from_buyer, f"parted at entries {count + 1}")
            assert (await seller.chain()) == (await buyer.chain())

    run(work())


def test_a_bundle_older_than_what_is_here_is_refused(opened: Opened) -> None:
    """A bundle whose chain ends before the one that is here would lose entries."""

    async def work() -> None:
        async with opened("seller", "buyer", "third") as (seller, buyer, third):
            await worked_on(seller)
            _, data = await seller.hand_over()
            await third.take_in(data)
            _, old = await third.hand_over()
            await buyer.take_in(data)
            await buyer.record("tine_entry", cavity="A")
            await buyer.hand_over()
            await _refused(buyer, old, "older than what is here")

    run(work())


def test_an_id_that_is_used_here_for_another_entry_is_refused(opened: Opened) -> None:
    """No id means two things, whether the other entry is in a ledger or waits."""

    async def work() -> None:
        async with opened("seller", "buyer", "third") as (seller, buyer, third):
            await worked_on(seller)
            number = uuid.uuid4()
            await seller.record("tine_entry", cavity="A", entry=number)
            await buyer.register(uuid.uuid4(), "EX-0900")
            await buyer.record("tine_entry", "EX-0900", cavity="A", entry=number)
            await third.record("tine_entry", "EX-0901", cavity="A", entry=number)
            _, data = await seller.hand_over()
            await _refused(buyer, data, str(number))
            await _refused(third, data, "waits here")

    run(work())


def test_the_same_transfer_in_another_bundle_is_refused(opened: Opened) -> None:
    """Two bundles under one transfer's id are not the same transfer."""

    async def work() -> None:
        async with opened("seller", "buyer") as (seller, buyer):
            await worked_on(seller)
            _, data = await seller.hand_over()
            await buyer.take_in(data)
            again = packed(unpacked(data))
            assert bundle.read(again) == bundle.read(data)
            assert again != data
            await _refused(buyer, again, "from another bundle")

    run(work())


def test_a_ledger_that_was_altered_is_not_handed_over(opened: Opened) -> None:
    """Somebody with rights in the database changed an entry: it does not leave as if it were whole."""

    async def work() -> None:
        async with opened("seller") as (seller,):
            await worked_on(seller)
            await seller.owner.execute("""
                alter table tinebook.entry disable trigger entry_is_append_only;
                update tinebook.entry set body = replace(encode(body, 'escape'), 'TN-101', 'TN-102')::bytea where number = 1;
            """)
            before = await seller.counts()
            with pytest.raises(ProblemRaised, match=r"entries\.ndjson, line 1.*tinebook verify"):
                await seller.hand_over()
            assert await seller.counts() == before
            assert not (await seller.head()).handed_over

    run(work())


@pytest.mark.parametrize("table", ["transfer", "transfer_key", "trusted_sender"])
def test_what_went_and_came_is_never_changed(opened: Opened, table: str) -> None:
    """The service's role may only add; the owner is stopped by the triggers (23001)."""

    async def work() -> None:
        async with opened("seller", "buyer") as (seller, _):
            await worked_on(seller)
            await seller.hand_over()
            column = {"transfer": "reason", "transfer_key": "made_by", "trusted_sender": "reason"}[table]
            changes = (
                f"update tinebook.{table} set {column} = 'x'",
                f"delete from tinebook.{table}",
                f"truncate tinebook.{table}",
            )
            for change in changes:
                for connection, state in ((seller.connection, "42501"), (seller.owner, "23001")):
                    with pytest.raises(asyncpg.PostgresError) as raised:
                        await connection.execute(change)
                    assert raised.value.sqlstate == state, change
            assert (
                await seller.owner.fetchval("select count(*) from tinebook.transfer where connector = $1", CONNECTOR)
                == 1
            )

    run(work())
