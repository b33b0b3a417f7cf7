"""A checkpoint: a signed word on everything that was recorded up to a position of the feed.

Who has rights on the database can write a whole history anew, chains, receipts and all. The tree over the feed then has another
root than the one that was signed; so the key, and what was signed with it, belong where the database is not.
"""

from datetime import datetime
from typing import Literal
from uuid import UUID

import msgspec
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from msgspec import Struct, structs

from service.core import chain, merkle
from service.core.merkle import Peaks

FORMAT: Literal["tinebook-checkpoint-1"] = "tinebook-checkpoint-1"


class Checkpoint(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What was recorded up to position `size` of an installation's feed has this `root`. Hashes, key and signature in hex.

    `signature`: Ed25519 (RFC 8032) over the RFC 8785 form of all other fields.
    """

    format: Literal["tinebook-checkpoint-1"]
    installation: UUID
    size: int
    root: str
    made_at: datetime
    public_key: str
    signature: str = ""


class CheckpointError(Exception):
    """It is no checkpoint, or no key: says what is wrong with it."""


def signed(installation: UUID, peaks: Peaks, made_at: datetime, key: Ed25519PrivateKey) -> Checkpoint:
    """The checkpoint of a tree."""
    bare = Checkpoint(
        format=FORMAT,
        installation=installation,
        size=peaks.size,
        root=merkle.root(peaks).hex(),
        made_at=made_at,
        public_key=key.public_key().public_bytes_raw().hex(),
    )
    return structs.replace(bare, signature=key.sign(_covered(bare)).hex())


def holds(checkpoint: Checkpoint) -> bool:
    """Whether it is what its key signed. Whose key that is, is another question."""
    try:
        key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(checkpoint.public_key))
        key.verify(bytes.fromhex(checkpoint.signature), _covered(checkpoint))
    except (ValueError, InvalidSignature):
        return False
    return True


def read(data: bytes) -> Checkpoint:
    """A checkpoint from its file.

    Raises:
        CheckpointError: it is none.
    """
    try:
        return msgspec.json.decode(data, type=Checkpoint)
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise CheckpointError(f"it is no checkpoint: {error}") from error


def written(checkpoint: Checkpoint) -> bytes:
    """Its file: RFC 8785, so that the same checkpoint is always the same file."""
    return chain.canonical(checkpoint)


def _covered(checkpoint: Checkpoint) -> bytes:
    told = msgspec.to_builtins(checkpoint)
    del told["signature"]
    return chain.canonical(told)
