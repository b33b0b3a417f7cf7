"""tinebook-bench: the scanning client's commands."""

import base64
import os
import sys
from collections.abc import Callable
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import Any
from uuid import UUID

import click
from msgspec import structs
from rich.console import Console
from rich.text import Text

from scanner_client import (
    asking,
    assembly,
    authority_cli,
    decode,
    desk,
    dialogue,
    drafts,
    feeds,
    guidance,
    keystrokes,
    output,
    phrases,
    readings,
    reports,
    screen,
    sending,
    settings,
    sources,
    station,
    wedge,
)
from scanner_client.decode import UnreadableError
from scanner_client.output import ANSWERED, EXITS, Call, Exit
from scanner_client.readings import Reading
from scanner_client.station import Bench
from service.core import wedge_profile
from service.core.entries import Kind
from service.core.envelope import Fault
from service.messages import ConnectorLine


def _json_asked(context: click.Context, _: click.Parameter, value: Any) -> None:
    if value:
        context.obj = structs.replace(context.obj, json=True)


_as_json = click.option(
    "--json", is_flag=True, expose_value=False, callback=_json_asked, help="Answer in JSON, for scripts."
)

_FILE = click.Path(path_type=Path)


@click.group(epilog=EXITS, context_settings={"help_option_names": ["-h", "--help"]})
@click.option("--url", help="Address of the service (TINEBOOK_BENCH_URL).")
@click.option("--outbox", "outbox_file", help="File of the outbox (TINEBOOK_BENCH_OUTBOX).")
@click.option("--json", "as_json", is_flag=True, help="Answer in JSON, for scripts.")
@click.option("--ascii", "ascii_only", is_flag=True, help="Draw with ASCII characters alone (TINEBOOK_BENCH_ASCII=1).")
@click.pass_context
def main(context: click.Context, *, url: str | None, outbox_file: str | None, as_json: bool, ascii_only: bool) -> None:
    """The bench of Tinebook: scan a connector, ask before the work, record what was done, with or without the service.

    Settings come from the environment: TINEBOOK_BENCH_URL, _TOKEN or _TOKEN_FILE, _OUTBOX, _NAME, _CAMERA, _SERIAL,
    _BAUD, _ANSWER_S (longest wait for the service, in seconds), _IDLE_MIN (minutes without use until `work` signs off),
    _ASCII; for `serve` _CERTIFICATE, _KEY, _AUTHORITY.
    """
    environment = dict(os.environ)
    given = {"URL": url, "OUTBOX": outbox_file, "ASCII": "1" if ascii_only else None}
    environment.update({settings.PREFIX + name: value for name, value in given.items() if value is not None})
    try:
        context.obj = Call(settings.read(environment), as_json)
    except settings.SettingError as error:
        output.fail(None, str(error))


@main.command(epilog="\b\nWhat can be said inside:\n" + "\n".join(guidance.help_lines(78)))
@click.option("--camera", is_flag=True, help="Scan with the camera of the settings as well.")
@click.pass_obj
def work(call: Call, *, camera: bool) -> None:
    """Work at the bench: scan, ask, do, record. 'help' inside says what can be said.

    An unattended bench signs off after 15 minutes (TINEBOOK_BENCH_IDLE_MIN) and clears the screen; what was asked about and
    not settled is asked again when the same badge signs on. NO_COLOR leaves colours out.
    """
    console = output.console(call)
    chosen = feeds.Sources(call.told.camera if camera else None, call.told.serial, call.told.baud)
    with output.troubles(call), assembly.bench(call.told) as bench:
        seen = screen.look(console, ascii_only=call.told.ascii)
        at = desk.Desk(bench, console, seen, call.told.name, call.told.idle_min)
        others = list(feeds.others(chosen))
        if sys.stdin.isatty():
            terminal = sys.stdin.fileno()
            proof = station.proof(bench, call.told.name)
            with sources.raw_terminal(terminal):
                at.scanner(proof)
                profile = proof.profile if proof else None
                pressed = sources.keys(terminal, _echo(console, at.stir), profile=profile, forgetting=at.forgetting)
                desk.run(at, feeds.merged(pressed, others))
        else:
            desk.run(at, feeds.merged(sources.lines(sys.stdin.buffer), others))


@main.command("wedge", epilog=EXITS)
@_as_json
@click.pass_obj
def prove_wedge(call: Call) -> None:
    """Prove what a scanner that types makes of each character at this station, by scanning the check symbol once.

    Print the symbol with: tinebook label check --output check.pdf. The proof is kept in the outbox file for this bench's
    name; prove again after every change of the scanner, its set-up or the keyboard. What arrives is read from standard
    input.
    """
    with output.troubles(call), assembly.bench(call.told) as bench:
        if sys.stdin.isatty():
            with sources.raw_terminal(sys.stdin.fileno()):
                output.note(f"Scan the check symbol now ({reports.CHECK_SYMBOL}). Ctrl-C leaves.")
                arrived = sources.burst(sys.stdin.fileno())
        else:
            arrived = sys.stdin.buffer.read(wedge.LONGEST_BYTES)
        if arrived is None:
            output.fail(call, "Nothing was proven.")
        found = wedge_profile.prove(keystrokes.read(arrived))
        if isinstance(found, Fault):
            output.fail(call, found.text)
        proof = station.save_proof(bench, call.told.name, found)
    answer = {"bench": call.told.name, "profile": found.name, "proven_on": proof.proven_on}
    output.give(call, answer, [Text(reports.proven(proof))])


@main.command(epilog=EXITS)
@click.argument("images", nargs=-1, required=True)
@_as_json
@click.pass_obj
def scan(call: Call, images: tuple[str, ...]) -> None:
    """What is on IMAGES (files, folders, patterns, or - for standard input), and which connectors it matches."""
    found: list[dict[str, Any]] = []
    with output.troubles(call), assembly.bench(call.told) as bench:
        for where in [each for told in images for each in sources.photos(told)]:
            try:
                seen = decode.scans(sources.photo(where), where)
            except UnreadableError as error:
                found.append({"image": where, "error": {"code": error.code, "text": str(error)}, "connectors": []})
                continue
            found.extend({"image": where, **_meaning(bench, each)} for each in seen)
    output.give(call, {"scans": found}, (Text(reports.scan_line(each)) for each in found))
    if any("error" in each for each in found):
        sys.exit(Exit.TROUBLE)
    if any(len(each["connectors"]) > 1 for each in found):
        sys.exit(Exit.FOR_A_PERSON)
    sys.exit(Exit.FINE if all(each["connectors"] for each in found) else Exit.NO_ANSWER)


@main.command(epilog=EXITS)
@click.option("--connector", help="Its mark: serial, UII, id, or a whole message.")
@click.option("--image", help="An image of its mark, instead of --connector.")
@click.option("--tool", help="The tool for steps that name none.")
@click.option("--contact", help="Part number of the contact that is to go in.")
@click.option("--whole", is_flag=True, help="Show everything, even where it is longer than the screen.")
@click.argument("steps", nargs=-1, required=True)
@_as_json
@click.pass_obj
def plan(
    call: Call, /, connector: str | None, image: str | None, whole: bool, steps: tuple[str, ...], **brought: str | None
) -> None:
    """Ask before the work. STEPS are like insert:14 remove:C replace:AA insert:15@M81969/14-10; C and c differ."""
    with output.troubles(call), assembly.bench(call.told) as bench:
        asked = tuple(asking.equipped(each, brought["tool"], brought["contact"]) for each in phrases.steps(steps))
        about = _subject(bench, _reading(connector, image), call)
        advice = station.advise(bench, about, asked)
        answered = {"answer": advice.answer, "basis": advice.basis, "remarks": advice.remarks, "as_of": advice.as_of}
        detail = {"connector": about.connector, "mark": about.mark, "plan": advice.plan}
        board = screen.Board(
            about.name,
            dialogue.Shift(bench=call.told.name),
            bench.box.counts(),
            bench.clock(),
            equipment=reports.equipment(bench, brought["tool"], brought["contact"]),
            ids=tuple(each.id for each in about.snapshot.definition.cavities) if about.snapshot else (),
        )
        seen = screen.look(output.console(call), ascii_only=call.told.ascii)
        output.give(
            call, {**answered, **detail}, screen.answer(advice, board, seen, whole=whole or not sys.stdout.isatty())
        )
    sys.exit(ANSWERED[advice.answer])


@main.command(epilog=EXITS)
@click.argument("kind", type=click.Choice([each.value for each in Kind]))
@click.option("--connector", help="Its mark: serial, UII, id, or a whole message.")
@click.option("--image", help="An image of its mark, instead of --connector.")
@click.option("--by", "performed_by", required=True, help="Badge of who did it.")
@click.option("--cavity", "cavities", multiple=True, help="Cavity id, case-sensitive; several for renewal or carry_in.")
@click.option("--tool", help="Tool: its mark or part number.")
@click.option("--work-order")
@click.option("--contact", help="Part number of the contact.")
@click.option("--force-n", type=float, help="Force of a seating test, in newtons.")
@click.option("--held/--failed", default=None, help="Whether the seating test held.")
@click.option(
    "--level/--not-level", default=None, help="What a look at the face gave: pins at one height, sockets flush."
)
@click.option("--tool-looked-at", is_flag=True, default=None, help="The tool's tip was looked at before it went in.")
@click.option("--note", help="Anything worth knowing; the reason of a correction or a resolution.")
@click.option("--performed-at", help="When it was done, RFC 3339 with offset; now if left out.")
@click.option("--corrects", help="Id of the entry that was made in error.")
@click.option("--refers-to", help="Id of the entry that this one is about.")
@click.option("--code", help="Code of the discrepancy that a resolution settles.")
@click.option("--accepted/--not-accepted", default=None, help="Whether an inspector accepts the work.")
@click.option("--blocks/--no-blocks", default=None, help="Whether a finding forbids work.")
@click.option("--asset", help="Where a placement puts it: the aircraft or unit,")
@click.option("--zone", help="the zone,")
@click.option("--position", help="and the position.")
@click.option("--insertions", type=int, help="Opening count of a carry_in,")
@click.option("--removals", type=int, help="removals,")
@click.option("--tine-entries", type=int, help="and tool entries that released nothing.")
@click.option("--occupied/--empty", default=None, help="Whether a contact is in it at a carry_in.")
@click.option("--source", help="Where an opening count comes from.")
@click.option("--id", "entry_id", help="Id of the entry (a UUID); the same id again records nothing twice.")
@_as_json
@click.pass_obj
def record(call: Call, /, kind: str, connector: str | None, image: str | None, **told: Any) -> None:
    """Record one fact that has happened. It is on disk here before it is sent, and is never refused as unwelcome."""
    with output.troubles(call), assembly.bench(call.told) as bench:
        fields = _fields(call, told, bench.clock())
        entry = drafts.checked({**fields, "kind": kind, "connector": _reading(connector, image).text})
        sent = station.record(bench, (entry,))
        own = tuple(each for each in sent.results if each.id == entry.id)
        counts = bench.box.counts()
    told_lines = (f"{kind} {entry.cavity or ''} {entry.id}", reports.summary(sent), *reports.outcomes(sent))
    output.give(call, {"id": entry.id, "result": own[0] if own else None, "counts": counts}, map(Text, told_lines))
    if not own:
        # Without a result of its own it was either sent in an earlier call, or waits.
        sys.exit(Exit.NOT_SENT if sent.stopped else Exit.FINE)
    sys.exit(Exit.FOR_A_PERSON if own[0].outcome in ("parked", "refused") else Exit.FINE)


@main.command("outbox", epilog=EXITS)
@click.option("--retry", help="Id of a refused entry that is to be sent once more.")
@_as_json
@click.pass_obj
def show_outbox(call: Call, retry: str | None) -> None:
    """What is not sent yet, what the service keeps aside, and what it refused and why."""
    with output.troubles(call), assembly.bench(call.told) as bench:
        if retry is not None and not bench.box.again(_uuid(retry)):
            raise phrases.UnclearError(f"{retry} is not the id of a refused entry in this outbox.")
        counts = bench.box.counts()
        held = {status: bench.box.of_status(status) for status in ("unsent", "parked", "refused")}
        output.give(call, {"counts": counts, **held}, reports.outbox_lines(bench))
    output.leave(sending.Sent(), counts)


@main.command(epilog=EXITS)
@_as_json
@click.pass_obj
def send(call: Call) -> None:
    """Send what waits, now, oldest first."""
    with output.troubles(call), assembly.bench(call.told) as bench:
        sent = station.send(bench)
        counts = bench.box.counts()
    output.give(call, {"sent": sent, "counts": counts}, map(Text, (reports.summary(sent), *reports.outcomes(sent))))
    output.leave(sent, counts)


@main.command(epilog=EXITS)
@click.option("--asset", help="All connectors that are placed in this aircraft or unit.")
@click.argument("marks", nargs=-1, metavar="[SERIAL]...")
@_as_json
@click.pass_obj
def take(call: Call, *, marks: tuple[str, ...], asset: str | None) -> None:
    """Fetch connectors for work without the network, by their serials or marks, or all of an asset."""
    with output.troubles(call), assembly.bench(call.told) as bench:
        if not marks and not asset:
            raise phrases.UnclearError("Say which connectors: their serials or marks, or --asset.")
        taken = station.take(bench, marks, asset)
    output.give(call, {"taken": taken}, (Text(reports.taken(each)) for each in taken))
    sys.exit(Exit.NO_ANSWER if any(each.why for each in taken) else Exit.FINE)


@main.command()
@click.option("--port", type=click.IntRange(0, 65_535), default=8601, show_default=True)
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on; 0.0.0.0: whole network.")
@click.option("--certificate", type=_FILE, help="Certificate for TLS (TINEBOOK_BENCH_CERTIFICATE).")
@click.option("--key", type=_FILE, help="Its key (TINEBOOK_BENCH_KEY).")
@click.option("--authority", type=_FILE, help="Authority that devices are to trust (TINEBOOK_BENCH_AUTHORITY).")
@click.pass_obj
def serve(call: Call, /, port: int, host: str, **files: Path | None) -> None:
    """Serve the bench page, with the service's API behind it on the same origin. TLS 1.2 or above with a certificate."""
    # The terminal commands start in half the time without a web server.
    import uvicorn  # noqa: PLC0415

    from scanner_client import credentials  # noqa: PLC0415
    from scanner_client import serve as page  # noqa: PLC0415

    told = structs.replace(call.told, **{name: path for name, path in files.items() if path is not None})
    try:
        offered = credentials.offered(told.certificate, told.key, told.authority, assembly.now(), output.note)
    except credentials.UnusableError as error:
        output.fail(call, str(error))
    context = offered.context
    uvicorn.run(
        page.build_app(told.url, told.answer_s, authority_der=offered.authority_der),
        host=host,
        port=port,
        server_header=False,
        log_level="warning",
        ssl_context_factory=None if context is None else lambda *_: context,
    )


main.add_command(authority_cli.authority)


def _reading(connector: str | None, image: str | None) -> Reading:
    if (connector is None) == (image is None):
        raise phrases.UnclearError("Say which connector: --connector MARK, or --image with a picture of its mark.")
    reading = (
        readings.typed(connector) if connector is not None else decode.scan(sources.photo(image or ""), image or "")
    )
    reason = readings.fault(reading)
    if reason:
        raise phrases.UnclearError(reason)
    return reading


def _subject(bench: Bench, reading: Reading, call: Call) -> dialogue.Subject:
    """The one connector that a mark means; several are for a person to choose from."""
    found = station.find(bench, reading)
    if isinstance(found, dialogue.Missing):
        return dialogue.Subject(mark=found.mark, name=reading.shown, remarks=(found.why,))
    assert isinstance(found, dialogue.Found)  # noqa: S101 - a find is answered by one of the two
    if len(found.connectors) > 1:
        listed = "; ".join(f"{each.id} serial {each.serial} part {each.part_number}" for each in found.connectors)
        output.fail(call, f"Several connectors carry this mark; give the id of one: {listed}", Exit.FOR_A_PERSON)
    return station.open_connector(bench, found.connectors[0].id, found.mark).subject


def _fields(call: Call, told: dict[str, Any], now: datetime) -> dict[str, Any]:
    """The fields of an entry from the options of `record`."""
    fields = {name: value for name, value in told.items() if value is not None and name not in ("cavities", "entry_id")}
    cavities = told["cavities"]
    fields |= {"cavity": cavities[0]} if len(cavities) == 1 else {"cavities": cavities} if cavities else {}
    fields.setdefault("performed_at", now)
    if call.told.name:
        fields["bench"] = call.told.name
    return {**fields, "id": _uuid(told["entry_id"]) if told["entry_id"] else desk.fresh_id()}


def _uuid(told: str) -> UUID:
    try:
        return UUID(told)
    except ValueError:
        raise phrases.UnclearError(
            f"'{told}' is not an id: one looks like 01890a5d-ac96-774b-bcce-b302099a8057."
        ) from None


def _meaning(bench: Bench, reading: Reading) -> dict[str, Any]:
    """What a scan means, by the service or, while it is away, by what is known here."""
    view = station.meaning(bench, reading)
    basis = {
        "symbology": reading.symbology,
        "text": reading.shown,
        "bytes_base64": base64.b64encode(reading.data).decode(),
        "fault": readings.fault(reading),
    }
    if view is not None:
        return {
            **basis,
            "meaning": view.meaning,
            "identity": view.identity,
            "fields": view.fields,
            "connectors": view.connectors,
        }
    found = station.find(bench, reading)
    lines: tuple[ConnectorLine, ...] = found.connectors if isinstance(found, dialogue.Found) else ()
    return {**basis, "meaning": None, "identity": None, "fields": {}, "connectors": lines, "away": True}


def _echo(console: Console, stir: Callable[[], None]) -> Callable[[str], None]:
    """Show what is being typed, in place: somebody is there."""

    def echo(text: str) -> None:
        stir()
        with suppress(UnicodeEncodeError):
            console.file.write(f"\r\x1b[K{text}")
            console.file.flush()

    return echo


if __name__ == "__main__":
    main()
