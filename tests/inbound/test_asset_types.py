"""What assets are reaches the fleet's report: wear counted together by type."""

import uuid

from service.workflow.access import Scope
from tests.conftest import Started, run
from tests.inbound.test_rows import put
from tests.pages.visiting import visitor, words, worn


def test_wear_is_counted_by_type_of_asset(service: Started, dsn: str) -> None:
    """Connectors count under the type that holds for the asset on which they are; those of no known type together."""
    places: dict[str, dict[str, str]] = {}

    async def work() -> None:
        for serial, insertions, asset in (
            ("EX-1", 11, "TN-1"),
            ("EX-2", 1, "TN-2"),
            ("EX-3", 1, "TN-3"),
            ("EX-4", 1, None),
        ):
            connector = await worn(dsn, serial, insertions)
            places[connector] = {"asset": asset} if asset else {"zone": "shelf"}
        async with service() as client:
            for connector, place in places.items():
                moved = {"id": str(uuid.uuid4()), "connector": connector, "kind": "placement", "performed_by": "117"}
                await client.post(
                    "/v1/entries", json={"entries": [moved | place | {"performed_at": "2026-11-20T08:00:00Z"}]}
                )
            types = [
                {"asset": "TN-1", "type": "Survey 12"},
                {"asset": "TN-2", "type": "Regional 70"},
                {"asset": "TN-3"},
            ]
            await put(client, "assets", {"asset": "TN-1", "type": "Regional 70"}, *types)
            found = (await client.get("/v1/reports/wear?by=asset_type")).json()
            groups = {each["name"]: (each["connectors"], each["over"]) for each in found["groups"]}
            assert groups == {"Survey 12": (1, 1), "Regional 70": (1, 0), None: (2, 0)}
            assert found["groups"][0]["name"] == "Survey 12", "the worst first"
            pages, cursor = [], ""
            while cursor is not None:
                page = (await client.get(f"/v1/reports/wear?by=asset_type&limit=1{cursor}")).json()
                pages += [each["name"] for each in page["groups"]]
                cursor = page["next"] and f"&cursor={page['next']}"
            assert sorted(map(str, pages)) == ["None", "Regional 70", "Survey 12"]
            assert (await client.get("/v1/reports/wear?by=asset_type&family=X")).status_code == 422
            assert "Survey 12" in (await client.get("/v1/reports/wear?by=asset_type&format=csv")).text
        async with visitor(dsn, Scope.PLANNER) as browser:
            shown = await browser.get("/fleet?by=asset_type")
            assert "Survey 12" in words(shown)
            assert "asset_type=" not in shown.text, "the list can't be narrowed to a type"

    run(work())
