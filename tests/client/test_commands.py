"""The commands: what they print, what they give to scripts, and the status they end with."""

import json
import os
import re
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any
from uuid import UUID

import httpx
import pytest
import zxingcpp
from click.testing import CliRunner, Result

from scanner_client import cli, guidance, link, outbox, settings, station
from scanner_client.output import Exit
from service.core import wedge_profile
from tests.client import fake, symbols, terminals
from tests.client.fake import Service

Run = Callable[..., Result]


@pytest.fixture
def run(service: Service, outbox_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Run a command as somebody would, on the stand-in service."""
    real = link.client

    def client(url: str, token: str | None, patience: link.Patience) -> httpx.Client:
        return real(url, token, patience, service.transport())

    monkeypatch.setattr(link, "client", client)
    for name in [each for each in os.environ if each.startswith("TINEBOOK_BENCH_")]:
        monkeypatch.delenv(name)
    environment = {"TINEBOOK_BENCH_OUTBOX": str(outbox_path), "TINEBOOK_BENCH_TOKEN": "t", "COLUMNS": "80"}

    def run_it(*told: str, given: bytes | None = None) -> Result:
        result = CliRunner().invoke(cli.main, told, env=environment, input=given)
        assert result.exception is None or isinstance(result.exception, SystemExit), result.exc_info
        return result

    return run_it


@pytest.fixture
def photo(tmp_path: Path) -> str:
    """A photo of the connector's mark."""
    path = tmp_path / "mark.png"
    path.write_bytes(symbols.encoded(symbols.page(symbols.symbol("SN-1042"))))
    return str(path)


def told(result: Result) -> Any:
    """The JSON that a command gave."""
    return json.loads(result.stdout)


def test_plan_answers_by_status_and_words(run: Run) -> None:
    """Go is 0, warn 10, no_go 20, and the screen says the word."""
    result = run("plan", "--connector", "SN-1042", "insert:14")
    assert result.exit_code == Exit.FINE
    assert "GO" in result.stdout
    assert run("plan", "--connector", "SN-1042", "remove:14").exit_code == Exit.NO_GO
    assert run("plan", "--connector", "SN-1042", "--tool", "nobody's", "insert:14").exit_code == Exit.WARN
    assert run("plan", "--connector", "SN-9", "insert:14").exit_code == Exit.NO_ANSWER


def test_plan_for_scripts(run: Run) -> None:
    """--json, before or after the command, gives the whole plan with what it rests on."""
    for given in (("--json", "plan"), ("plan", "--json")):
        result = told(run(*given, "--connector", "SN-1042", "insert:14", "replace:C"))
        assert (result["answer"], result["basis"]) == ("no_go", "service")
        assert [each["answer"] for each in result["plan"]["steps"]] == ["go", "no_go"]
        assert result["connector"] == str(fake.CONNECTOR)


def test_plan_from_a_photo(run: Run, photo: str) -> None:
    """The connector can be shown by a photo of its mark."""
    assert run("plan", "--image", photo, "insert:14").exit_code == Exit.FINE


def test_plan_without_the_service(run: Run, service: Service) -> None:
    """The last known state answers, and says so; nothing known is 30."""
    run("plan", "--connector", "SN-1042", "insert:14")
    service.cut = lambda _: "away"
    result = told(run("plan", "--json", "--connector", "SN-1042", "insert:14"))
    assert (result["answer"], result["basis"]) == ("go", "bench")
    assert "last known state" in result["remarks"][0]
    assert run("plan", "--connector", "SN-2", "insert:14").exit_code == Exit.NO_ANSWER


USAGE = [
    ("plan", "--connector", "SN-1042", "frobnicate:14"),
    ("plan", "--connector", "SN-1042"),
    ("plan", "insert:14"),
    ("plan", "--connector", "x", "--image", "y", "insert:14"),
    ("record", "insertion", "--connector", "SN-1042", "--by", "B-7"),
    ("record", "insertion", "--connector", "SN-1042", "--by", "B-7", "--cavity", "14", "--performed-at", "yesterday"),
    (
        "record",
        "insertion",
        "--connector",
        "SN-1042",
        "--by",
        "B-7",
        "--cavity",
        "14",
        "--performed-at",
        "2026-11-25T08:00:00",
    ),
    ("record", "insertion", "--connector", "SN-1042", "--by", "B-7", "--cavity", "14", "--id", "seven"),
    ("record", "mating", "--connector", "SN-1042", "--by", "B-7", "--cavity", "14"),
    ("record", "sawing", "--connector", "SN-1042", "--by", "B-7"),
    ("record", "insertion", "--connector", "[)>0617V", "--by", "B-7", "--cavity", "14"),
    ("outbox", "--retry", "00000000-0000-0000-0000-000000000001"),
]


@pytest.mark.parametrize("given", USAGE, ids=[" ".join(each)[-40:] for each in USAGE])
def test_what_is_not_understood_is_2_and_records_nothing(run: Run, service: Service, given: tuple[str, ...]) -> None:
    """A slip of the keys is told from an answer, and leaves nothing in the outbox."""
    result = run(*given)
    assert result.exit_code == Exit.USAGE
    assert result.stderr
    assert service.ledger == []
    assert told(run("outbox", "--json"))["counts"]["unsent"] == 0


def test_record_reaches_the_ledger_with_all_its_fields(run: Run, service: Service) -> None:
    """Each option ends in its field; the id is given back."""
    result = run(
        *("record", "seating_test", "--json", "--connector", "SN-1042", "--by", "B-7", "--cavity", "c", "--failed"),
        *(
            "--force-n",
            "66.7",
            "--note",
            "slipped",
            "--work-order",
            "WO-1",
            "--performed-at",
            "2026-11-25T07:00:00+01:00",
        ),
    )
    assert result.exit_code == Exit.FINE
    entry = service.ledger[0].entry
    assert (entry.kind, entry.cavity, entry.held, entry.force_n) == ("seating_test", "c", False, 66.7)
    assert (entry.note, entry.work_order, entry.performed_at.isoformat()) == (
        "slipped",
        "WO-1",
        "2026-11-25T07:00:00+01:00",
    )
    assert told(result)["id"] == str(entry.id)
    assert told(result)["result"]["outcome"] == "recorded"


def test_record_twice_with_one_id_is_once(run: Run, service: Service) -> None:
    """A script may repeat a call whose end it did not see."""
    given = ("record", "mating", "--connector", "SN-1042", "--by", "B-7", "--performed-at", "2026-11-25T07:00:00Z")
    identity = ("--id", str(UUID(int=7)))
    assert run(*given, *identity).exit_code == Exit.FINE
    assert run(*given, *identity).exit_code == Exit.FINE
    assert len(service.ledger) == 1
    other = run("record", "unmating", "--connector", "SN-1042", "--by", "B-7", *identity)
    assert other.exit_code == Exit.TROUBLE
    assert "other content" in other.stderr


def test_record_without_the_service_is_kept_and_sent_later(run: Run, service: Service) -> None:
    """40 says that it is on disk; `outbox` shows it, `send` sends it."""
    service.cut = lambda _: "away"
    assert run("record", "mating", "--connector", "SN-1042", "--by", "B-7").exit_code == Exit.NOT_SENT
    waiting = run("outbox")
    assert waiting.exit_code == Exit.NOT_SENT
    assert "mating" in waiting.stdout
    assert run("send").exit_code == Exit.NOT_SENT
    service.cut = lambda _: "answer"
    assert run("send").exit_code == Exit.FINE
    assert run("outbox").exit_code == Exit.FINE
    assert len(service.ledger) == 1


def test_what_needs_a_person_is_50(run: Run, service: Service) -> None:
    """Parked and refused are told from recorded; a refused one can be sent once more."""
    assert run("record", "mating", "--connector", "SN-9", "--by", "B-7").exit_code == Exit.FOR_A_PERSON
    service.refuse = lambda _: "not today"
    assert run("record", "mating", "--connector", "SN-1042", "--by", "B-7").exit_code == Exit.FOR_A_PERSON
    listed = told(run("outbox", "--json"))
    assert listed["refused"][0]["problem"]["detail"] == "not today"
    service.refuse = lambda _: None
    run("outbox", "--retry", listed["refused"][0]["entry"]["id"])
    assert run("send").exit_code == Exit.FINE
    assert len(service.ledger) == 1


def test_several_matches_are_for_a_person(run: Run, service: Service) -> None:
    """One serial on two connectors: the ids are listed, nothing is guessed."""
    service.definitions[fake.OTHER] = fake.twin("1TEST")
    result = run("plan", "--connector", "SN-1042", "insert:14")
    assert result.exit_code == Exit.FOR_A_PERSON
    assert str(fake.OTHER) in result.stderr
    assert run("plan", "--connector", str(fake.OTHER), "insert:14").exit_code == Exit.FINE


def test_scan_a_folder(run: Run, photo: str, tmp_path: Path) -> None:
    """Every photo of a folder, in name order; a bad one does not hide the others."""
    folder = tmp_path / "photos"
    folder.mkdir()
    (folder / "b.png").write_bytes(Path(photo).read_bytes())
    (folder / "a.png").write_bytes(symbols.encoded(symbols.page(symbols.symbol(symbols.MESSAGE.decode()))))
    (folder / "notes.txt").write_text("not a photo")
    result = run("scan", "--json", str(folder))
    assert result.exit_code == Exit.NO_ANSWER
    found = told(result)["scans"]
    assert [Path(each["image"]).name for each in found] == ["a.png", "b.png"]
    assert [[line["serial"] for line in each["connectors"]] for each in found] == [[], ["SN-1042"]]
    assert found[0]["text"] == "[)><RS>06<GS>17V0CVA5<GS>1P1234<GS>S786950<RS><EOT>"
    (folder / "c.png").write_bytes(b"broken")
    broken = run("scan", "--json", str(folder / "*.png"))
    assert broken.exit_code == Exit.TROUBLE
    assert told(broken)["scans"][2]["error"]["code"] == "not_an_image"


def test_scan_from_standard_input(run: Run) -> None:
    """A photo can be piped in."""
    image = symbols.encoded(symbols.page(symbols.symbol("SN-1042", zxingcpp.BarcodeFormat.QRCode)))
    result = run("scan", "-", given=image)
    assert result.exit_code == Exit.FINE
    assert "SN-1042" in result.stdout


def test_scan_without_the_service(run: Run, service: Service, photo: str) -> None:
    """What is known here is shown as that."""
    run("plan", "--connector", "SN-1042", "insert:14")
    service.cut = lambda _: "away"
    result = told(run("scan", "--json", photo))
    assert result["scans"][0]["away"] is True
    assert [each["serial"] for each in result["scans"][0]["connectors"]] == ["SN-1042"]


def test_an_image_that_is_not_there(run: Run) -> None:
    """A wrong name is said with what is read."""
    result = run("scan", "nowhere.png")
    assert result.exit_code == Exit.TROUBLE
    assert "no image here" in result.stderr


def test_work_over_a_pipe(run: Run, service: Service) -> None:
    """The interactive bench can be driven by a script."""
    result = run("work", given=b"B-7\nSN-1042\ndid insert 14\nquit\n")
    assert result.exit_code == Exit.FINE
    assert [each.entry.cavity for each in service.ledger] == ["14"]


def test_a_damaged_outbox_stops_every_command(run: Run, outbox_path: Path) -> None:
    """Nothing is recorded into thin air: the file is named and left as it is."""
    outbox_path.write_bytes(b"rubbish" * 200)
    for given in (("outbox",), ("send",), ("record", "mating", "--connector", "S", "--by", "B"), ("work",)):
        result = run(*given)
        assert result.exit_code == Exit.TROUBLE
        assert "damaged" in result.stderr
    assert outbox_path.read_bytes() == b"rubbish" * 200


def test_a_wrong_setting_is_named(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """A misspelt setting is not ignored."""
    monkeypatch.setenv("TINEBOOK_BENCH_TOKN", "x")
    result = run("outbox")
    assert result.exit_code == Exit.TROUBLE
    assert "TINEBOOK_BENCH_TOKN" in result.stderr


def test_help_lists_every_status(run: Run) -> None:
    """What a script may meet is documented where it is looked for."""
    shown = run("--help").stdout
    for status in Exit:
        assert re.search(rf"^ +{status.value}  ", shown, re.MULTILINE)


def test_wedge_proves_and_keeps(run: Run, outbox_path: Path) -> None:
    """The check symbol as it arrives is turned into this station's profile, told with its day, and kept in the outbox."""
    arrived = wedge_profile.CHECK.encode().replace(b"\x1d", b"\x1b[19~").replace(b"\x1e", b"\x1b[20~")
    result = run("wedge", given=arrived + b"\r")
    assert result.exit_code == Exit.FINE
    assert "GS=F8 RS=F9" in result.stdout
    with closing(outbox.open_file(outbox_path, fake.Clock())) as box:
        proof = box.remembered("wedge of this bench", station.Proof)
    assert proof is not None
    assert proof.profile.name == "GS=F8 RS=F9"
    answer = told(run("wedge", "--json", given=wedge_profile.CHECK.encode()))
    assert answer["profile"] == "plain"
    assert re.fullmatch(r"\d{4}-\d\d-\d\d", answer["proven_on"])


@pytest.mark.parametrize(
    ("arrived", "said"),
    [
        (wedge_profile.CHECK.encode().replace(b"\x1d", b"/"), "may stand in a UII"),
        (wedge_profile.CHECK.encode().swapcase(), "Caps Lock"),
        (b"SN-1042\r", "not what the check symbol should give"),
        (b"", "not what the check symbol should give"),
    ],
)
def test_wedge_proves_nothing_doubtful(run: Run, outbox_path: Path, arrived: bytes, said: str) -> None:
    """A scanner that could confuse two marks is not proven, and says what to set up; what was proven before stays."""
    run("wedge", given=wedge_profile.CHECK.encode())
    result = run("wedge", given=arrived)
    assert result.exit_code == Exit.TROUBLE
    assert said in result.stderr
    with closing(outbox.open_file(outbox_path, fake.Clock())) as box:
        proof = box.remembered("wedge of this bench", station.Proof)
    assert proof is not None
    assert proof.profile.name == "plain"


def test_a_terminal_from_the_check_symbol_to_a_scan(outbox_path: Path) -> None:
    """At a real terminal: not proven, refused; the check symbol; the same scan is read, and so it is at the next start."""
    message = b"[)>\x1e06\x1d17V0CVA5\x1d1P1234\x1dS786950\x1e\x04\r"
    with terminals.running(outbox_path, "work") as bench:
        bench.until("not proven here")
        bench.write(message)
        bench.until("Scan the check symbol first")
        bench.write(wedge_profile.CHECK.encode() + b"\r")
        bench.until("proven on 2")
        bench.write(b"B-7\r")
        bench.write(message)
        bench.until("<GS>S786950<RS><EOT>")
    with terminals.running(outbox_path, "work") as bench:
        bench.until("proven on 2")


def test_a_terminal_that_proves(outbox_path: Path) -> None:
    """At a real terminal the command waits for the symbol, whatever its separators arrive as, or for somebody to leave."""
    with terminals.running(outbox_path, "wedge") as bench:
        bench.until("Ctrl-C leaves")
        bench.write(b"\x03")
        bench.until("Nothing was proven")
    with terminals.running(outbox_path, "wedge") as bench:
        assert "tinebook label check" in bench.until("Ctrl-C leaves")
        bench.write(wedge_profile.CHECK.encode().replace(b"\x1d", b"\x1b[19~").replace(b"\x04", b"") + b"\r")
        bench.until("GS=F8 EOT=nothing")


def test_take_fetches_for_work_without_network(run: Run, service: Service) -> None:
    """What was taken answers while the service is away; what is not registered is named and is 30."""
    assert run("take").exit_code == Exit.USAGE
    result = run("take", "SN-1042")
    assert result.exit_code == Exit.FINE
    assert "SN-1042: 1 connector fetched." in result.stdout
    assert run("take", "SN-1042", "SN-9").exit_code == Exit.NO_ANSWER
    answer = told(run("take", "--json", "--asset", "EX-999"))
    assert answer["taken"] == [{"told": "EX-999", "connectors": [], "why": "No connector is placed there."}]
    service.cut = lambda _: "away"
    assert run("plan", "--connector", "SN-1042", "insert:14").exit_code == Exit.FINE
    assert run("take", "--asset", "EX-999").exit_code == Exit.NO_ANSWER


def test_plan_with_a_contact(run: Run, service: Service) -> None:
    """The contact goes with what is to go in, and an unknown one warns."""
    result = run("plan", "--connector", "SN-1042", "--contact", "AS39029/58-363", "insert:14", "remove:C")
    assert "Contact AS39029/58-363" in result.stdout
    asked = json.loads(service.requests[-1].content)["steps"]
    assert [each.get("contact") for each in asked] == ["AS39029/58-363", None]
    assert "Tinebook can't judge this contact" in " ".join(result.stdout.split())


def test_looks_are_recorded(run: Run, service: Service) -> None:
    """The look at the face and the look at the tool, in one entry each; nothing said is nothing recorded."""
    by = ("--connector", "SN-1042", "--by", "B-7", "--cavity", "14")
    run("record", "insertion", *by, "--tool", "T-1", "--tool-looked-at")
    run("record", "seating_test", *by, "--not-level")
    run("record", "removal", *by)
    looks = [(each.entry.tool_looked_at, each.entry.level) for each in service.ledger]
    assert looks == [(True, None), (None, False), (None, None)]


def test_help_names_every_setting(run: Run) -> None:
    """Each setting of a bench stands in the help."""
    shown = run("--help").stdout
    for name in settings.Settings.__struct_fields__:
        assert f"_{name.upper()}" in shown


def test_help_of_work_says_what_can_be_said(run: Run) -> None:
    """What can be said inside is known before one starts, and that an unattended bench signs off."""
    shown = run("work", "--help").stdout
    assert "TINEBOOK_BENCH_IDLE_MIN" in shown
    assert all(each in shown.split("\n") for each in guidance_lines())


def guidance_lines() -> list[str]:
    """The help inside, as it stands in the help of the command."""
    return [f"  {each}" for each in guidance.help_lines(78)]
