"""`tinebook-bench authority`: what it writes, what it never touches, what it says."""

import hashlib
import json
import os
import re
import stat
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import zxingcpp
from click.testing import CliRunner, Result
from cryptography import x509
from cryptography.hazmat.primitives import serialization

from scanner_client import authority, authority_files, cli, signpost
from scanner_client.output import Exit
from tests.client import tls
from tests.client.tls import HOST

Run = Callable[..., Result]
PRIVATE = ("authority.key", "bench.key")


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """Where the authority is to be."""
    return tmp_path / "shop" / "authority"


@pytest.fixture
def run(place: Path, tmp_path: Path) -> Run:
    """Run the command as somebody would whose files are readable to all unless it is said otherwise."""

    def run_it(*told: str, given: str | None = None) -> Result:
        before = os.umask(0)
        try:
            arguments = ["authority", "--directory", str(place), *told]
            environment = {"TINEBOOK_BENCH_OUTBOX": str(tmp_path / "bench.db")}
            result = CliRunner().invoke(cli.main, arguments, env=environment, input=given)
        finally:
            os.umask(before)
        assert result.exception is None or isinstance(result.exception, SystemExit), result.exc_info
        return result

    return run_it


def files(place: Path) -> dict[str, bytes]:
    """Everything in a directory."""
    return {each.name: each.read_bytes() for each in place.iterdir()}


def leaf(place: Path) -> x509.Certificate:
    """The page's certificate."""
    return x509.load_pem_x509_certificate((place / "bench.pem").read_bytes())


def told(result: Result) -> Any:
    """The JSON that a command gave."""
    assert result.exit_code == Exit.FINE, result.output
    return json.loads(result.stdout)


def test_one_command_makes_all(run: Run, place: Path) -> None:
    """Authority, certificate and sheet, in files whose keys nobody else can read even where files are open to all."""
    answer = told(run(HOST, "--address", "192.0.2.7", "--json"))
    assert set(files(place)) == {
        "authority.key", "authority.pem", "authority.crt", "authority.svg", "bench.key", "bench.pem"
    }  # fmt: skip
    assert stat.S_IMODE(place.stat().st_mode) == 0o700
    assert {stat.S_IMODE((place / each).stat().st_mode) for each in PRIVATE} == {0o600}
    root = x509.load_pem_x509_certificate((place / "authority.pem").read_bytes())
    assert root.public_bytes(serialization.Encoding.DER) == (place / "authority.crt").read_bytes()
    for subject in (HOST, "192.0.2.7"):
        assert tls.library_accepts(root, leaf(place), tls.subject(subject))
    assert (answer["names"], answer["renewed"]) == (f"{HOST}, 192.0.2.7", False)
    # Whoever has no other means compares with the digest of the file.
    plain = hashlib.sha256((place / "authority.crt").read_bytes()).hexdigest()
    assert answer["sha256"].replace(":", "").lower() == plain


def test_it_says_what_to_do(run: Run, place: Path) -> None:
    """The fingerprint, the names, how to serve, what to do on each kind of device, and where the key stays."""
    said = run(HOST).stdout
    root = x509.load_pem_x509_certificate((place / "authority.pem").read_bytes())
    for part in (authority.fingerprint(root), f"may sign only for {HOST}", "iPhone", "Android", "Windows", "Linux"):
        assert part in said
    assert f"{HOST}:8601/authority.crt" in said
    assert re.search(r"tinebook-bench serve .*--certificate \S+/bench.pem --key \S+/bench.key --authority \S+", said)


def test_run_again_it_renews_the_page_s_certificate_alone(run: Run, place: Path) -> None:
    """The authority stays to the byte, names are those from before, the new certificate has a new key."""
    told(run(HOST, f"tablet.{HOST}", "--json"))
    before, old = files(place), leaf(place)
    answer = told(run("--days", "30", "--json"))
    after, new = files(place), leaf(place)
    assert answer["renewed"] is True
    assert {each for each in after if after[each] != before[each]} == {"bench.key", "bench.pem"}
    assert new.serial_number != old.serial_number
    assert new.public_key() != old.public_key()
    assert (new.not_valid_after_utc - new.not_valid_before_utc).days == 30
    alternatives = new.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert alternatives.get_values_for_type(x509.DNSName) == [HOST, f"tablet.{HOST}"]
    assert stat.S_IMODE((place / "bench.key").stat().st_mode) == 0o600


def test_other_names_need_another_authority(run: Run, place: Path) -> None:
    """Names below its own are fine; others are refused by name, and nothing is written."""
    run(HOST)
    assert told(run(f"tablet.{HOST}", "--json"))["names"] == f"tablet.{HOST}"
    before = files(place)
    for names in (["bank.example"], [HOST, "bank.example"], [HOST, "--address", "192.0.2.7"]):
        result = run(*names)
        assert result.exit_code == Exit.TROUBLE
        assert "may not sign for" in result.stderr
    assert files(place) == before


@pytest.mark.parametrize("there", ["notes.txt", "authority.key", "authority.pem", "bench.key", ".hidden"])
def test_a_directory_with_something_else_is_not_touched(run: Run, place: Path, there: str) -> None:
    """Whatever is in it, one file of an authority included, stays as it is, and nothing is added."""
    place.mkdir(parents=True)
    (place / there).write_text("mine")
    result = run(HOST)
    assert result.exit_code == Exit.TROUBLE
    assert there in result.stderr
    assert files(place) == {there: b"mine"}


def test_a_file_in_the_place_of_the_directory(run: Run, place: Path) -> None:
    """It stays."""
    place.parent.mkdir()
    place.write_text("mine")
    assert run(HOST).exit_code == Exit.TROUBLE
    assert place.read_text() == "mine"


def test_an_empty_directory_is_used(run: Run, place: Path) -> None:
    """Somebody may have made it before."""
    place.mkdir(parents=True)
    assert run(HOST).exit_code == Exit.FINE


def test_two_at_once_make_one(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A key that appears between look and write is neither written over nor taken away."""
    wanted = authority.names([HOST])
    real = authority.root

    def slow(*given: Any) -> x509.Certificate:
        place.mkdir(parents=True)
        (place / "authority.key").write_text("somebody else's")
        return real(*given)

    monkeypatch.setattr(authority, "root", slow)
    with pytest.raises(FileExistsError):
        authority_files.make(place, wanted, None, tls.lately()[0])
    assert files(place) == {"authority.key": b"somebody else's"}


def test_half_an_authority_is_not_left_behind(run: Run, place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A full disk in the middle leaves nothing that would be in the way of the next attempt."""
    real = os.fsync
    calls: list[int] = []

    def full(file: int) -> None:
        calls.append(file)
        if len(calls) == 2:
            raise OSError(28, "No space left on device")
        real(file)

    with monkeypatch.context() as patched:
        patched.setattr(os, "fsync", full)
        assert run(HOST).exit_code == Exit.TROUBLE
    assert files(place) == {}
    assert run(HOST).exit_code == Exit.FINE


def test_a_passphrase_from_a_file(run: Run, place: Path, tmp_path: Path) -> None:
    """The authority's key is locked with it, renewal needs it, and a wrong one changes nothing."""
    right, wrong, none = tmp_path / "right", tmp_path / "wrong", tmp_path / "none"
    right.write_text("correct horse\nanything else\n")
    wrong.write_text("battery\n")
    none.write_text("\n")
    assert run(HOST, "--passphrase-file", str(right)).exit_code == Exit.FINE
    locked = (place / "authority.key").read_bytes()
    with pytest.raises(TypeError, match="encrypted"):
        serialization.load_pem_private_key(locked, None)
    serialization.load_pem_private_key(locked, b"correct horse")
    before = files(place)
    assert "wrong passphrase" in run("--passphrase-file", str(wrong)).stderr
    assert run("--passphrase-file", str(none)).exit_code == Exit.USAGE
    assert files(place) == before
    assert run("--passphrase-file", str(right)).exit_code == Exit.FINE
    assert files(place)["bench.pem"] != before["bench.pem"]


def test_a_passphrase_that_is_asked_for(run: Run, place: Path) -> None:
    """Twice for a new key, once for a renewal, never shown."""
    result = run(HOST, "--passphrase", given="correct horse\ncorrect horse\n")
    assert result.exit_code == Exit.FINE
    assert "correct horse" not in result.output
    serialization.load_pem_private_key((place / "authority.key").read_bytes(), b"correct horse")
    assert run(given="correct horse\n").exit_code == Exit.FINE
    assert run(given="something else\n").exit_code == Exit.TROUBLE


@pytest.mark.skipif(os.name != "posix", reason="modes of files are of POSIX")
@pytest.mark.parametrize("mode", [0o644, 0o640, 0o604])
def test_a_key_that_lay_open_signs_no_more(run: Run, place: Path, mode: int) -> None:
    """Somebody may have copied it: a person has to look first."""
    run(HOST)
    (place / "authority.key").chmod(mode)
    result = run()
    assert result.exit_code == Exit.TROUBLE
    assert "chmod 600" in result.stderr


def test_a_key_of_another_authority(run: Run, place: Path) -> None:
    """A key that is not that of the certificate beside it signs nothing."""
    run(HOST)
    other = tls.made(authority.names([HOST])).certificate
    (place / "authority.pem").write_bytes(other.public_bytes(serialization.Encoding.PEM))
    assert "is not the key" in run().stderr


def test_an_authority_that_has_ended(run: Run, place: Path) -> None:
    """It can't sign any more, and says so, before a certificate is made that nobody accepts."""
    authority_files.make(place, authority.names([HOST]), None, tls.lately(1, 1900)[0])
    result = run()
    assert result.exit_code == Exit.TROUBLE
    assert "make a new one" in result.stderr


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ((), "at least one name"),
        (("192.0.2.7",), "--address"),
        ((HOST, "--page", "bench:8601"), "--page"),
        ((HOST, "--page", f"https://{HOST}/{'a' * 400}"), "--page"),
        ((HOST, "--days", "398"), "397"),
    ],
)
def test_wrong_calls_write_nothing(run: Run, place: Path, arguments: tuple[str, ...], says: str) -> None:
    """What can't be meant is said, and not even the directory is made."""
    result = run(*arguments)
    assert result.exit_code == Exit.USAGE
    assert says in result.stderr
    assert not place.exists()


def test_the_code_of_the_sheet_reads_as_the_address() -> None:
    """Drawn from its SVG, another decoder run reads exactly the address; the fingerprint is beside it as text."""
    address = f"https://{HOST}:8601/authority.crt"
    drawn = signpost.drawing(address, ("SHA-256 AB:CD",))
    assert "SHA-256 AB:CD" in drawn
    side = int(re.findall(r'viewBox="0 0 (\d+) (\d+)"', drawn)[0][0])
    image = np.full((side, side), 255, dtype=np.uint8)
    for x, y in re.findall(r"M(\d+) (\d+)h8v8h-8z", drawn):
        image[int(y) : int(y) + 8, int(x) : int(x) + 8] = 0
    assert [each.text for each in zxingcpp.read_barcodes(image)] == [address]


def test_the_sheet_follows_the_page(run: Run, place: Path) -> None:
    """The address of a page behind another port or name is what the code holds."""
    run(HOST, "--page", f"https://{HOST}/")
    assert f"https://{HOST}/authority.crt" in (place / "authority.svg").read_text()
