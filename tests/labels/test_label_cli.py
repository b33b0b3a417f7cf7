"""The commands that write labels."""

from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from service import cli
from service.core import marks, wedge_profile
from tests.api.test_recording import registration
from tests.conftest import Started, run
from tests.labels import readers


def tinebook(*arguments: str, **environment: str) -> Result:
    """Run `tinebook label`."""
    return CliRunner(env=environment).invoke(cli.main, ["label", *arguments])


@pytest.fixture
def registered(service: Started) -> dict[str, Any]:
    """A connector on the books."""

    async def work() -> Any:
        async with service() as client:
            made = (await client.post("/v1/connectors", json=registration("EX-0001"))).json()
            await client.post("/v1/connectors", json=registration("EX-0002"))
        return made

    found: dict[str, Any] = run(work())
    return found


def test_labels_of_connectors(registered: dict[str, Any], dsn: str, tmp_path: Path) -> None:
    """Connectors found by id or serial get labels: one as a picture, several on a sheet."""
    picture, sheet = tmp_path / "one.png", tmp_path / "all.pdf"
    done = tinebook("connector", registered["id"], "--output", str(picture), TINEBOOK_DSN=dsn)
    assert done.exit_code == 0, done.output
    (text,) = readers.zxing(readers.png(picture.read_bytes()))
    assert marks.read(text).identity == registered["id"]
    done = tinebook("connector", "EX-0001", "EX-0002", "--output", str(sheet), TINEBOOK_DSN=dsn)
    assert done.exit_code == 0, done.output
    (page,) = readers.pdf(sheet.read_bytes(), 300)
    assert text in readers.zxing(page[::2, ::2])
    assert "S/N EX-0002" in done.stdout


def test_what_can_not_be_labelled_is_said(registered: dict[str, Any], dsn: str, tmp_path: Path) -> None:
    """An unknown connector, several on one picture, an unknown ending and an unreadable size end with status 1 and a reason."""
    output = str(tmp_path / "x.png")
    for arguments, told in (
        (("connector", "EX-9999", "--output", output), "no connector is registered under 'EX-9999'"),
        (("connector", "EX-0001", registered["id"], "--output", output), "several labels go on"),
        (("own", "badge", "117", "118", "--output", "x.pdf", "--page", "label"), "several labels go on"),
        (("own", "badge", "117", "--output", "x.gif"), "must end in .svg, .png or .pdf"),
        (("own", "badge", "117", "--output", output, "--module-mm", "0.1"), "does not read back"),
        (("own", "cavity", "a b", "--output", output), "a cavity's id has no spaces"),
    ):
        done = tinebook(*arguments, TINEBOOK_DSN=dsn)
        assert (done.exit_code, told in done.stderr) == (1, True), done.output
    assert not list(tmp_path.iterdir())


def test_our_own_marks_and_the_check_symbol(tmp_path: Path) -> None:
    """Badges and the check symbol for scanners are printed without a database."""
    badge, check = tmp_path / "badge.svg", tmp_path / "check.pdf"
    assert tinebook("own", "badge", "117", "--output", str(badge)).exit_code == 0
    assert readers.zxing(readers.svg(badge.read_bytes())) == [b"urn:tinebook:badge:117"]
    assert tinebook("check", "--output", str(check), "--page", "a4").exit_code == 0
    (page,) = readers.pdf(check.read_bytes(), 300)
    assert readers.zxing(page[::2, ::2]) == [wedge_profile.CHECK.encode()]
