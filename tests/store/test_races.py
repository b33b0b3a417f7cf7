"""Two programs at the ledger at once, made to meet: one waits for the other, and what each says afterwards is true."""

import asyncio
import json
import uuid
from pathlib import Path
from typing import Any

import asyncpg
import msgspec

from service import app, catalog
from service.core.entries import Entry, HouseRule
from service.store import database
from service.workflow import importing, recording
from service.workflow.recording import Scribe
from service.workflow.reference import Reference
from service.workflow.shares import WHOLE
from tests.api.test_recording import entry, registration
from tests.conftest import Started, run


async def one_waits(owner: asyncpg.Connection) -> None:
    """Return once some connection waits for a lock of another."""
    waiting = "select count(*) from pg_stat_activity where datname = current_database() and wait_event_type = 'Lock'"
    async with asyncio.timeout(20):
        while not await owner.fetchval(waiting):  # noqa: ASYNC110 - only the database knows
            await asyncio.sleep(0.01)


def test_an_import_goes_on_where_another_took_an_id(service: Started, dsn: str, tmp_path: Path) -> None:
    """An id that somebody else takes for another entry while the import wants it is refused; the import goes on."""
    reference = Reference(catalog.load())
    scribe = Scribe(HouseRule(), reference)
    identity = str(uuid.uuid4())
    file = tmp_path / "history.ndjson"
    lines: list[dict[str, Any]] = [
        entry("insertion", serial="EX-2") | {"id": identity},
        entry("insertion", "c", 1, "EX-2"),
    ]
    file.write_text("".join(json.dumps(each) + "\n" for each in lines))
    aside = tmp_path / "aside"
    with aside.open("wb") as checked:
        assert not importing.check(file, WHOLE, checked, lambda _: None)

    async def work() -> None:
        async with service() as client:
            for serial in ("EX-1", "EX-2"):
                await client.post("/v1/connectors", json=registration(serial))
        first, pool = await database.service_connection(dsn), await database.service_pool(dsn, 2)
        async with database.owner(dsn) as owner:
            holding = first.transaction()
            await holding.start()
            fact = msgspec.convert(entry("removal") | {"id": identity}, Entry)
            await scribe.write(first, [recording.submission(fact, "test", app.now(), None, reference)])
            wanted = importing.record(pool, scribe, importing.lines(aside), "import", app.now, lambda _: None)
            importer = asyncio.create_task(wanted)
            await one_waits(owner)
            await holding.commit()
            tally, refused = await importer
        await first.close()
        await pool.close()
        assert (tally.recorded, tally.refused) == (1, 1)
        assert [each.number for each in refused] == [1]

    run(work())
