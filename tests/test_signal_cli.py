"""`tinebook signals`: for a person, and as JSON lines that are the API's answers."""

import json

from click.testing import CliRunner

from service import cli


def test_signals_at_the_shell(dsn: str) -> None:
    """All questions but the one about people, in words; one as JSON; a stretch of time that ends before it begins is refused."""
    runner = CliRunner(env={"TINEBOOK_DSN": dsn})
    told = runner.invoke(cli.main, ["signals"])
    assert told.exit_code == 0, told.output
    assert told.output.count("Nothing stands out") == 9
    assert "person" not in told.output
    asked = ["signals", "--about", "tool", "--about", "person", "--json", "--all", "--family", "38999-III"]
    lines = [json.loads(each) for each in runner.invoke(cli.main, asked).output.splitlines()]
    assert [each["about"] for each in lines] == ["tool", "person"]
    assert any("no basis for judging" in each for each in lines[1]["cannot_show"])
    refused = runner.invoke(cli.main, ["signals", "--since", "2026-10-02", "--until", "2026-10-01"])
    assert refused.exit_code == 1
    assert "since must lie before until" in refused.output


def test_answers_are_kept_at_the_shell(dsn: str) -> None:
    """All but people are kept, once in so many hours; a question about a part, or about people, is not kept."""
    runner = CliRunner(env={"TINEBOOK_DSN": dsn})
    told = runner.invoke(cli.main, ["signals", "--keep"])
    assert told.exit_code == 0, told.output
    assert told.output.count(": kept, answered in") == 9
    again = runner.invoke(cli.main, ["signals", "--keep", "--once-in-hours", "12"])
    assert again.output.count("kept already") == 9
    for wrong in (["--about", "person"], ["--zone", "410"], ["--since", "2026-10-02"]):
        assert runner.invoke(cli.main, ["signals", "--keep", *wrong]).exit_code == 2
