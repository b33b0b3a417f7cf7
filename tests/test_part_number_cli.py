"""The command `tinebook part-number`, at a shell."""

import json

from click.testing import CliRunner

from service import cli


def run(*arguments: str) -> tuple[int, str]:
    """Exit status and output of the command."""
    done = CliRunner().invoke(cli.main, ["part-number", *arguments])
    return done.exit_code, done.output


def test_a_number_is_shown_as_a_table() -> None:
    """Fields with their meaning and how it is known, arrangement, keys, contacts with bands, and tools."""
    status, shown = run("D38999/26WE6SN")
    assert status == 0
    assert "syntax fine, arrangement on the list" in shown
    assert "shell     E   shell size 17                           [second-hand]" in shown
    assert "cavities: A B C D E F [second-hand]" in shown
    assert "keys at 80°, 142°, 196°, 293°" in shown
    assert "bands orange/green/orange" in shown
    assert "M81969/14-04  removes size 12: white end" in shown


def test_a_wrong_character_is_pointed_at() -> None:
    """The caret stands below the wrong character, and the command says so by its exit status."""
    status, shown = run("D38999/26WI35SN")
    assert status == 1
    number, pointer = shown.splitlines()[:2]
    assert number[pointer.index("^")] == "I"
    assert "Allowed here: A, B, C, D, E, F, G, H, J" in pointer


def test_contacts_and_tools_are_shown_too() -> None:
    """A contact with its bands, a tool with what it does, and what no list has."""
    assert "bands orange/blue/black" in run("M39029/58-360")[1]
    assert "in its one spelling: AS39029/58-360" in run("M39029/58-360")[1]
    assert "removes size 20 of 26500: removal tool, red [memory]" in run("MS24256R20")[1]
    assert "arrangement 8-8: not known; this shell has 2, 3, 98" in run("M83723/72W808N")[1]


def test_json_is_what_the_api_gives() -> None:
    """With --json everything comes as one object."""
    status, shown = run("--json", "AS39029/58-360")
    assert status == 0
    assert [each["colour"] for each in json.loads(shown)["contact"]["bands"]] == ["orange", "blue", "black"]
