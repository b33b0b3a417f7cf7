"""The command `tinebook`, as a system owner uses it."""

import json
import os
import re
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from service import app, cli
from service.store import database
from tests.api.test_recording import entry, registration
from tests.conftest import Started, run


class Owner:
    """Somebody at a shell, with a database."""

    def __init__(self, dsn: str, directory: Path) -> None:
        self.dsn = dsn
        self.directory = directory

    def run(self, *arguments: str, **environment: str) -> Result:
        """Run the command."""
        given = {"TINEBOOK_DSN": self.dsn} | environment
        return CliRunner(env=given).invoke(cli.main, arguments)

    def file(self, *entries: Any) -> str:
        """A file with one entry a line."""
        path = self.directory / "history.ndjson"
        path.write_text("".join((each if isinstance(each, str) else json.dumps(each)) + "\n" for each in entries))
        return str(path)


@pytest.fixture
def owner(dsn: str, tmp_path: Path) -> Owner:
    """Somebody at a shell, with a database of his own."""
    return Owner(dsn, tmp_path)


def test_tokens_are_made_listed_and_revoked(owner: Owner) -> None:
    """A token is printed once, listed without its secret, and revoked by its name."""
    made = owner.run("token", "make", "Bench 3", "--scope", "bench", "--days", "30")
    assert made.exit_code == 0
    token = made.stdout.strip()
    assert re.fullmatch(r"tb_[\w-]{43}", token)
    listed = owner.run("token", "list").stdout
    assert "Bench 3" in listed
    assert token not in listed
    assert owner.run("token", "revoke", "Bench 3").stdout == "1 revoked\n"
    assert "revoked" in owner.run("token", "list").stdout
    again = owner.run("token", "revoke", "Bench 3")
    assert again.exit_code == 1
    assert "no token in force" in again.stderr
    assert owner.run("token", "make", "X", "--scope", "everything").exit_code == 2


def test_migrate_twice_and_settings(owner: Owner) -> None:
    """A schema that is up to date is left alone; a setting that is none, or can't be, is refused by name."""
    assert owner.run("migrate").stdout == "the schema is up to date\n"
    wrong = owner.run("migrate", TINEBOOK_PROT="1")
    assert wrong.exit_code == 2
    assert "TINEBOOK_PROT" in wrong.stderr
    nowhere = owner.run("verify", TINEBOOK_DSN="postgresql://nobody@127.0.0.1:1/none")
    assert nowhere.exit_code == 2
    assert "Traceback" not in nowhere.stderr
    unset = owner.run("migrate", "--service-password-from", "NOT_THERE")
    assert unset.exit_code == 2


def test_import_verify_rebuild(owner: Owner, service: Started) -> None:
    """A file is imported whole, again without doubling, and what it leaves is proved; a state that was altered is put right."""

    async def register() -> None:
        async with service() as client:
            await client.post("/v1/connectors", json=registration())

    run(register())
    facts = [entry("insertion" if number % 2 else "removal", minute=-number) for number in range(1, 8)]
    stray = entry("insertion", serial="NOT-HERE")
    path = owner.file(*facts, stray, entry("insertion", "q"))
    assert owner.run("import", "entries", path, "--dry-run").stdout == "every line can be read\n"
    first = owner.run("import", "entries", path)
    assert first.exit_code == 1, "one line names a cavity that is not there"
    assert ":9: the connector has no cavity 'q'" in first.stderr
    assert first.stdout == "7 recorded, 0 already recorded, 1 parked, 1 refused\n"
    second = owner.run("import", "entries", path)
    assert second.stdout == "0 recorded, 7 already recorded, 1 parked, 1 refused\n"
    assert owner.run("verify").stdout == "everything is as it was recorded\n"

    async def alter() -> None:
        async with database.owner(owner.dsn) as connection:
            await connection.execute(
                "update tinebook.head set state = replace(convert_from(state, 'UTF8'), '4', '1')::bytea"
            )

    run(alter())
    found = owner.run("verify", "--json")
    assert found.exit_code == 1
    assert [json.loads(each)["place"] for each in found.stdout.splitlines()] == ["state"]
    rebuilt = owner.run("rebuild")
    assert rebuilt.exit_code == 0
    assert "1 states written anew, 0 breaks" in rebuilt.stdout
    assert owner.run("verify").exit_code == 0


def test_a_file_that_cannot_be_read_imports_nothing(owner: Owner) -> None:
    """Each line that can't be read is named with what is wrong, and nothing of the file is recorded."""
    path = owner.file(
        entry("insertion"), "{", entry("insertion") | {"performed_at": "2026-01-01"}, entry("insertion", None)
    )
    failed = owner.run("import", "entries", path)
    assert failed.exit_code == 1
    lines = [each for each in failed.stderr.splitlines() if ".ndjson:" in each]
    assert [each.split(":")[1] for each in lines] == ["2", "3", "4"]
    assert "cavity: an insertion happens in one cavity" in lines[2]

    async def count() -> Any:
        async with database.owner(owner.dsn) as connection:
            return await connection.fetchval("select count(*) from tinebook.receipt")

    assert run(count()) == 0


def test_a_pipe_is_not_imported(owner: Owner) -> None:
    """What can be read only once is not taken: after the check nothing would be left, and all would seem well."""
    pipe = owner.directory / "pipe"
    os.mkfifo(pipe)
    failed = owner.run("import", "entries", str(pipe))
    assert failed.exit_code == 2
    assert "is no ordinary file" in failed.stderr


def test_one_clock() -> None:
    """The service's clock tells UTC."""
    assert app.now().utcoffset() is not None
    assert app.now().utcoffset().total_seconds() == 0  # type: ignore[union-attr]
