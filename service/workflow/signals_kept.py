"""Answers about the whole fleet that are kept from one day to the next, for fleets of which the ledger takes long to read."""

from datetime import datetime, timedelta

import msgspec
from msgspec import Struct

from service import signal_messages as messages
from service.store import database
from service.store.database import Connection

MOST_UNITS = 10_000
"""The clearest units that are kept of an answer. Narrowed down by a filter, a question is answered anew, whole."""
_OLDEST = timedelta(hours=36)
_QUICK_S = 2.0
"""What is answered sooner than this is always answered anew."""

Key = tuple[float, str, str]


class Kept(Struct, frozen=True):
    """An answer with its units, and by what they are ordered."""

    report: messages.SignalReport
    keys: tuple[Key, ...]


async def keep(connection: Connection, answer: Kept, took_s: float) -> None:
    """Keep an answer instead of the one before."""
    about, until = answer.report.about, answer.report.until
    await database.run(connection, "keep_signal_answer", about, until, took_s, msgspec.json.encode(answer))


async def kept_at(connection: Connection, about: messages.About) -> datetime | None:
    """Until when the answer that is kept looks; None where none is."""
    row = await database.fetch_one(connection, "kept_signal_answer", about)
    return None if row is None else row["until"]


async def newest(connection: Connection, about: messages.About, now: datetime) -> Kept | None:
    """The answer that is kept, if it is young and would take long to work out anew."""
    row = await database.fetch_one(connection, "kept_signal_answer", about)
    if row is None or row["took_s"] < _QUICK_S or not timedelta() <= now - row["until"] <= _OLDEST:
        return None
    return msgspec.json.decode(row["body"], type=Kept)
