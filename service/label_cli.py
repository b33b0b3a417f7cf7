"""The commands `tinebook label ...`: labels as files, from what is on the books or from what is said."""

from collections.abc import Callable, Coroutine
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any, TypeVar

import click

from service.core.entries import Definition
from service.core.own_marks import Kind, OwnMarkError
from service.labels import content, drawing, layout
from service.labels.content import Content
from service.labels.layout import Label
from service.labels.symbols import LabelError
from service.runtime import Databases
from service.settings import Settings
from service.store import database, ledger
from service.workflow import connectors, finding

T = TypeVar("T")

Opened = Callable[[Settings], AbstractContextManager[Databases]]
Run = Callable[[Coroutine[Any, Any, list[Definition]]], list[Definition]]


def command(opened: Opened, run: Run) -> click.Group:
    """The group of commands, which opens databases and runs what waits for them as the other commands do."""

    @click.group("label")
    def label() -> None:
        """Draw labels with Data Matrix symbols, each checked to read back at the printer's resolution."""

    @label.command("connector")
    @click.argument("marks", nargs=-1, required=True)
    @_how
    @click.pass_obj
    def of_connectors(config: Settings, /, marks: tuple[str, ...], **how: Any) -> None:
        """Labels of connectors, each found by its id, serial or any other mark."""
        with opened(config) as found:
            definitions = run(_definitions(found.service_dsn, marks))
        _write(
            [content.connector(each.connector, each.serial, each.cage, each.part_number) for each in definitions], **how
        )

    label.add_command(of_our_own)
    label.add_command(of_the_check_symbol)
    return label


def _how(function: Callable[..., None]) -> Callable[..., None]:
    """The options that every label has."""
    options = (
        click.option(
            "--output",
            type=click.Path(dir_okay=False, path_type=Path),
            required=True,
            help="File to write: .svg, .png (one label) or .pdf.",
        ),
        click.option(
            "--module-mm", type=click.FloatRange(0.05, 2), default=0.33, show_default=True, help="Module size."
        ),
        click.option("--dpi", type=click.IntRange(100, 1200), default=300, show_default=True, help="Of the printer."),
        click.option("--sleeve-mm", type=click.FloatRange(1, 200), help="Diameter, for a sleeve on a cable."),
        click.option("--page", type=click.Choice(["label", "a4"]), help="Of a PDF. Default: a4 for several labels."),
    )
    for option in reversed(options):
        function = option(function)
    return function


@click.command("own")
@click.argument("kind", type=click.Choice([each.value for each in Kind]))
@click.argument("names", nargs=-1, required=True)
@_how
def of_our_own(kind: str, names: tuple[str, ...], **how: Any) -> None:
    """Labels for badges, tools, work orders, cavities or benches."""
    try:
        _write([content.own(Kind(kind), each) for each in names], **how)
    except OwnMarkError as error:
        raise click.ClickException(f"this can't be marked: {error}") from error


@click.command("check")
@_how
def of_the_check_symbol(**how: Any) -> None:
    """The check symbol that proves what a scanner that types makes of each character."""
    _write([content.wedge_check()], **how)


def _write(
    held: list[Content], output: Path, module_mm: float, dpi: int, sleeve_mm: float | None, page: str | None
) -> None:
    kind = output.suffix.removeprefix(".").lower()
    if kind not in drawing.MEDIA_TYPES:
        raise click.ClickException(f"{output}: the name must end in .svg, .png or .pdf")
    if len(held) > 1 and (kind != "pdf" or page == "label"):
        raise click.ClickException(f"{output}: several labels go on the a4 pages of a .pdf, anything else holds one")
    try:
        made = [layout.label(each, module_mm, dpi, sleeve_mm) for each in held]
        data = _file(kind, made, page)
    except LabelError as error:
        raise click.ClickException(str(error)) from error
    output.write_bytes(data)
    for each in made:
        click.echo(
            f"{' / '.join(each.lines)}: {each.symbol.modules} x {each.symbol.modules} modules of {each.module_mm:.3g} mm, "
            f"{each.quality:.0%} of its error correction left in the simulated print"
        )


def _file(kind: str, made: list[Label], page: str | None) -> bytes:
    if kind == "pdf" and (page == "a4" or len(made) > 1):
        from service.labels import paper  # noqa: PLC0415 - no other command should wait for it

        return paper.sheets(made, paper.Sheet())
    return drawing.draw(kind, made[0])  # type: ignore[arg-type]


async def _definitions(dsn: str, marks: tuple[str, ...]) -> list[Definition]:
    connection = await database.service_connection(dsn)
    try:
        found = []
        for text in marks:
            heads = await connectors.find(connection, ledger.Definitions(), finding.read(text))
            if len(heads) != 1:
                told = "no connector is" if not heads else f"{len(heads)} connectors are"
                raise click.ClickException(f"{told} registered under {text!r}: give the id of the one that you mean")
            found.append(heads[0].definition)
        return found
    finally:
        await connection.close()
