"""The yardsticks: what the same PostgreSQL does with the same rows when nothing but pgbench or COPY stands before it."""

import asyncio
import re
import subprocess
import time
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import asyncpg

from service.store import embedded

SCHEMA = """
drop schema if exists yardstick cascade;
create schema yardstick;
create table yardstick.head (like tinebook.head including all) with (fillfactor = 70);
create table yardstick.entry (like tinebook.entry including all);
create table yardstick.receipt (like tinebook.receipt including all);
insert into yardstick.head select * from tinebook.head;
insert into yardstick.entry select * from tinebook.entry;
insert into yardstick.receipt select * from tinebook.receipt;
analyze yardstick.head, yardstick.entry, yardstick.receipt;
"""

_RECORD = r"""
\set n random({first}, {last})
begin;
select ('00000000-0000-4000-8000-' || lpad(to_hex(:n::integer), 12, '0'))::uuid as id \gset
select h.connector, h.entries, h.hash, h.definition, h.state from yardstick.head as h
    where h.connector = any(array[:id::uuid]) order by h.connector for update \gset
insert into yardstick.receipt (id, connector, digest)
    select gen_random_uuid(), :id::uuid, :hash::bytea from generate_series(1, {batch});
insert into yardstick.entry (connector, number, id, kind, cavity, performed_at, recorded_at, body, hash)
    select :id::uuid, :entries::integer + turn, gen_random_uuid(), 'insertion', '7', now(), now(), '{body}'::bytea, :hash::bytea
    from generate_series(1, {batch}) as turn;
update yardstick.head as h set entries = h.entries + {batch}, hash = :hash::bytea, state = :state::bytea
    where h.connector = :id::uuid;
commit;
"""
_TPS = re.compile(r"^tps = ([0-9.]+)", re.MULTILINE)


class PgBench:
    """pgbench from the server's own package, against tables of the same shape and size beside the real ones."""

    def __init__(self, dsn: str, body: str, directory: Path) -> None:
        parts = urlsplit(dsn)
        self._host = parse_qs(parts.query)["host"][0]
        self._user, self._database = parts.username or "", parts.path[1:]
        self._body = body
        self._directory = directory

    def entries(self, *, connectors: int, clients: int, seconds: float, batch: int = 1) -> float:
        """Entries a second, recorded by so many clients on so many connectors, so many in a transaction."""
        script = self._directory / "record.sql"
        script.write_text(_RECORD.format(first=0, last=connectors - 1, batch=batch, body=self._body))
        command = [str(embedded.binaries() / "pgbench"), "-n", "-M", "prepared", "-f", str(script)]
        command += ["-c", str(clients), "-j", "2", "-T", str(max(round(seconds), 1))]
        command += ["-h", self._host, "-U", self._user, self._database]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        found = _TPS.search(done.stdout)
        assert found is not None, done.stderr[-1000:]
        return float(found[1]) * batch


_TYPES = {"performed_at": "timestamptz", "insertions": "integer", "removals": "integer", "rating": "integer"}
_TRUTHS = ("occupied", "populated")


def copy(dsn: str, file: Path) -> float:
    """Seconds that COPY takes to put the lines of a file into a table of text."""
    return asyncio.run(_copied(dsn, file, "line text", {}))


def copy_columns(dsn: str, file: Path) -> float:
    """Seconds that COPY takes to put the cells of a CSV file into a table with a column of the right type for each."""
    with file.open() as opened:
        names = opened.readline().strip().split(",")
    types = {name: "boolean" if name in _TRUTHS else _TYPES.get(name, "text") for name in names}
    columns = ", ".join(f'"{name}" {type_}' for name, type_ in types.items())
    return asyncio.run(_copied(dsn, file, columns, {"format": "csv", "header": True}))


async def _copied(dsn: str, file: Path, columns: str, how: dict[str, Any]) -> float:
    connection = await asyncpg.connect(dsn)
    try:
        await connection.execute(f"drop table if exists public.line; create table public.line ({columns})")
        began = time.perf_counter()
        await connection.copy_to_table("line", source=file, **how)
        lasted = time.perf_counter() - began
        await connection.execute("drop table public.line")
        return lasted
    finally:
        await connection.close()
