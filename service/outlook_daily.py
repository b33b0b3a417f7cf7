"""The outlook and the signals worked out once a day beside the service, in processes of their own: they would hold requests up."""

import asyncio
import logging
import os
import sys
from collections.abc import Callable, Sequence
from datetime import datetime, time, timedelta

_log = logging.getLogger("tinebook")

ONCE_IN_HOURS = 12
"""Each of several serving processes asks for it; whoever comes second finds it done."""
COMMANDS = (
    ("outlook", "--by", "daily", "--once-in-hours", str(ONCE_IN_HOURS)),
    ("signals", "--keep", "--once-in-hours", str(ONCE_IN_HOURS)),
)
CHECKPOINT = ("checkpoint", "make", "--by", "daily")
"""Where there is a key. Of several processes the second finds nothing new to sign."""


class Daily:
    """Waits for its time of day (UTC), and has the outlook computed."""

    def __init__(
        self, at: time, dsn: str, clock: Callable[[], datetime], commands: Sequence[Sequence[str]] = COMMANDS
    ) -> None:
        self._at, self._dsn, self._clock, self._commands = at, dsn, clock, commands
        self._task: asyncio.Task[None] | None = None

    def start(self) -> None:
        """Begin to wait."""
        self._task = asyncio.create_task(self._work(), name="outlook")

    async def close(self) -> None:
        """Stop waiting, and end what is being computed: nothing of it is kept."""
        if self._task is not None:
            self._task.cancel()
            await asyncio.gather(self._task, return_exceptions=True)

    async def _work(self) -> None:
        while True:
            now = self._clock()
            await asyncio.sleep((following(now, self._at) - now).total_seconds())
            for command in self._commands:
                status = await compute(self._dsn, command)
                if status:
                    _log.error("`tinebook %s`, as every day: ended with %s", " ".join(command), status)


def following(now: datetime, at: time) -> datetime:
    """The next moment after now at which it is this time of day."""
    today = datetime.combine(now.date(), at, now.tzinfo)
    return today if today > now else today + timedelta(days=1)


async def compute(dsn: str, command: Sequence[str]) -> int:
    """Have one command work on a database; its exit status."""
    process = await asyncio.create_subprocess_exec(
        *(sys.executable, "-m", "service.cli", *command),
        env={**os.environ, "TINEBOOK_DSN": dsn},
        stdout=asyncio.subprocess.DEVNULL,
    )
    try:
        return await process.wait()
    finally:
        if process.returncode is None:
            process.terminate()
            await process.wait()
