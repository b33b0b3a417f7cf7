"""The README is held to the program: what is promised exists, and what exists is said."""

import re
from pathlib import Path

import click
import pytest

from service import cli, problems, settings
from service.api.contract import OPERATIONS
from service.core.cycles import Wear
from service.core.discrepancies import Code
from service.core.entries import Entry, Kind
from service.settings import Settings
from service.workflow.access import Scope

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text()
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text()

PROMISED = {
    "kinds": [each.value for each in Kind],
    "discrepancies": [each.value for each in Code],
    "wear": [each.value for each in Wear],
    "outcomes": ["recorded", "already_recorded", "parked", "refused"],
    "scopes": [each.value for each in Scope],
    "settings": [f"{settings.PREFIX}{each.upper()}" for each in Settings.__struct_fields__],
    "problems": [each.value[0] for each in problems.Type],
    "operations": [each.path for each in OPERATIONS],
    "fields": [each for each in Entry.__struct_fields__ if each not in ("zone", "bench")],
}


@pytest.mark.parametrize("what", PROMISED)
def test_the_readme_names_everything(what: str) -> None:
    """Every kind, code, outcome, scope, setting, problem, operation and field of an entry stands in the README."""
    missing = [
        each
        for each in PROMISED[what]
        if f"`{each}`" not in README and each not in re.findall(r"`[A-Z]+ (\S+?)`", README)
    ]
    assert not missing


def test_commands_in_the_readme_exist() -> None:
    """Every `tinebook` and `tinebook-bench` command that the README shows is one."""
    from scanner_client import cli as bench  # noqa: PLC0415 - only this test needs the bench

    roots: dict[str, click.Command] = {"tinebook": cli.main, "tinebook-bench": bench.main}
    shown = re.findall(r"^(?:tinebook(?:-bench)?) +(?:[a-z][a-z-]*)(?: +[a-z]+(?:-[a-z]+)*)?", README, re.MULTILINE)
    assert len(shown) >= 8
    for line in shown:
        program, *words = line.split()
        command = roots[program]
        for word in words:
            if isinstance(command, click.Group):
                assert word in command.commands, line
                command = command.commands[word]


def test_files_in_the_documents_exist() -> None:
    """Pictures and files that the documents point to are there."""
    pictures = re.findall(r"!\[[^]]*\]\(([^)]+)\)", README)
    named = re.findall(r"`((?:deploy|service|scanner_client|tests|\.ci)/[\w./-]+)`", README + DEVELOPERS)
    assert pictures
    assert not [each for each in [*pictures, *named] if not (ROOT / each).exists()]


def test_the_job_stands_first() -> None:
    """The README opens with the job in one paragraph."""
    first = README.split("\n\n")[1]
    assert first.startswith("**The job.**")
    assert "no_go" in first
