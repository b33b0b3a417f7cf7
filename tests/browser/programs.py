"""The programs in front of which, and in which, the page runs: each a process of its own that can be killed and come back."""

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import httpx
from playwright.sync_api import Browser, BrowserContext, Page, Playwright

from tests.faults.programs import environment

PATIENCE_S = 60.0


class Program:
    """A server of ours on one port, which it takes again after each start."""

    def __init__(self, command: Sequence[str], port: int, log: Path, settings: Mapping[str, str]) -> None:
        self.port, self.log = port, log
        self._command, self._settings = command, settings
        self.process = self._started()

    @property
    def address(self) -> str:
        """Where it is asked."""
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Start it again where it was, and wait until it answers."""
        self.process = self._started()
        self.ready()

    def ready(self, path: str = "/health/live") -> None:
        """Wait until it answers."""
        until(lambda: self._answers(path), f"{self._command[0]} does not answer")

    def kill(self) -> None:
        """End it as a power cut would."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()

    def stop(self) -> None:
        """Ask it to end, and wait until it has."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
            self.process.wait(PATIENCE_S)

    def _started(self) -> "subprocess.Popen[bytes]":
        with self.log.open("ab") as told:
            return subprocess.Popen(
                self._command, env=environment(**self._settings), stdin=subprocess.DEVNULL, stdout=told, stderr=told
            )

    def _answers(self, path: str) -> bool:
        assert self.process.poll() is None, self.log.read_text()
        try:
            # Whatever it says: a page's server without a service behind it answers, too.
            return httpx.get(f"{self.address}{path}", trust_env=False).status_code > 0
        except httpx.TransportError:
            return False


def service(dsn: str, port: int, log: Path, more: Mapping[str, str] | None = None) -> Program:
    """The service on a database that is migrated already; `more` are settings beside it."""
    command = [str(Path(sys.executable).parent / "tinebook"), "serve", "--port", str(port)]
    return Program(command, port, log, {"TINEBOOK_DSN": dsn, **(more or {})})


def bench(service_url: str, port: int, log: Path, package: Path | None = None) -> Program:
    """The page's server in front of a service; with `package`, of another copy of the scanning client in that folder."""
    settings = {"TINEBOOK_BENCH_OUTBOX": str(log.with_name("unused.db"))}
    if package is not None:
        settings["PYTHONPATH"] = str(package)
    # -P: else the folder in which the tests run comes before the copy.
    command = [sys.executable, "-P", "-m", "scanner_client.cli", "--url", service_url, "serve", "--port", str(port)]
    return Program(command, port, log, settings)


class Chromium:
    """A browser with a profile of its own on disk, which is still there when the browser comes back."""

    def __init__(self, play: Playwright, program: str, profile: Path, *more: str) -> None:
        self._play, self._program, self._profile, self._more = play, program, profile, more
        self._process: subprocess.Popen[bytes] | None = None
        self._browser: Browser | None = None
        self.start()

    @property
    def context(self) -> BrowserContext:
        """The context of the profile: what is kept in it survives the browser."""
        assert self._browser is not None
        return self._browser.contexts[0]

    def start(self) -> None:
        """Start it on its profile."""
        found = self._profile / "DevToolsActivePort"
        found.unlink(missing_ok=True)
        command = [
            self._program,
            "--headless=new",
            "--no-sandbox",
            "--no-first-run",
            "--disable-gpu",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--disable-extensions",
            "--disable-default-apps",
            "--disable-component-extensions-with-background-pages",
            "--password-store=basic",
            "--remote-debugging-port=0",
            f"--user-data-dir={self._profile}",
            *self._more,
            "about:blank",
        ]
        # In a session of its own, so that all its processes can be killed as one.
        self._process = subprocess.Popen(
            command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        until(lambda: found.exists() and found.read_text().count("\n") > 0, "Chromium does not start")
        port = found.read_text().split("\n")[0]
        self._browser = self._play.chromium.connect_over_cdp(f"http://127.0.0.1:{port}")

    def page(self, address: str) -> Page:
        """A new tab on an address."""
        return tab(self.context, address)

    def kill(self) -> None:
        """End it with everything that belongs to it, as a power cut would."""
        assert self._process is not None
        os.killpg(self._process.pid, signal.SIGKILL)
        self._process.wait()
        self._process = None
        # The lock of a profile names the process that is dead now; with another machine's name it would stop the start.
        (self._profile / "SingletonLock").unlink(missing_ok=True)

    def stop(self) -> None:
        """Close it as a person would."""
        if self._process is None:
            return
        assert self._browser is not None
        self._browser.new_browser_cdp_session().send("Browser.close")
        try:
            self._process.wait(10)
        except subprocess.TimeoutExpired:
            self.kill()
        self._process = None


def tab(context: BrowserContext, address: str) -> Page:
    """A new tab on an address."""
    page = context.new_page()
    page.goto(address)
    return page


def free_ports(count: int) -> list[int]:
    """Different ports of the loopback address on which nobody listens."""
    held = [socket.socket() for _ in range(count)]
    for each in held:
        each.bind(("127.0.0.1", 0))
    ports = [each.getsockname()[1] for each in held]
    for each in held:
        each.close()
    return ports


def until(done: Callable[[], bool], otherwise: str) -> None:
    """Wait until something is so."""
    latest = time.monotonic() + PATIENCE_S
    while not done():
        assert time.monotonic() < latest, otherwise
        time.sleep(0.02)
