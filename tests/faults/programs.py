"""The programs under test, as processes of their own: started, asked, killed, stopped, by their process id only."""

import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path
from typing import Self

import httpx

_PATIENCE_S = 60.0
_PROGRAMS = Path(sys.executable).parent


def free_port() -> int:
    """A port of the loopback address on which nobody listens."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port: int = found.getsockname()[1]
        return port


def environment(**more: str) -> dict[str, str]:
    """The environment without settings of ours, and with these."""
    return {name: value for name, value in os.environ.items() if not name.startswith("TINEBOOK_")} | more


def run(
    program: str, *arguments: str, patience_s: float = _PATIENCE_S, **settings: str
) -> "subprocess.CompletedProcess[str]":
    """Run one of our commands to its end."""
    command = [str(_PROGRAMS / program), *arguments]
    return subprocess.run(
        command, env=environment(**settings), capture_output=True, text=True, timeout=patience_s, check=False
    )


class Service:
    """A `tinebook serve` of this test's."""

    def __init__(self, log: Path, *arguments: str, **settings: str) -> None:
        self.port = free_port()
        self.log = log
        command = [str(_PROGRAMS / "tinebook"), *arguments, "serve", "--port", str(self.port)]
        with log.open("ab") as told:
            self.process = subprocess.Popen(
                command, env=environment(**settings), stdin=subprocess.DEVNULL, stdout=told, stderr=told
            )

    def ready(self) -> Self:
        """Wait until it can take work."""
        until = time.monotonic() + _PATIENCE_S
        while not self.is_ready():
            assert self.process.poll() is None, f"the service ended:\n{self.log.read_text()}"
            assert time.monotonic() < until, f"the service does not get ready:\n{self.log.read_text()}"
            time.sleep(0.02)
        return self

    def is_ready(self) -> bool:
        """Whether it says that it can take work now."""
        try:
            return httpx.get(f"http://127.0.0.1:{self.port}/health/ready", trust_env=False).status_code == 200
        except httpx.TransportError:
            return False

    def kill(self) -> None:
        """End it as a power cut would."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()

    def stop(self) -> int:
        """Ask it to end, and return its exit status."""
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(_PATIENCE_S)

    def close(self) -> None:
        """Make sure that it is gone, at the end of a test."""
        if self.process.poll() is None:
            self.kill()
