"""Somebody with every right on the database writes history anew, chains, receipts, heads and all: a signed checkpoint shows it."""

import json
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from click.testing import CliRunner, Result

from service.cli import main
from service.core import chain
from service.store import database
from service.workflow import feeding
from tests.api.test_recording import entry, post, registration
from tests.conftest import Started, run


def command(dsn: str, *arguments: str | Path) -> Result:
    """A command of the system owner's."""
    told = [str(each) for each in arguments]
    return CliRunner().invoke(main, told, env={"TINEBOOK_DSN": dsn, "TINEBOOK_OWNER_DSN": dsn})


def made(dsn: str, key: Path, output: Path) -> dict[str, Any]:
    """A checkpoint that was just made."""
    done = command(dsn, "checkpoint", "make", "--key", key, "--output", output)
    assert done.exit_code == 0, done.output
    found: dict[str, Any] = json.loads(output.read_bytes())
    return found


@pytest.fixture
def key(tmp_path: Path) -> Path:
    """A key in its file."""
    file = tmp_path / "checkpoint.pem"
    assert CliRunner().invoke(main, ["checkpoint", "key", str(file)]).exit_code == 0
    assert file.stat().st_mode & 0o777 == 0o600
    return file


async def recorded(service: Started, serials: tuple[str, ...] = ("EX-1", "EX-2")) -> list[str]:
    """Connectors with a few entries each."""
    ids = []
    async with service() as client:
        for serial in serials:
            ids.append((await client.post("/v1/connectors", json=registration(serial))).json()["id"])
            await post(
                client, *(entry(kind, minute=at, serial=serial) for at, kind in enumerate(("insertion", "removal")))
            )
    return ids


async def forge(dsn: str, connector: str) -> None:
    """Change who did the first entry, and make everything that rests on it fit: hashes, receipts, head."""
    async with database.owner(dsn) as owner, owner.transaction():
        for table in ("entry", "receipt"):
            await owner.execute(f"alter table tinebook.{table} disable trigger user")
        rows = await owner.fetch("select * from tinebook.entry where connector = $1 order by number", UUID(connector))
        previous = await owner.fetchval(
            "select hash from tinebook.definition where connector = $1 and number = 1", UUID(connector)
        )
        for row in rows:
            body = row["body"].replace(b"badge 117", b"badge 666") if row["number"] == 1 else row["body"]
            previous = chain.link(previous, body)
            await owner.execute(
                "update tinebook.entry set body = $3, hash = $4 where connector = $1 and number = $2",
                *(UUID(connector), row["number"], body, previous),
            )
            fact = chain.canonical_entry(chain.decode_body(body).recorded.entry)
            await owner.execute("update tinebook.receipt set digest = $2 where id = $1", row["id"], chain.digest(fact))
        await owner.execute("update tinebook.head set hash = $2 where connector = $1", UUID(connector), previous)
        for table in ("entry", "receipt"):
            await owner.execute(f"alter table tinebook.{table} enable trigger user")


def test_a_history_written_anew_shows(service: Started, dsn: str, tmp_path: Path, key: Path) -> None:
    """Without a checkpoint such a forgery passes; with one it does not, and the positions are told about where it is."""
    ids = run(recorded(service))
    kept = tmp_path / "kept.json"
    first = made(dsn, key, kept)
    assert first["size"] == 6
    run(recorded(service, ("EX-3",)))
    second = made(dsn, key, tmp_path / "second.json")
    assert second["size"] == 10
    good = command(dsn, "verify", "--checkpoint", kept, "--public-key", first["public_key"])
    assert good.exit_code == 0, good.output
    run(forge(dsn, ids[1]))
    found = command(dsn, "verify")
    assert found.exit_code == 1
    assert "1 breaks found" in found.output
    assert "checkpoint up to position 6" in found.output
    assert "something at positions 5 to 6 was altered" in found.output

    async def forget() -> None:
        async with database.owner(dsn) as owner:
            await owner.execute("alter table tinebook.checkpoint disable trigger user")
            await owner.execute("delete from tinebook.checkpoint")

    run(forget())
    assert command(dsn, "verify").exit_code == 0, "nothing in the database tells of it any more"
    elsewhere = command(dsn, "verify", "--checkpoint", kept)
    assert elsewhere.exit_code == 1
    assert "up to position 6 is not what was signed" in elsewhere.output


def test_what_is_gone_behind_a_checkpoint_shows(service: Started, dsn: str, tmp_path: Path, key: Path) -> None:
    """A database that was set back to an older state has less in its feed than was signed."""
    run(recorded(service))
    kept = tmp_path / "kept.json"
    made(dsn, key, kept)

    async def cut() -> None:
        async with database.owner(dsn) as owner:
            await owner.execute("alter table tinebook.feed disable trigger user")
            await owner.execute("alter table tinebook.checkpoint disable trigger user")
            await owner.execute("delete from tinebook.feed where position > 4")
            await owner.execute("delete from tinebook.feed_arrival")
            await owner.execute("delete from tinebook.checkpoint")

    run(cut())
    found = command(dsn, "verify", "--checkpoint", kept)
    assert "the feed ends at position 4: what was recorded behind it is gone" in found.output
    assert found.output.count("the feed does not tell of it") == 2
    assert found.exit_code == 1


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"root": "00" * 32}, "is not what its key signed"),
        ({"size": 5}, "is not what its key signed"),
        ({"public_key": "00" * 32}, "is not what its key signed"),
        ({"signature": "odd"}, "is not what its key signed"),
    ],
    ids=str,
)
def test_an_altered_checkpoint_is_none(
    service: Started, dsn: str, tmp_path: Path, key: Path, change: dict[str, Any], says: str
) -> None:
    """Whatever is changed in the file of a checkpoint, its signature no longer covers it."""
    run(recorded(service))
    kept = tmp_path / "kept.json"
    kept.write_text(json.dumps(made(dsn, key, kept) | change))
    found = command(dsn, "verify", "--checkpoint", kept)
    assert found.exit_code == 1
    assert says in found.output


def test_whose_key_it_is(service: Started, dsn: str, tmp_path: Path, key: Path) -> None:
    """Where a key is named, a checkpoint that another signed does not count; and another installation's is not ours."""
    run(recorded(service))
    kept = tmp_path / "kept.json"
    own = made(dsn, key, kept)
    assert command(dsn, "verify", "--public-key", own["public_key"].upper()).exit_code == 0
    other = command(dsn, "verify", "--public-key", "ab" * 32)
    assert "a key that is not among those that are trusted" in other.output

    async def become_another() -> None:
        async with database.owner(dsn) as owner:
            await owner.execute("update tinebook.installation set installation = gen_random_uuid()")

    run(become_another())
    assert "is of another installation" in command(dsn, "verify", "--checkpoint", kept).output


def test_nothing_new_needs_no_new_word(service: Started, dsn: str, tmp_path: Path, key: Path) -> None:
    """Asked twice, the same checkpoint is given; the feed tells of it once, and the list has what was made."""
    run(recorded(service))
    first, second = (made(dsn, key, tmp_path / f"{each}.json") for each in "ab")
    assert first == second
    listed = command(dsn, "checkpoint", "list").output
    assert listed.count(first["root"]) == 1

    async def told() -> list[str]:
        async with database.owner(dsn) as owner:
            await feeding.number(owner)
            rows = await owner.fetch("select body from tinebook.feed where topic = 'checkpoint.made'")
            return [json.loads(row["body"])["root"] for row in rows]

    assert run(told()) == [first["root"]]


def test_keys_and_files_that_can_t_be_used_are_said(dsn: str, tmp_path: Path, key: Path) -> None:
    """No key, a file that is none, one that would be overwritten: each is said, and nothing is signed."""
    assert "say where the key is" in command(dsn, "checkpoint", "make").output
    odd = tmp_path / "odd"
    odd.write_text("odd")
    assert "can't be read as a key" in command(dsn, "checkpoint", "make", "--key", odd).output
    assert command(dsn, "checkpoint", "key", key).exit_code == 1
    assert "it is no checkpoint" in command(dsn, "verify", "--checkpoint", odd).output
    assert command(dsn, "checkpoint", "list").output == ""
