"""What was sent, fetched, kept aside and refused, and what is known of the scanner: in sentences for people."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any

from rich.text import Text

from scanner_client import screen, sending, shop, shown, station
from scanner_client.outbox import Kept
from scanner_client.readings import Reading
from scanner_client.station import Bench
from service.core.discrepancies import SENTENCES
from service.messages import ConnectorLine, Problem

_PARKED = ": until its connector {mark} is registered, or somebody says which one it is."
_SENTENCES = {code.value: text for code, text in SENTENCES.items()}
CHECK_SYMBOL = "tinebook label check --output check.pdf prints it"


def proven(proof: station.Proof | None) -> str:
    """What is known of the scanner that types at a station, and what to do about it."""
    if proof is None:
        return (
            "Scanner that types: not proven here, so that only plain serial numbers can be scanned with it. Scan the check "
            f"symbol once ({CHECK_SYMBOL})."
        )
    return f"Scanner that types: proven on {proof.proven_on}, {proof.profile.name}."


def summary(sent: sending.Sent) -> str:
    """What one round of sending did, in a sentence."""
    parts = [
        f"{shown.count(sent.recorded + sent.already_recorded, 'entry', 'entries')} sent",
        *([f"{sent.parked} kept aside by the service"] if sent.parked else []),
        *([f"{sent.refused} refused"] if sent.refused else []),
    ]
    return "; ".join(parts) + (f". Stopped: {sent.stopped}" if sent.stopped else ".")


def outcomes(sent: sending.Sent) -> Iterator[str]:
    """What a person must know of single entries: discrepancies, and what was kept aside or refused."""
    for each in sent.results:
        if each.outcome == "parked":
            yield "Kept aside by the service until its connector is registered" + because(each.problem)
        if each.outcome == "refused":
            yield "Refused; kept here for somebody to look at" + because(each.problem)
        for code in each.discrepancies:
            yield f"Discrepancy: {_SENTENCES.get(code, code)}"


def equipment(of: Bench, tool: str | None, contact: str | None) -> tuple[str, ...]:
    """What is in the hands, with the due date of the tool."""
    return (
        *([shop.told(of.box, tool, of.clock())] if tool else []),
        *([f"Contact {contact}"] if contact else []),
    )


def taken(each: station.Taken) -> str:
    """What was fetched for one mark or asset."""
    count = f"{each.told}: {shown.count(len(each.connectors), 'connector', 'connectors')} fetched"
    return f"{count}. {each.why}" if each.why else f"{count}."


def outbox_lines(of: Bench) -> Iterator[Text]:
    """What waits and since when, what was kept aside, what was refused and why; refused entries by their number."""
    now = of.clock()
    yield screen.waiting(of.box.counts(), now)
    for each in of.box.of_status("unsent"):
        yield _line("unsent", each, now, ".")
    for each in of.box.of_status("parked"):
        yield _line("parked", each, now, _PARKED.format(mark=Reading(each.entry.connector.encode()).shown))
    for number, each in enumerate(of.box.of_status("refused"), start=1):
        yield _line(f"refused {number}", each, now, because(each.problem))
    known = len(of.box.snapshots())
    yield Text(f"{shown.count(known, 'connector is', 'connectors are')} known here without the network.", style="dim")


def because(problem: Problem | None) -> str:
    """Why, where the service said so."""
    return f": {problem.detail}" if problem else "."


def scan_line(found: dict[str, Any]) -> str:
    """What one symbol of a photo means, and which connectors it matches."""
    if "error" in found:
        return str(found["error"]["text"])
    lines = found["connectors"]
    matched = ", ".join(f"{each.serial} ({each.wear}, {_left(each)})" for each in lines) or "no registered connector"
    away = " (service away: by what is known here)" if found.get("away") else ""
    read = f"{found['symbology'] or ''} {found['text']} = {found['meaning'] or 'scan'}"
    return f"{found['image']}: {read} -> {matched}{away}"


def _left(line: ConnectorLine) -> str:
    if line.left is None:
        return "insertions left not known"
    return f"{shown.count(line.left, 'insertion', 'insertions')} left in {line.limiting_cavity}"


def _line(which: str, each: Kept, now: datetime, why: str) -> Text:
    entry = each.entry
    about = f"{entry.kind.replace('_', ' ')} {entry.cavity or ''}".strip()
    when = f"{entry.performed_at:%Y-%m-%d %H:%M}, kept for {shown.age(now - each.kept_at)}"
    return Text(f"{which}: {about} by {entry.performed_by}, {when}  {entry.id}{why}")
