"""What the page ships of others: the very files that were pinned, with their licences, and no way to another origin."""

import gzip
import importlib.util
import json
import re
import shutil
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent
PAGE = ROOT / "scanner_client" / "page"
VENDOR = PAGE / "vendor"
SCRIPT = ROOT / "deploy" / "vendor.py"
CODE = (".js", ".css", ".html", ".svg", ".webmanifest")
NAMES = re.compile(rb"http://www\.w3\.org/[A-Za-z0-9/]+")
"""Names of XML vocabularies are addresses by their form alone; nothing is fetched from them."""
ADDRESS = re.compile(rb"(https?|wss?|ftp):/|[\"'`(]//[A-Za-z0-9]", re.IGNORECASE)


@pytest.fixture(scope="module")
def vendor() -> ModuleType:
    """The script as a module."""
    spec = importlib.util.spec_from_file_location("vendor", SCRIPT)
    assert spec is not None
    assert spec.loader is not None
    made = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(made)
    return made


def test_the_files_are_those_that_were_pinned() -> None:
    """The gate's check passes; it needs no network."""
    run = subprocess.run([sys.executable, str(SCRIPT), "--check"], check=False, capture_output=True, text=True)
    assert (run.returncode, run.stderr) == (0, "")


def _altered(home: Path) -> None:
    (home / "zxing_reader.wasm").write_bytes((home / "zxing_reader.wasm").read_bytes()[:-1] + b"\0")


def _lost(home: Path) -> None:
    (home / "LICENSES.txt").unlink()


def _added(home: Path) -> None:
    (home / "more.js").write_text("export {};\n")


@pytest.mark.parametrize(
    ("change", "said"),
    [(_altered, "zxing_reader.wasm is not the file"), (_lost, "LICENSES.txt is listed"), (_added, "more.js is there")],
    ids=["altered", "lost", "added"],
)
def test_any_other_file_is_found(vendor: ModuleType, tmp_path: Path, change: object, said: str) -> None:
    """A file that was altered, lost or added fails the check by its name."""
    home = tmp_path / "vendor"
    shutil.copytree(VENDOR, home)
    assert callable(change)
    change(home)
    with pytest.raises(vendor.WrongError, match=said):
        vendor.check(home)


def test_a_change_applies_once_or_not_at_all(vendor: ModuleType) -> None:
    """A change that a new version does not need, or that would hit more than was meant, is refused."""
    change = [{"why": "a test", "pattern": "b", "put": "\\1"}]
    assert vendor.changed(b"abc", change, "x.js") == b"a\\1c"
    for data in (b"ac", b"abb"):
        with pytest.raises(vendor.WrongError, match=r"x\.js"):
            vendor.changed(data, change, "x.js")


@pytest.mark.parametrize("path", sorted(PAGE.rglob("*")), ids=lambda path: str(path.relative_to(PAGE)))
def test_no_file_names_another_origin(path: Path) -> None:
    """No file that a browser carries out holds an address on another origin; what is asked for is seen by the eye's tests too."""
    if path.suffix in {*CODE, ".wasm"}:
        assert ADDRESS.findall(NAMES.sub(b"", path.read_bytes())) == []


def test_every_part_has_its_licence() -> None:
    """Each package's licence, and that of what the wasm file embeds, is shipped in full beside it."""
    shipped = (VENDOR / "LICENSES.txt").read_text()
    for file in json.loads((VENDOR / "vendor.json").read_text())["packages"][0]["files"]:
        assert file["name"] in shipped
    for each in (
        "zxing-cpp",
        "Apache License",
        "END OF TERMS AND CONDITIONS",
        "MIT License",
        "Preact",
        "LLVM Exceptions",
    ):
        assert each in shipped


def test_it_is_small_enough() -> None:
    """The decoder and the view's library leave room for the page in a first load of 1.1 MB, 450 kB compressed."""
    data = [each.read_bytes() for each in VENDOR.iterdir() if each.suffix in (".js", ".wasm")]
    assert sum(len(each) for each in data) < 1_025_000
    assert sum(len(gzip.compress(each, 9)) for each in data) < 436_000
