"""The commands `tinebook checkpoint ...`: signed words on everything that was recorded, to be kept where the database is not."""

import os
from collections.abc import Callable, Coroutine
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any

import click
from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from service import app
from service.core import checkpoints
from service.core.checkpoints import Checkpoint
from service.runtime import Databases
from service.settings import Settings
from service.store import database
from service.workflow import checkpoints as making

Opened = Callable[[Settings], AbstractContextManager[Databases]]
Run = Callable[[Coroutine[Any, Any, Any]], Any]

_FILE = click.Path(dir_okay=False, path_type=Path)
_PATIENCE_S = 3600.0


def command(opened: Opened, run: Run) -> click.Group:
    """The commands, which open databases and run what waits for them as the others do."""

    @click.group("checkpoint")
    def checkpoint() -> None:
        """Sign everything that is recorded by now, so that a history that somebody writes anew shows (`tinebook verify`)."""

    checkpoint.add_command(_key)
    checkpoint.add_command(_make(opened, run))
    checkpoint.add_command(_list(opened, run))
    return checkpoint


@click.command("key")
@click.argument("file", type=_FILE)
def _key(file: Path) -> None:
    """Make a key in FILE, which must not be there yet, and say its public half. Keep it where the database is not."""
    key = Ed25519PrivateKey.generate()
    data = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    try:
        with os.fdopen(os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as out:
            out.write(data)
    except OSError as error:
        raise click.ClickException(f"{file} can't be made: {error.strerror}") from error
    click.echo(key.public_key().public_bytes_raw().hex())


def _make(opened: Opened, run: Run) -> click.Command:
    @click.command("make")
    @click.option("--key", "key_file", type=_FILE, help="The file of the key [TINEBOOK_CHECKPOINT_KEY_FILE].")
    @click.option("--output", type=_FILE, help="Where the checkpoint goes, beside the database and the feed.")
    @click.option("--by", default="command line", metavar="NAME", help="Who does this: it stays with it.")
    @click.pass_obj
    def make(config: Settings, key_file: Path | None, output: Path | None, by: str) -> None:
        """Sign everything that is recorded by now, and say up to which position that is."""
        key = _read_key(key_file or config.checkpoint_key_file)
        with opened(config) as found:
            made: Checkpoint = run(_made(found.service_dsn, key, by))
        if output is not None:
            output.write_bytes(checkpoints.written(made))
        click.echo(f"{_told(made)}\nsigned by {made.public_key}")

    return make


def _list(opened: Opened, run: Run) -> click.Command:
    @click.command("list")
    @click.pass_obj
    def list_(config: Settings) -> None:
        """Every checkpoint that was made here, the first one first."""
        with opened(config) as found:
            for each in run(_every(found.service_dsn)):
                click.echo(f"{_told(each)}  {each.public_key}")

    return list_


def given(files: tuple[Path, ...]) -> tuple[Checkpoint, ...]:
    """The checkpoints in files. Raises ClickException for a file that holds none."""
    found = []
    for each in files:
        try:
            found.append(checkpoints.read(each.read_bytes()))
        except (OSError, checkpoints.CheckpointError) as error:
            raise click.ClickException(f"{each}: {error}") from error
    return tuple(found)


def _told(each: Checkpoint) -> str:
    return f"{each.made_at:%Y-%m-%d %H:%M:%S} UTC  up to position {each.size}  root {each.root}"


def _read_key(file: Path | None) -> Ed25519PrivateKey:
    if file is None:
        raise click.UsageError(
            "say where the key is: --key FILE, or TINEBOOK_CHECKPOINT_KEY_FILE; `checkpoint key` makes one"
        )
    try:
        key = serialization.load_pem_private_key(file.read_bytes(), None)
    except (OSError, ValueError, TypeError, UnsupportedAlgorithm) as error:
        raise click.ClickException(f"{file} can't be read as a key: {error}") from error
    if not isinstance(key, Ed25519PrivateKey):
        raise click.ClickException(f"{file} holds a key of another kind: it has to be Ed25519")
    return key


async def _made(dsn: str, key: Ed25519PrivateKey, by: str) -> Checkpoint:
    connection = await database.service_connection(dsn, _PATIENCE_S)
    try:
        return await making.make(connection, key, by, app.now())
    finally:
        await connection.close(timeout=5)


async def _every(dsn: str) -> tuple[Checkpoint, ...]:
    connection = await database.service_connection(dsn)
    try:
        return await making.every(connection)
    finally:
        await connection.close(timeout=5)
