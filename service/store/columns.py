"""Whole columns out of the database and into it: rows by COPY, read and written as arrays instead of row by row.

PostgreSQL's binary COPY format: a header of 11 bytes, flags and an extension, then per row the number of its fields and before
each field its length, the row of -1 fields ending it. Source: PostgreSQL's documentation, SQL commands, COPY, "Binary Format".
"""

import struct
from collections.abc import AsyncIterator, Iterator, Mapping
from typing import Any, TypeAlias

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from service.store.database import Connection
from service.store.statements import SQL

UUID, INTEGER, WHOLE, SMALL, FLOAT, REAL, FLAG = "S16", ">i8", ">i4", ">i2", ">f8", ">f4", "?"
"""Types of fields as they travel: uuid, bigint or timestamp, integer, smallint, double precision, real, boolean."""
TIME = INTEGER
"""A timestamp: microseconds since the year 2000."""
Keys: TypeAlias = NDArray[np.bytes_]
"""A column of ids."""
_SIGNATURE = b"PGCOPY\n\xff\r\n\x00"
_END = struct.pack(">h", -1)


class ColumnsError(Exception):
    """Rows are not of the width that was promised: a column was null, or has another type."""


async def fetch(
    connection: Connection, statement: str, fields: Mapping[str, str], *arguments: object
) -> dict[str, NDArray[Any]]:
    """The columns of a named statement, none of them null, by name, in the machine's own byte order.

    Raises:
        ColumnsError: the statement's columns are not of these types, or one is null.
    """
    chunks: list[bytes] = []

    async def keep(chunk: bytes) -> None:
        chunks.append(chunk)

    await connection.copy_from_query(SQL[statement].rstrip(";"), *arguments, output=keep, format="binary")
    return read(b"".join(chunks), fields)


def read(data: bytes, fields: Mapping[str, str]) -> dict[str, NDArray[Any]]:
    """The columns in what COPY sent."""
    layout = np.dtype([("fields", ">i2"), *(each for name, kind in fields.items() for each in _field(name, kind))])
    start = len(_SIGNATURE) + 8 + struct.unpack_from(">i", data, len(_SIGNATURE) + 4)[0]
    body = memoryview(data)[start:-2]
    if not data.startswith(_SIGNATURE) or data[-2:] != _END or len(body) % layout.itemsize:
        raise ColumnsError("rows of another width were sent")
    rows = np.frombuffer(body, layout)
    for name, kind in fields.items():
        if (rows["fields"] != len(fields)).any() or (rows[f"{name} length"] != np.dtype(kind).itemsize).any():
            raise ColumnsError(f"column {name} is null somewhere, or not of the type {kind}")
    return {name: rows[name].astype(np.dtype(kind).newbyteorder("=")) for name, kind in fields.items()}


def _field(name: str, kind: str) -> tuple[tuple[str, str], tuple[str, str]]:
    return (f"{name} length", ">i4"), (name, kind)


def places(ids: Keys, wanted: Keys) -> NDArray[np.int64]:
    """The place of each wanted one among ids; -1 where it is not there."""
    if not ids.size or not wanted.size:
        return np.full(wanted.size, -1)
    # The first half of an id nearly always tells it, and numbers are compared twenty times faster than bytes.
    first, asked = halves(ids), halves(wanted)
    order = np.argsort(first, kind="stable")
    if (np.diff(first[order]) > 0).all():
        at = np.searchsorted(first, asked, sorter=order)
    else:
        order = np.argsort(ids, kind="stable")
        at = np.searchsorted(ids, wanted, sorter=order)
    place = order[np.minimum(at, ids.size - 1)]
    return np.where(ids[place] == wanted, place, -1)


def halves(ids: Keys) -> NDArray[np.uint64]:
    """The first half of each id as a number: in this order ids come about as the database has them."""
    return ids.view(">u8").reshape(-1, 2)[:, 0].astype(np.uint64)


class Column(Struct, frozen=True, eq=False):
    """A column to be written: its values (n,), or (n, k) for an array of reals; null where `there` (n,) says that it is not.

    Texts are bytes in UTF-8. `kind`: the type of the field as it travels; for texts and arrays it follows from the values.
    """

    values: NDArray[Any]
    kind: str = ""
    there: NDArray[np.bool_] | None = None

    @property
    def lengths(self) -> NDArray[np.int64]:
        """How long each field is, -1 for null: fields of one length can be laid out together."""
        count = len(self.values)
        if self.values.ndim > 1:
            found = np.full(count, _REALS.itemsize + self.values.shape[1] * _REAL.itemsize)
        elif self.kind:
            found = np.full(count, np.dtype(self.kind).itemsize)
        else:
            found = np.char.str_len(self.values).astype(np.int64)
        return found if self.there is None else np.where(self.there, found, -1)

    def payload(self, length: int) -> np.dtype[Any]:
        """What a field of this length looks like, without its length."""
        if self.values.ndim > 1:
            return np.dtype([("head", _REALS), ("items", _REAL, (self.values.shape[1],))])
        return np.dtype(self.kind or f"S{length}")


_REAL = np.dtype([("length", ">i4"), ("value", ">f4")])
_REALS = np.dtype([("dimensions", ">i4"), ("nulls", ">i4"), ("type", ">i4"), ("many", ">i4"), ("first", ">i4")])
"""Before the items of a real[] stand how it is shaped, and the number of their type."""
_REAL_TYPE = 700


def written(columns: Mapping[str, Column], at_once: int = 20_000) -> Iterator[bytes]:
    """Rows as COPY takes them, some at a time; within a piece those stand together whose fields are equally long."""
    count = len(next(iter(columns.values())).values)
    lengths = np.stack([each.lengths for each in columns.values()], axis=1)
    yield _SIGNATURE + bytes(8)
    for start in range(0, count, at_once):
        here = np.arange(start, min(start + at_once, count))
        shapes, which = np.unique(lengths[here], axis=0, return_inverse=True)
        for number, shape in enumerate(shapes.tolist()):
            yield _alike(columns, here[which.reshape(-1) == number], shape)
    yield _END


def _alike(columns: Mapping[str, Column], chosen: NDArray[np.int64], shape: list[int]) -> bytes:
    layout: list[Any] = [("fields", ">i2")]
    for (name, column), length in zip(columns.items(), shape, strict=True):
        layout.append((f"{name} length", ">i4"))
        if length > 0:
            layout.append((name, column.payload(length)))
    rows = np.zeros(chosen.size, np.dtype(layout))
    rows["fields"] = len(columns)
    for (name, column), length in zip(columns.items(), shape, strict=True):
        rows[f"{name} length"] = length
        if length > 0:
            _fill(rows[name], column.values[chosen])
    return rows.tobytes()


def _fill(field: NDArray[Any], values: NDArray[Any]) -> None:
    if values.ndim == 1:
        field[...] = values
        return
    head = field["head"]
    head["dimensions"], head["type"], head["many"], head["first"] = 1, _REAL_TYPE, values.shape[1], 1
    field["items"]["length"] = 4
    field["items"]["value"] = values


async def put(connection: Connection, table: str, columns: Mapping[str, Column]) -> None:
    """Append rows to a table of ours by COPY."""

    async def source() -> AsyncIterator[bytes]:
        for each in written(columns):
            yield each

    await connection.copy_to_table(
        table, schema_name="tinebook", columns=list(columns), source=source(), format="binary"
    )
