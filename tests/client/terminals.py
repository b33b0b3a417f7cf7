"""A command at a terminal of its own, as a person or a scanner uses it: keys go in, the screen comes out."""

import fcntl
import os
import pty
import select
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

LONGEST_S = 30


class Terminal:
    """The outer end of a terminal."""

    def __init__(self, outer: int) -> None:
        self._outer = outer
        self.shown = ""

    def write(self, keys: bytes) -> None:
        """Press keys, or scan."""
        os.write(self._outer, keys)

    def until(self, text: str) -> str:
        """What is shown from the last time on, up to this text; an AssertionError if it never comes."""
        deadline = time.monotonic() + LONGEST_S
        while text not in self.shown:
            ready, _, _ = select.select([self._outer], [], [], max(deadline - time.monotonic(), 0))
            assert ready, f"'{text}' was never shown, but: {self.shown}"
            self.shown += os.read(self._outer, 65_536).decode(errors="replace")
        found, _, self.shown = self.shown.partition(text)
        return found + text


@contextmanager
def running(outbox: Path, *command: str) -> Iterator[Terminal]:
    """`tinebook-bench` with a command, where no service answers."""
    outer, inner = pty.openpty()
    fcntl.ioctl(inner, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 300, 0, 0))
    kept = {name: value for name, value in os.environ.items() if not name.startswith("TINEBOOK_")}
    told = {"TINEBOOK_BENCH_OUTBOX": str(outbox), "TINEBOOK_BENCH_URL": "http://127.0.0.1:9", "TERM": "xterm"}
    process = subprocess.Popen(
        (sys.executable, "-m", "scanner_client.cli", *command), stdin=inner, stdout=inner, stderr=inner, env=kept | told
    )
    os.close(inner)
    try:
        yield Terminal(outer)
    finally:
        process.kill()
        process.wait()
        os.close(outer)
