"""The outlook computed once a day beside the service, in a process of its own: it would hold requests up."""

import asyncio
import logging
import os
import sys
from collections.abc import Callable
from datetime import datetime, time, timedelta

_log = logging.getLogger("tinebook")

ONCE_IN_HOURS = 12
"""Each of several serving processes asks for it; whoever comes second finds it done."""


class Daily:
    """Waits for its time of day (UTC), and has the outlook computed."""

    def __init__(self, at: time, dsn: str, clock: Callable[[], datetime]) -> None:
        self._at, self._dsn, self._clock = at, dsn, clock
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
            status = await compute(self._dsn)
            if status:
                _log.error("the daily outlook was not computed: `tinebook outlook` ended with %s", status)


def following(now: datetime, at: time) -> datetime:
    """The next moment after now at which it is this time of day."""
    today = datetime.combine(now.date(), at, now.tzinfo)
    return today if today > now else today + timedelta(days=1)


async def compute(dsn: str) -> int:
    """Have the outlook of a database computed unless a young one is there; the command's exit status."""
    command = (sys.executable, "-m", "service.cli", "outlook", "--by", "daily", "--once-in-hours", str(ONCE_IN_HOURS))
    process = await asyncio.create_subprocess_exec(
        *command, env={**os.environ, "TINEBOOK_DSN": dsn}, stdout=asyncio.subprocess.DEVNULL
    )
    try:
        return await process.wait()
    finally:
        if process.returncode is None:
            process.terminate()
            await process.wait()
