"""What a scan means and what it matches."""

import base64

from service import messages, problems
from service.core import marks
from service.core.entries import HouseRule
from service.store import ledger
from service.store.database import Connection
from service.workflow import connectors


def scanned_bytes(asked: messages.Scan) -> bytes:
    """The bytes that the reader read. Bytes are better than text: a reader's text may have lost its separators."""
    if (asked.bytes_base64 is None) == (asked.text is None):
        raise problems.raised(
            problems.Type.INVALID_REQUEST, "give either bytes_base64 or text", ("#", "one of the two")
        )
    if asked.text is not None:
        return asked.text.encode()
    try:
        return base64.b64decode(asked.bytes_base64 or "", validate=True)
    except ValueError as error:  # binascii.Error, or a character that is not ASCII
        text = f"this is not base64: {error}"
        raise problems.raised(problems.Type.INVALID_REQUEST, text, ("#/bytes_base64", text)) from error


async def meaning(
    connection: Connection, definitions: ledger.Definitions, asked: messages.Scan, house: HouseRule
) -> messages.ScanView:
    """Read a scan and find what it matches."""
    mark = marks.read(scanned_bytes(asked), asked.symbology)
    heads = await connectors.find(connection, definitions, mark)
    return messages.ScanView(
        meaning=mark.meaning.value,
        identity=mark.identity,
        fields=dict(mark.fields),
        deviations=tuple(str(each) for each in mark.deviations),
        faults=tuple(each.text for each in mark.faults),
        connectors=connectors.lines(heads, house),
    )
