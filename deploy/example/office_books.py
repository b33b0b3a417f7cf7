"""The books of the hangar office, a stand-in for a shop's maintenance system: SQLite, and an invented operator.

Kettlewick Flying Clinic does not exist, nor do its aircraft, people, tools or work orders.
"""

import json
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

_SCHEMA = """
create table if not exists asset (asset text primary key, type text, serial text, withdrawn_on text);
create table if not exists place (asset text, zone text, position text, part_number text, primary key (asset, position));
create table if not exists flown (asset text, day text, flight_hours real, flight_cycles integer, primary key (asset, day));
create table if not exists tool (mark text primary key, part_number text not null, due_on text);
create table if not exists person (badge text primary key, name text not null, certificate text, may text not null);
create table if not exists work_order (number text primary key, stated text not null, record integer);

-- What goes out: each request with the key it is sent under, kept before it is sent. Refusals of the last night stay to be read.
create table if not exists outgoing (number integer primary key, path text not null, key text not null, body text not null);
create table if not exists refusal (path text, about text, detail text);

-- What comes in: each event once, whichever way it came. What is kept: the feed's cursor, the webhook's secret.
create table if not exists event (source text, id text, type text, time text, body text, primary key (source, id));
create table if not exists record (number integer primary key, work_order text, sha256 text, corrects integer, document blob);
create table if not exists kept (name text primary key, value text not null);
"""

_FLEET = [
    ("KF-101", "Regional 70", "70-0112"),
    ("KF-102", "Regional 70", "70-0113"),
    ("KF-201", "Survey 12", "12-0007"),
]
_PLACES = [
    ("410", "P1021", "D38999/26WE35SN"),
    ("410", "P1022", "D38999/26WB35SN"),
    ("510", "J2031", "D38999/24WE35PN"),
]
_TOOLS = [("KT-20-01", "M81969/14-02", "2027-06-30"), ("KT-22-01", "M81969/14-01", "2027-06-30")]
_PEOPLE = [
    ("K-11", "Ada Sample", "KX-0011", ["performs"]),
    ("K-12", "Bertil Sample", "KX-0012", ["performs", "inspects"]),
    ("K-13", "Carla Sample", "KX-0013", ["inspects", "approves"]),
]
_ORDERS: list[dict[str, Any]] = [
    {
        "number": "KW-2026-001",
        "title": "Replace the contact in cavity 1 of P1021",
        "asset": "KF-101",
        "reference": {"document": "Kettlewick practice 4", "revision": "B", "task": "4.1"},
        "inspection_required": True,
        "steps": [{"act": "insert", "cavity": "1"}],
    },
    {"number": "KW-2026-002", "title": "Look P1022 over", "asset": "KF-102", "steps": [{"act": "other"}]},
]


def opened(path: Path) -> sqlite3.Connection:
    """The books, made if they are not there. A change is on disk once it is committed."""
    books = sqlite3.connect(path, timeout=30)
    books.row_factory = sqlite3.Row
    books.executescript("pragma journal_mode = wal; pragma synchronous = full;" + _SCHEMA)
    return books


def begin(books: sqlite3.Connection) -> None:
    """Write the invented operator into the books; what is there stays."""
    with books:
        for asset, kind, serial in _FLEET:
            books.execute("insert or ignore into asset values (?, ?, ?, null)", (asset, kind, serial))
            flown = [(asset, "2026-10-31", 8200.5, 6100), (asset, "2026-11-24", 152.25, 118)]
            books.executemany("insert or ignore into flown values (?, ?, ?, ?)", flown)
            places = [(asset, *each) for each in _PLACES]
            books.executemany("insert or ignore into place values (?, ?, ?, ?)", places)
        books.executemany("insert or ignore into tool values (?, ?, ?)", _TOOLS)
        people = [(badge, name, certificate, json.dumps(may)) for badge, name, certificate, may in _PEOPLE]
        books.executemany("insert or ignore into person values (?, ?, ?, ?)", people)
        orders = [(each["number"], json.dumps(each)) for each in _ORDERS]
        books.executemany("insert or ignore into work_order values (?, ?, null)", orders)


def lists(books: sqlite3.Connection) -> Iterator[tuple[str, list[dict[str, Any]]]]:
    """Everything that is kept in step, as Tinebook's operations take it. All of it, every night: what stands so is left alone."""
    yield "/v1/assets", [dict(row) for row in books.execute("select * from asset order by asset")]
    yield "/v1/positions", [dict(row) for row in books.execute("select * from place order by asset, position")]
    yield "/v1/usage", [dict(row) for row in books.execute("select * from flown order by asset, day")]
    yield "/v1/tools", [dict(row) for row in books.execute("select * from tool order by mark")]
    yield "/v1/people", [_person(row) for row in books.execute("select * from person order by badge")]
    yield (
        "/v1/work-orders",
        [json.loads(row["stated"]) for row in books.execute("select * from work_order order by number")],
    )


def _person(row: sqlite3.Row) -> dict[str, Any]:
    return {
        "badge": row["badge"],
        "name": row["name"],
        "certificate": {"number": row["certificate"], "kind": "invented", "from_on": "2025-01-01"},
        "authorities": [{"what": each, "from_on": "2025-01-01"} for each in json.loads(row["may"])],
    }


def file_event(books: sqlite3.Connection, event: dict[str, Any]) -> bool:
    """Keep an event in the caller's transaction, once; whether it was new. A record that is told of is filed as wanted."""
    values = (event["source"], event["id"], event["type"], event["time"], json.dumps(event["data"]))
    new = books.execute("insert or ignore into event values (?, ?, ?, ?, ?)", values).rowcount == 1
    if new and event["type"] == "tinebook.record.made":
        told = event["data"]["recorded"]
        books.execute("insert or ignore into record (number, sha256) values (?, ?)", (told["number"], told["sha256"]))
    return new


def wanted(books: sqlite3.Connection) -> list[tuple[int, str]]:
    """The records that were told of and are not here yet: number, and the hash that their bytes must have."""
    rows = books.execute("select number, sha256 from record where document is null order by number")
    return [(row["number"], row["sha256"]) for row in rows]


def file_record(books: sqlite3.Connection, number: int, document: bytes) -> None:
    """File a record whose hash was found right; its work order is done by it. A correction takes the place of the one before."""
    content = json.loads(document)
    order = content["statement"]["work_order"]
    with books:
        books.execute(
            "update record set document = ?, work_order = ?, corrects = ? where number = ?",
            (document, order, content["corrects"], number),
        )
        books.execute(
            "update work_order set record = ? where number = ? and coalesce(record, 0) < ?", (number, order, number)
        )


def kept(books: sqlite3.Connection, name: str) -> str | None:
    """Something kept under a name."""
    row = books.execute("select value from kept where name = ?", (name,)).fetchone()
    return None if row is None else row["value"]


def keep(books: sqlite3.Connection, name: str, value: str) -> None:
    """Keep something under a name, in the caller's transaction."""
    books.execute(
        "insert into kept values (?, ?) on conflict (name) do update set value = excluded.value", (name, value)
    )
