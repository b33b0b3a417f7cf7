"""A report as NDJSON: each row whole, as the API's JSON has it, on a line of its own."""

from collections.abc import Sequence
from typing import Any

from service import messages


class Lines:
    """Writes NDJSON, some rows at a time."""

    def begin(self) -> bytes:
        """Nothing: there is no header."""
        return b""

    def add(self, rows: Sequence[Any]) -> bytes:
        """Rows."""
        return b"".join(messages.to_json(each) + b"\n" for each in rows)

    def end(self) -> bytes:
        """Nothing more."""
        return b""

    def close(self) -> None:
        """Nothing is left behind."""
