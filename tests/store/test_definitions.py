"""The memory of definitions: a full one loses nobody's, and nothing is remembered that was never committed."""

import uuid
from datetime import UTC, datetime
from typing import Any

import msgspec
import pytest

from service import catalog, messages
from service.core.entries import HouseRule
from service.store import database, ledger
from service.workflow import connectors, registering
from service.workflow.recording import Scribe
from service.workflow.reference import Reference
from tests.api.test_recording import entry, post, registration
from tests.conftest import Started, run


def test_a_full_memory_loses_no_definition(service: Started, monkeypatch: pytest.MonkeyPatch) -> None:
    """Entries of one remembered and one new connector are recorded even where the memory is emptied for the new one."""
    monkeypatch.setattr(ledger, "_CACHED_DEFINITIONS", 2)

    async def work() -> None:
        async with service() as client:
            serials = [f"EX-{number}" for number in range(4)]
            for serial in serials:
                await client.post("/v1/connectors", json=registration(serial))
            for pair in zip(serials, [*serials[1:], serials[0]], strict=True):
                results = await post(client, *(entry("mating", None, serial=serial) for serial in pair))
                assert [each["outcome"] for each in results] == ["recorded", "recorded"]

    run(work())


def test_a_registration_that_failed_leaves_no_rating_behind(dsn: str) -> None:
    """After a registration that was rolled back, the same id may be registered with another rating, and that one holds."""
    house, reference = HouseRule(), Reference(catalog.load())
    scribe, identity = Scribe(house, reference), uuid.uuid4()

    async def register(connection: database.Connection, value: int) -> registering.Registered:
        asked: dict[str, Any] = registration(id=str(identity), rating={"value": value, "basis": "house"})
        return await registering.register(
            connection,
            scribe,
            reference,
            house,
            msgspec.convert(asked, messages.Registration),
            "test",
            datetime.now(UTC),
            identity,
        )

    async def work() -> None:
        connection = await database.service_connection(dsn)
        try:
            lost = connection.transaction()
            await lost.start()
            await register(connection, 100)
            await lost.rollback()
            made = await register(connection, 10)
            read = await connectors.one(connection, scribe.definitions, identity)
        finally:
            await connection.close()
        for head in (made.head, read):
            assert head.definition.rating is not None
            assert head.definition.rating.value == 10

    run(work())
