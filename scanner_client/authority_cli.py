"""The command that makes a bench's authority and renews the page's certificate."""

from datetime import UTC, datetime
from functools import partial
from pathlib import Path

import click
from rich.text import Text

from scanner_client import output
from scanner_client.output import Call, Exit


@click.command()
@click.argument("names", nargs=-1, metavar="[NAME]...")
@click.option(
    "--directory",
    type=click.Path(path_type=Path),
    default=Path("tinebook-authority"),
    show_default=True,
    help="Where it is made, or was made before.",
)
@click.option("--days", type=click.IntRange(1, 397), default=90, show_default=True, help="Validity for the page.")
@click.option("--address", "addresses", multiple=True, help="An IP address by which the page is reached as well.")
@click.option("--page", help="Address of the page, for the sheet with its QR code. [default: https://NAME:8601]")
@click.option("--passphrase", "ask", is_flag=True, help="Lock the new authority's key; the passphrase is asked for.")
@click.option(
    "--passphrase-file",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    help="Lock or unlock the authority's key with the first line of this file.",
)
@click.option("--json", "as_json", is_flag=True, help="Answer in JSON, for scripts.")
@click.pass_obj
def authority(
    call: Call,
    /,
    *,
    names: tuple[str, ...],
    directory: Path,
    days: int,
    addresses: tuple[str, ...],
    page: str | None,
    ask: bool,
    passphrase_file: Path | None,
    as_json: bool,
) -> None:
    """Make a certificate authority that can sign for NAME alone, and the page's certificate.

    Run again, it keeps the authority and renews the page's certificate: devices need nothing new. NAME is how devices
    reach the machine that serves the page. Left out, the names are those of the certificate before.
    """
    # The other commands start faster without cryptography.
    from scanner_client import authority as certificates  # noqa: PLC0415
    from scanner_client import authority_files, issuing  # noqa: PLC0415

    call = Call(call.told, call.json or as_json)
    wanted = issuing.Wanted(directory, names, addresses, days, page)
    fresh = partial(_passphrase, passphrase_file, ask=ask, confirmed=True)
    locked = partial(_passphrase, passphrase_file, ask=True, confirmed=False)
    try:
        given = issuing.issued(wanted, fresh, locked, datetime.now(UTC))
    except (certificates.NamesError, issuing.PageError) as error:
        output.fail(call, str(error), Exit.USAGE)
    except (authority_files.DirectoryError, OSError) as error:
        output.fail(call, str(error))
    output.give(call, issuing.answer(given), map(Text, issuing.lines(given)))


def _passphrase(file: Path | None, *, ask: bool, confirmed: bool) -> bytes | None:
    """From a file, else from the terminal where it is asked for."""
    if file is not None:
        told = file.read_bytes().partition(b"\n")[0].rstrip(b"\r")
        if not told:
            raise click.UsageError(f"{file} has no passphrase in its first line.")
        return told
    if not ask:
        return None
    typed: str = click.prompt(
        "Passphrase of the authority's key", hide_input=True, confirmation_prompt=confirmed, err=True
    )
    return typed.encode()
