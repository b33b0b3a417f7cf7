"""The key that signs what is handed over, and whose bundles are taken in. An administrator says so; nothing is forgotten."""

from datetime import datetime
from uuid import UUID

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from msgspec import Struct

from service import problems
from service import transfer_messages as messages
from service.core.transfers import bundle
from service.store import database
from service.store.database import Connection
from service.store.statements import SQL


class SigningKey(Struct, frozen=True):
    """The key of this installation. The private half is 32 bytes, and never shown."""

    private_key: bytes
    public_key: bytes


async def installation(connection: Connection) -> UUID:
    """Who this installation is to others."""
    found: UUID = await connection.fetchval(SQL["installation"])
    return found


async def own(connection: Connection, by: str, at: datetime) -> SigningKey:
    """The key that signs; made when it is first needed. The caller is in a transaction."""
    await database.run(connection, "lock_transfers")
    row = await database.fetch_one(connection, "transfer_key")
    if row is not None:
        return SigningKey(row["private_key"], row["public_key"])
    made = Ed25519PrivateKey.generate()
    key = SigningKey(made.private_bytes_raw(), made.public_key().public_bytes_raw())
    await database.run(connection, "keep_transfer_key", key.private_key, key.public_key, by, at)
    return key


async def ring(connection: Connection, by: str, at: datetime) -> messages.KeyRing:
    """The own public key and all others."""
    async with connection.transaction():
        key = await own(connection, by, at)
        rows = await database.fetch(connection, "trusted_senders")
        return messages.KeyRing(
            installation=await installation(connection),
            public_key=bundle.key_text(key.public_key),
            fingerprint=bundle.fingerprint(key.public_key),
            senders=tuple(
                messages.SenderView(
                    public_key=bundle.key_text(row["public_key"]),
                    fingerprint=bundle.fingerprint(row["public_key"]),
                    name=row["name"],
                    trusted=row["trusted"],
                    reason=row["reason"],
                    recorded_by=row["recorded_by"],
                    recorded_at=row["recorded_at"],
                )
                for row in rows
            ),
        )


async def state(connection: Connection, asked: messages.SenderStatement, by: str, at: datetime) -> messages.SenderView:
    """Say whether the bundles of a key are taken in from now on. What came before stays."""
    try:
        key = bundle.key_bytes(asked.public_key)
    except ValueError as error:
        raise problems.raised(problems.Type.INVALID_REQUEST, str(error), ("#/public_key", str(error))) from error
    await database.run(connection, "state_trust", key, asked.name, asked.trusted, asked.reason, by, at)
    return messages.SenderView(
        public_key=asked.public_key,
        fingerprint=bundle.fingerprint(key),
        name=asked.name,
        trusted=asked.trusted,
        reason=asked.reason,
        recorded_by=by,
        recorded_at=at,
    )


async def sender(connection: Connection, public_key: str) -> str | None:
    """By what name the sender with this key is known here; None for our own. Raises the problem for one nobody trusts."""
    key = bundle.key_bytes(public_key)
    if any(row["public_key"] == key for row in await database.fetch(connection, "own_public_keys")):
        return None
    row = await database.fetch_one(connection, "trusted_sender", key)
    if row is not None and row["trusted"]:
        name: str = row["name"]
        return name
    known = f"is {row['name']}'s, and no longer trusted" if row is not None else "is not known here"
    text = (
        f"the bundle is whole, but the key that signed it {known}: ask the sender, by another way than the bundle came, whether "
        f"their key has the fingerprint {bundle.fingerprint(key)}; if so, an administrator states that with "
        f"`tinebook transfer keys trust NAME {public_key}` or POST /v1/transfer-keys, and the bundle is taken in"
    )
    raise problems.raised(problems.Type.BUNDLE_REFUSED, text, ("#/bundle_base64", text))
