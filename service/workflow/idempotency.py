"""Answers that are kept under a client's Idempotency-Key (IETF draft of the HTTP header field; not an RFC).

The answer is written in the transaction of what the request does: both are there, or neither. Whoever is at work under a key
holds a lock that ends with the transaction, so that a process that dies leaves no key that is taken for ever.
"""

import hashlib
import re
from datetime import datetime, timedelta

from msgspec import Struct

from service import problems
from service.store import database
from service.store.database import Connection
from service.store.statements import SQL

KEPT = timedelta(days=7)
"""How long an answer can be had again: a nightly run that failed on Friday is repeated on Monday. Our figure."""
_LONGEST = 200
# A String as structured fields have it (RFC 8941, 3.3.3): the quotes belong to it, and only they and backslashes are escaped.
_STRING = re.compile(r' *"((?:[\x20\x21\x23-\x5b\x5d-\x7e]|\\["\\])*)" *')


class Answer(Struct, frozen=True):
    """What was answered: a status, and the body as it was sent."""

    status: int
    media_type: str
    body: bytes


def key(header: str) -> str:
    """The key in the header's value. Raises the problem for what is none."""
    found = _STRING.fullmatch(header)
    text = "" if found is None else re.sub(r"\\(.)", r"\1", found[1])
    if not text or len(text) > _LONGEST:
        detail = (
            f"Idempotency-Key is one text in quotes of 1 to {_LONGEST} characters, "
            'such as "8e03978e-40d5-43e8-bc93-6894a57f9324" with its quotes'
        )
        raise problems.raised(problems.Type.KEY_UNUSABLE, detail)
    return text


def fingerprint(method: str, path: str, body: bytes) -> bytes:
    """What tells one request from another."""
    return hashlib.sha256(b"\n".join((method.encode(), path.encode(), body))).digest()


async def answered(connection: Connection, client: str, under: str, mark: bytes) -> Answer | None:
    """What was answered under a client's key before, if it was; otherwise the key is the caller's until its transaction ends.

    Raises the problem where another request came under the key, or the same one is still being worked on.
    """
    if not await connection.fetchval(SQL["claim_key"], client, under):
        detail = "a request with this Idempotency-Key is being worked on: wait, and send the same again"
        raise problems.raised(problems.Type.KEY_BUSY, detail, headers={"Retry-After": "1"})
    row = await database.fetch_one(connection, "answer_under", client, under)
    if row is None:
        return None
    if row["fingerprint"] != mark:
        detail = "another request came with this Idempotency-Key: take a new key for whatever is not the same request"
        raise problems.raised(problems.Type.KEY_REUSED, detail)
    return Answer(row["status"], row["media_type"], row["body"])


async def keep(connection: Connection, client: str, under: str, mark: bytes, answer: Answer, at: datetime) -> None:
    """Keep an answer in the transaction of what it is about; those that are old are let go."""
    await database.run(connection, "drop_answers", at - KEPT)
    await database.run(
        connection, "keep_answer", client, under, mark, answer.status, answer.media_type, answer.body, at
    )
