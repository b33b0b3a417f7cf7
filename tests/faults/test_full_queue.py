"""More is sent than the disk keeps up with."""

import asyncio

import httpx
import pytest

from tests.api.test_recording import entry, registration
from tests.conftest import Started, run


@pytest.mark.parametrize("limit", [1, 3, 7])
def test_a_full_queue_takes_nothing_of_a_request(service: Started, limit: int) -> None:
    """A request that does not fit is answered 503 with Retry-After and leaves nothing; sent again, it counts once."""

    async def work() -> None:
        async with service(queue_limit=limit) as client:
            await client.post("/v1/connectors", json=registration())
            requests = [[entry("tine_entry") for _ in range(1 + number % (limit + 2))] for number in range(40)]
            replies = await asyncio.gather(*(_send(client, each) for each in requests))
            refused = [each for each, reply in zip(requests, replies, strict=True) if reply.status_code == 503]
            taken = [each for each, reply in zip(requests, replies, strict=True) if reply.status_code == 200]
            assert refused
            assert taken
            for reply in replies:
                if reply.status_code == 503:
                    assert reply.headers["Content-Type"] == "application/problem+json"
                    assert int(reply.headers["Retry-After"]) >= 1
                    assert reply.json()["type"] == "urn:tinebook:problem:busy"
            for fact in (each for request in refused for each in request):
                assert (await client.get(f"/v1/entries/{fact['id']}")).status_code == 404
            for each in refused:
                assert (await _send(client, each)).status_code == 200
            (line,) = (await client.get("/v1/connectors", params={"mark": "EX-1"})).json()["connectors"]
            shown = (await client.get(f"/v1/connectors/{line['id']}")).json()
            assert shown["entries"] == sum(map(len, requests))

    run(work())


async def _send(client: httpx.AsyncClient, facts: list[dict[str, object]]) -> httpx.Response:
    return await client.post("/v1/entries", json={"entries": facts})
