"""The tree over everything that is recorded: RFC 9162, 2.1 (Merkle tree hash, SHA-256). It only ever grows to the right."""

import hashlib
from collections.abc import Iterable, Iterator

from msgspec import Struct


class Peaks(Struct, frozen=True):
    """A tree of so many leaves, as the roots of the full subtrees that it consists of, the largest first."""

    size: int = 0
    hashes: tuple[bytes, ...] = ()


EMPTY = Peaks()


def leaf(data: bytes) -> bytes:
    """The hash of a leaf."""
    return hashlib.sha256(b"\x00" + data).digest()


def node(left: bytes, right: bytes) -> bytes:
    """The hash of two subtrees."""
    return hashlib.sha256(b"\x01" + left + right).digest()


def grown(peaks: Peaks, leaves: Iterable[bytes]) -> Peaks:
    """The tree with more leaves, of which the hashes are given, to the right of its own."""
    hashes, size = list(peaks.hashes), peaks.size
    for each in leaves:
        full, place = each, size
        # Where a subtree of the same size ends before it, the two make a full one of twice the size.
        while place & 1:
            full, place = node(hashes.pop(), full), place >> 1
        hashes.append(full)
        size += 1
    return Peaks(size, tuple(hashes))


def root(peaks: Peaks) -> bytes:
    """The hash of the whole tree; that of an empty one is the hash of nothing."""
    if not peaks.hashes:
        return hashlib.sha256(b"").digest()
    *others, found = peaks.hashes
    for each in reversed(others):
        found = node(each, found)
    return found


def spans(size: int) -> Iterator[range]:
    """Which leaves, from 0, each of the full subtrees holds."""
    start = 0
    for bit in range(size.bit_length() - 1, -1, -1):
        if size >> bit & 1:
            yield range(start, start + (1 << bit))
            start += 1 << bit
