"""The commands `tinebook transfer ...`, `tinebook log-card` and `tinebook tag`: connectors that go and come, and their papers."""

import os
from collections.abc import Awaitable, Callable, Coroutine
from contextlib import AbstractContextManager
from datetime import datetime
from pathlib import Path
from typing import Any, TypeVar
from uuid import UUID, uuid4

import asyncpg
import click

from service import app, catalog, problems
from service import transfer_messages as messages
from service.core.transfers import bundle
from service.runtime import Databases
from service.settings import Settings
from service.store import database, ledger
from service.workflow import connectors, finding, log_cards, receiving, transfer_keys, transfers
from service.workflow.recording import Scribe
from service.workflow.reference import Reference

T = TypeVar("T")
Opened = Callable[[Settings], AbstractContextManager[Databases]]
Run = Callable[[Coroutine[Any, Any, Any]], Any]
Work = Callable[[asyncpg.Connection, datetime], Awaitable[T]]

_FILE = click.Path(dir_okay=False, path_type=Path)
_BY = click.option("--by", required=True, metavar="NAME", help="Who does this: it stays with it.")


def commands(opened: Opened, run: Run) -> tuple[click.Command, ...]:
    """The commands, which open databases and run what waits for them as the others do."""

    def worked(config: Settings, work: Work[T]) -> T:
        async def connected(dsn: str) -> T:
            connection = await database.service_connection(dsn)
            try:
                return await work(connection, app.now())
            finally:
                await connection.close()

        try:
            with opened(config) as found:
                done: T = run(connected(found.service_dsn))
                return done
        except problems.ProblemRaised as raised:
            raise click.ClickException(raised.problem.detail or raised.problem.title) from raised

    return _transfer(worked), _log_card(worked), _tag(worked)


Worked = Callable[[Settings, Work[Any]], Any]


def _transfer(worked: Worked) -> click.Group:
    @click.group("transfer")
    def transfer() -> None:
        """Hand connectors over to another owner, and take them in, with their whole ledger in a signed bundle."""

    for each in (_out(worked), _in(worked), _list(worked), _bundle(worked), _keys(worked)):
        transfer.add_command(each)
    transfer.add_command(_check)
    return transfer


def _out(worked: Worked) -> click.Command:
    @click.command("out")
    @click.argument("mark")
    @click.option("--to", required=True, metavar="NAME", help="Who takes it over.")
    @click.option("--reason", required=True, help="Why.")
    @click.option(
        "--installation", type=click.UUID, help="Theirs: no other one takes the bundle in. `keys own` there says it."
    )
    @click.option("--output", type=_FILE, required=True, help="Where the bundle goes.")
    @_BY
    @click.pass_obj
    def out(
        config: Settings, mark: str, to: str, reason: str, installation: UUID | None, output: Path, by: str
    ) -> None:
        """Hand over the connector that MARK means. From then on nothing is go for it here; facts about it are kept and wait.

        The bundle is kept here, too: `tinebook transfer bundle ID` gives it again.
        """

        async def work(connection: asyncpg.Connection, at: datetime) -> tuple[messages.TransferView, bytes]:
            connector = await _meant(connection, mark)
            asked = messages.HandOver(to=to, reason=reason, to_installation=installation)
            order = transfers.Order(connector, asked, by, at, uuid4())
            view, _ = await transfers.hand_over(connection, config.house, order)
            return view, await transfers.bundle_of(connection, view.id)

        view, data = worked(config, work)
        click.echo(f"{view.serial} was handed over to {view.party}: {view.entries} entries, transfer {view.id}")
        click.echo(f"signed by {view.public_key}\nfingerprint {view.fingerprint}: tell it to them by another way")
        _write(output, data)

    return out


def _in(worked: Worked) -> click.Command:
    @click.command("in")
    @click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
    @_BY
    @click.pass_obj
    def take_in(config: Settings, file: Path, by: str) -> None:
        """Take the bundle in FILE over: everything of it is proved, then all of it is on the books, or nothing is."""
        data = file.read_bytes()

        async def work(connection: asyncpg.Connection, at: datetime) -> tuple[messages.TransferView, bool]:
            reference = Reference(catalog.load())
            await reference.refresh(connection)
            scribe = Scribe(config.house, reference)
            return await receiving.take_in(connection, scribe, config.house, data, by, at)

        view, new = worked(config, work)
        done = "is on the books" if new else "was taken in before"
        click.echo(f"{view.serial} {done}: {view.entries} entries from {view.party}, connector {view.connector}")

    return take_in


@click.command("check")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
def _check(file: Path) -> None:
    """Prove the bundle in FILE without taking it in: signature, files, both chains. Whose the key is, only you can say."""
    try:
        held = receiving.read(file.read_bytes()).bundle.manifest
    except problems.ProblemRaised as raised:
        raise click.ClickException(raised.problem.detail) from raised
    click.echo(f"whole: {held.serial}, connector {held.connector}, {held.entries} entries, chain {held.hash}")
    click.echo(f"to {held.recipient.name}, by {held.made_by}, {held.made_at:%Y-%m-%d %H:%M} UTC: {held.reason}")
    key = held.sender.public_key
    click.echo(f"signed by {key}\nfingerprint {bundle.fingerprint(bundle.key_bytes(key))}")


def _list(worked: Worked) -> click.Command:
    @click.command("list")
    @click.option("--limit", type=click.IntRange(1, 500), default=50, show_default=True)
    @click.pass_obj
    def listed(config: Settings, limit: int) -> None:
        """What went out and came in, the newest first."""

        async def work(connection: asyncpg.Connection, _: datetime) -> tuple[messages.TransferView, ...]:
            return (await transfers.page(connection, None, limit, None))[0]

        for each in worked(config, work):
            at = f"{each.recorded_at:%Y-%m-%d %H:%M}"
            click.echo(f"{each.id}  {at}  {each.direction:3}  {each.serial}  {each.party}  {each.entries} entries")

    return listed


def _bundle(worked: Worked) -> click.Command:
    @click.command("bundle")
    @click.argument("transfer", type=click.UUID)
    @click.option("--output", type=_FILE, required=True, help="Where the bundle goes.")
    @click.pass_obj
    def again(config: Settings, transfer: UUID, output: Path) -> None:
        """The bundle of a TRANSFER once more, as it went or came."""

        async def work(connection: asyncpg.Connection, _: datetime) -> bytes:
            return await transfers.bundle_of(connection, transfer)

        _write(output, worked(config, work))

    return again


def _keys(worked: Worked) -> click.Group:
    @click.group("keys")
    def keys() -> None:
        """The key that signs here, and whose bundles are taken in."""

    async def ring(connection: asyncpg.Connection, at: datetime) -> messages.KeyRing:
        return await transfer_keys.ring(connection, "tinebook transfer keys", at)

    @keys.command("own")
    @click.pass_obj
    def own(config: Settings) -> None:
        """What another installation needs to take in what is handed over here; the key is made when it is first asked for."""
        found = worked(config, ring)
        click.echo(f"installation {found.installation}\n{found.public_key}\nfingerprint {found.fingerprint}")

    @keys.command("list")
    @click.pass_obj
    def listed(config: Settings) -> None:
        """What was last said about each key."""
        for each in worked(config, ring).senders:
            state = "trusted" if each.trusted else "NOT trusted"
            click.echo(
                f"{each.public_key}  {each.fingerprint}  {each.name}  {state}  {each.recorded_by}: {each.reason}"
            )

    for trusted, name in ((True, "trust"), (False, "distrust")):
        keys.add_command(_stated(worked, name, trusted=trusted))
    return keys


def _stated(worked: Worked, name: str, *, trusted: bool) -> click.Command:
    @click.command(name, help=f"{'Take' if trusted else 'No longer take'} in what NAME signs with PUBLIC_KEY.")
    @click.argument("name")
    @click.argument("public_key")
    @click.option("--reason", required=True, help="How that is known: the fingerprint was compared by telephone, say.")
    @_BY
    @click.pass_obj
    def stated(config: Settings, name: str, public_key: str, reason: str, by: str) -> None:
        async def work(connection: asyncpg.Connection, at: datetime) -> messages.SenderView:
            asked = messages.SenderStatement(public_key=public_key, name=name, trusted=trusted, reason=reason)
            return await transfer_keys.state(connection, asked, by, at)

        done = worked(config, work)
        click.echo(f"{done.name}, fingerprint {done.fingerprint}: {'trusted' if trusted else 'no longer trusted'}")

    return stated


def _log_card(worked: Worked) -> click.Command:
    @click.command("log-card")
    @click.argument("mark")
    @click.option("--output", type=_FILE, required=True, help="File to write: .pdf, .html or .json.")
    @click.pass_obj
    def log_card(config: Settings, mark: str, output: Path) -> None:
        """The whole life of the connector that MARK means as a document. The same ledger gives the same bytes."""
        form = _form(output, log_cards.MEDIA_TYPES)

        async def work(connection: asyncpg.Connection, _: datetime) -> bytes:
            card = await log_cards.shown(connection, await _meant(connection, mark), config.house)
            return log_cards.document(card, form)

        _write(output, worked(config, work))

    return log_card


def _tag(worked: Worked) -> click.Command:
    @click.command("tag")
    @click.argument("mark")
    @click.option("--record", help="Number of the record that goes with the removal.")
    @click.option("--output", type=_FILE, required=True, help="File to write: .pdf or .svg.")
    @click.pass_obj
    def tag(config: Settings, mark: str, record: str | None, output: Path) -> None:
        """A tag for the connector that MARK means, once it was taken off; its QR code leads back [TINEBOOK_ADDRESS]."""
        form = _form(output, log_cards.TAG_MEDIA_TYPES)

        async def work(connection: asyncpg.Connection, _: datetime) -> bytes:
            card = await log_cards.shown(connection, await _meant(connection, mark), config.house)
            return log_cards.drawn_tag(card, form, config.address, record)

        _write(output, worked(config, work))

    return tag


def _form(output: Path, known: dict[str, str]) -> str:
    form = output.suffix.lower().removeprefix(".")
    if form not in known:
        raise click.UsageError(f"{output.name} has to end in .{', .'.join(known)}")
    return form


async def _meant(connection: asyncpg.Connection, mark: str) -> UUID:
    """The one connector that a mark means."""
    found = await connectors.find(connection, ledger.Definitions(), finding.read(mark))
    if len(found) == 1:
        return found[0].connector
    if not found:
        raise connectors.unknown(mark)
    ids = ", ".join(str(each.connector) for each in found)
    raise click.ClickException(f"{mark!r} means {len(found)} connectors: name one by its id: {ids}")


def _write(output: Path, data: bytes) -> None:
    """Whole or not at all."""
    beside = output.with_name(f".{output.name}.{os.getpid()}")
    try:
        beside.write_bytes(data)
        beside.replace(output)
    except OSError as error:
        beside.unlink(missing_ok=True)
        raise click.ClickException(f"{output} can't be written: {error}") from error
    click.echo(f"wrote {output}, {len(data):,} bytes")
