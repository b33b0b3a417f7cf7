"""Several processes at one job, each with a share of it: what a second core is for."""

import asyncio
import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Callable, Coroutine
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from typing import Any, Generic, TypeVar

from msgspec import Struct

from service.workflow.shares import Share

Order = TypeVar("Order")
R = TypeVar("R")
Tell = Callable[[int], None]
Job = Callable[[Order, Share, Tell], Coroutine[Any, Any, R]]
"""A function of a module: does its share of an order, tells how much of it is done, returns what came of it."""

# A forked process has everything loaded; elsewhere than on Linux the system's own libraries may not stand it.
_START = "fork" if sys.platform == "linux" else "spawn"


class CrewError(Exception):
    """A process of the crew failed or died: says what of."""


class _Done(Struct, Generic[R], frozen=True):
    result: R


class _Failed(Struct, frozen=True):
    text: str


def divided(job: Job[Order, R], order: Order, hands: int, tell: Tell) -> list[R]:
    """Let so many processes do a job, each its share; what came of each. If one fails, or this is interrupted, all are ended.

    `tell` hears how much is done by all together.
    """
    context: Any = multiprocessing.get_context(_START)
    processes: dict[Any, BaseProcess] = {}
    try:
        for number in range(hands):
            ours, theirs = context.Pipe(duplex=False)
            process = context.Process(target=_work, args=(theirs, job, order, Share(number, hands)), daemon=True)
            process.start()
            theirs.close()
            processes[ours] = process
        return _heard(list(processes), tell)
    finally:
        for process in processes.values():
            process.terminate()
        for process in processes.values():
            process.join()


def _heard(pipes: list[Any], tell: Tell) -> list[Any]:
    done: dict[Any, int] = {}
    results: dict[Any, Any] = {}
    while len(results) < len(pipes):
        for pipe in wait([each for each in pipes if each not in results]):
            said = _next(pipe)
            if isinstance(said, _Done):
                results[pipe] = said.result
            else:
                done[pipe] = said
                tell(sum(done.values()))
    return [results[each] for each in pipes]


def _next(pipe: Any) -> Any:
    try:
        said = pipe.recv()
    except EOFError as error:
        raise CrewError("a process of the import died; run it again: it goes on where it was") from error
    if isinstance(said, _Failed):
        raise CrewError(said.text)
    return said


def _work(pipe: Connection, job: Job[Order, R], order: Order, share: Share) -> None:
    # Ctrl-C reaches every process of a terminal: the first of them ends the others.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    try:
        pipe.send(_Done(asyncio.run(job(order, share, pipe.send))))
    except Exception as error:  # noqa: BLE001 - whatever it is, the parent says it
        pipe.send(_Failed(str(error) or repr(error)))


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
