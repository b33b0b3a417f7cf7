"""What a command gives back: lines for people, JSON for scripts, an exit status for both."""

import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from enum import IntEnum
from typing import Any, NoReturn

import click
import msgspec
from msgspec import Struct
from rich.console import Console
from rich.text import Text

from scanner_client import decode, drafts, link, outbox, phrases, settings, sources
from scanner_client.outbox import Counts
from scanner_client.sending import Sent
from service.core.answers import Answer


class Exit(IntEnum):
    """What a script is told. Below 10 something is wrong with the call itself."""

    FINE = 0
    TROUBLE = 1
    USAGE = 2
    WARN = 10
    NO_GO = 20
    NO_ANSWER = 30
    NOT_SENT = 40
    FOR_A_PERSON = 50


EXITS = """\b
Exit status:
  0   go; recorded; nothing waits
  1   something went wrong, and says what
  2   the command was not understood
  10  the answer is warn
  20  the answer is no_go
  30  no answer: unknown connector, or the service is away and nothing is known here
  40  kept on disk at this bench, not sent yet
  50  refused, kept aside, or ambiguous: somebody must look
"""

ANSWERED = {Answer.GO: Exit.FINE, Answer.WARN: Exit.WARN, Answer.NO_GO: Exit.NO_GO, None: Exit.NO_ANSWER}


class Call(Struct, frozen=True):
    """What every command needs: the settings, and whether a script is asking."""

    told: settings.Settings
    json: bool


def console(call: Call) -> Console:
    """The terminal. Characters that it can't show come as a question mark, never as a crash."""
    stream = sys.stdout
    if hasattr(stream, "reconfigure"):
        stream.reconfigure(errors="replace")
    return Console(file=stream, highlight=False, soft_wrap=True, safe_box=call.told.ascii)


def give(call: Call, answer: dict[str, Any], lines: Iterable[Text]) -> None:
    """Print the answer as JSON or as lines."""
    if call.json:
        click.echo(msgspec.json.format(msgspec.json.encode(answer)).decode())
        return
    shown_on = console(call)
    for each in lines:
        shown_on.print(each)


def note(text: str) -> None:
    """Tell whoever runs a command something that is no part of its answer."""
    click.echo(text, err=True)


def fail(call: Call | None, text: str, status: Exit = Exit.TROUBLE) -> NoReturn:
    """End with an error that says what to do."""
    if call is not None and call.json:
        click.echo(msgspec.json.encode({"error": text}).decode())
    else:
        click.echo(text, err=True)
    sys.exit(status)


def leave(sent: Sent, counts: Counts) -> NoReturn:
    """End with the status that says whether everything is with the service."""
    if counts.refused or sent.refused or sent.parked:
        sys.exit(Exit.FOR_A_PERSON)
    sys.exit(Exit.NOT_SENT if counts.unsent else Exit.FINE)


@contextmanager
def troubles(call: Call) -> Iterator[None]:
    """Turn what can go wrong into a sentence and a status."""
    try:
        yield
    except (phrases.UnclearError, drafts.MalformedError) as error:
        fail(call, str(error), Exit.USAGE)
    except link.RejectedError as error:
        pointed = "; ".join(f"{each.pointer}: {each.detail}" for each in error.problem.errors)
        fail(call, f"The service says no: {error}{f' ({pointed})' if pointed else ''}")
    except (
        decode.UnreadableError,
        sources.UnavailableError,
        outbox.UnusableError,
        outbox.ClashError,
        link.GarbledError,
    ) as error:
        fail(call, str(error))
