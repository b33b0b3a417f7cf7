"""Programs that belong together: started, watched, and stopped as one."""

import signal
import socket
import subprocess
import sys
import time
from collections.abc import Mapping, Sequence
from types import FrameType
from typing import Self

import httpx

_STOP_S = 35.0


class SupervisorError(Exception):
    """Something could not be started or died: says what and what to do."""


class Family:
    """Child programs that live and die together."""

    def __init__(self) -> None:
        self._children: dict[str, subprocess.Popen[bytes]] = {}
        self._stopping = False

    def __enter__(self) -> Self:
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, self._on_signal)
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def stop(self) -> None:
        """Stop all children, the last started first; for whoever has to stop them before something that they use."""
        for child in reversed(self._children.values()):
            if child.poll() is None:
                child.terminate()
        until = time.monotonic() + _STOP_S
        for child in reversed(self._children.values()):
            try:
                child.wait(timeout=max(until - time.monotonic(), 0.1))
            except subprocess.TimeoutExpired:
                child.kill()
                child.wait()

    def start(self, name: str, module: str, arguments: Sequence[str], environment: Mapping[str, str]) -> None:
        """Start a Python program of ours. Each has a session of its own, so that Ctrl-C comes through us and in order."""
        command = [sys.executable, "-m", module, *arguments]
        self._children[name] = subprocess.Popen(command, env=dict(environment), start_new_session=True)

    def wait_ready(self, name: str, url: str, seconds: float = 60.0) -> None:
        """Return when a child answers; raise if it dies first or takes too long."""
        until = time.monotonic() + seconds
        while time.monotonic() < until and not self._stopping:
            self._check(name)
            try:
                if httpx.get(url, timeout=5).is_success:
                    return
            except httpx.HTTPError:
                time.sleep(0.1)
        if not self._stopping:
            raise SupervisorError(f"{name} did not answer at {url} within {seconds:.0f} s")

    def watch(self) -> None:
        """Return when told to stop; raise when a child dies by itself."""
        while not self._stopping:
            for name in self._children:
                self._check(name)
            time.sleep(0.2)

    @property
    def stopping(self) -> bool:
        """Whether somebody told us to stop."""
        return self._stopping

    def _check(self, name: str) -> None:
        status = self._children[name].poll()
        if status is not None and not self._stopping:
            raise SupervisorError(f"{name} ended by itself with status {status}; what it said stands above")

    def _on_signal(self, _number: int, _frame: FrameType | None) -> None:
        self._stopping = True


def check_port(host: str, port: int) -> None:
    """Raise where something else listens already."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            raise SupervisorError(
                f"{host} port {port} can't be used ({error.strerror}): choose another with --port"
            ) from error
