"""Rows written as columns: what PostgreSQL reads of them is what was given."""

import io
import math
from uuid import uuid4

import asyncpg
import numpy as np
import pytest

from service.store import columns
from service.store.columns import Column
from tests.conftest import run

_TABLE = """
create table tinebook.of_columns (
    id uuid, many bigint, whole integer, small smallint, part double precision, few real, flag boolean, name text, items real[]
)
"""


@pytest.mark.parametrize("at_once", [1, 7, 20_000])
def test_what_is_written_is_what_is_read(at_once: int, dsn: str) -> None:
    """Numbers, ids, texts of every length and arrays arrive as they are, and nulls as nulls, however many are sent at once."""
    rng = np.random.default_rng(at_once)
    count = 100
    ids = [uuid4() for _ in range(count)]
    names = ["", "1", "AA", "Ω", "c", "x" * 300] * 20
    there = rng.random(count) < 0.5
    items = rng.random((count, 3)).astype(np.float32)
    given = {
        "id": Column(np.frombuffer(b"".join(each.bytes for each in ids), columns.UUID), columns.UUID),
        "many": Column(np.arange(count) * 2**40, columns.INTEGER, there),
        "whole": Column(-np.arange(count), columns.WHOLE),
        "small": Column(np.arange(count), columns.SMALL, ~there),
        "part": Column(rng.random(count), columns.FLOAT),
        "few": Column(np.where(there, math.inf, 0.5), columns.REAL, ~there),
        "flag": Column(there, columns.FLAG),
        "name": Column(
            np.array([each.encode() for each in names[:count]]), there=np.array([*map(bool, names)][:count])
        ),
        "items": Column(items, there=there),
    }

    async def work() -> list[asyncpg.Record]:
        connection = await asyncpg.connect(dsn)
        try:
            await connection.execute(_TABLE)
            await connection.copy_to_table(
                "of_columns",
                schema_name="tinebook",
                columns=list(given),
                source=io.BytesIO(b"".join(columns.written(given, at_once))),
                format="binary",
            )
            rows: list[asyncpg.Record] = await connection.fetch("select * from tinebook.of_columns")
            return rows
        finally:
            await connection.close()

    rows = {row["id"]: row for row in run(work())}
    assert set(rows) == set(ids)
    for number, each in enumerate(ids):
        row, here = rows[each], bool(there[number])
        assert row["many"] == (number * 2**40 if here else None)
        assert row["whole"] == -number
        assert row["small"] == (None if here else number)
        assert row["part"] == given["part"].values[number]
        assert row["few"] == (None if here else 0.5)
        assert row["flag"] is here
        assert row["name"] == (names[number] or None)
        assert row["items"] == (items[number].tolist() if here else None)
