"""A long file that several processes read side by side: which of its rows are whose."""

import zlib

from msgspec import Struct


class Share(Struct, frozen=True):
    """One of `of` shares of a file, counted from 0."""

    number: int = 0
    of: int = 1

    def has(self, name: str) -> bool:
        """Whether what goes by this name is in the share: all rows of a connector are in the same one."""
        return self.of == 1 or zlib.crc32(name.encode()) % self.of == self.number


WHOLE = Share()
