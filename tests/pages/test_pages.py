"""The planner's pages: what they show of what was recorded, where their links lead, and what their form writes."""

import re
from typing import Any
from uuid import uuid4

import httpx
import pytest

from service.messages import DECIDES
from service.pages.planner import PAGES
from service.workflow.access import Scope
from tests.conftest import make_token, run
from tests.pages.visiting import doors, fields, record, visitor, words, worn

PATHS = (
    "/work-orders",
    "/records",
    "/fleet",
    "/discrepancies",
    "/outlook",
    "/stock",
    "/visits",
    "/what-if?asset=TN-7",
    "/signals",
    "/search?mark=x",
    "/assets/TN-7",
)


async def told(dsn: str, connector: str, acts: list[dict[str, Any]]) -> list[str]:
    """Record more at a connector."""
    token = await make_token(dsn, Scope.ADMIN)
    async with doors(dsn) as client:
        return await record(client, {"Authorization": f"Bearer {token}"}, connector, acts)


def serials(reply: httpx.Response) -> list[str]:
    """The serials of the list, from the top."""
    return re.findall(r'<th scope="row"[^>]*><span class="cell"><a href="/connectors/[^"]+">([^<]+)</a>', reply.text)


def test_every_page_says_who_decides(dsn: str) -> None:
    """Whatever could be taken as authority says that the approved data, the local rules and the licensed person decide."""

    async def work() -> None:
        connector = await worn(dsn, "S-1", 8)
        async with visitor(dsn) as client:
            for path in (*PATHS, f"/connectors/{connector}"):
                shown = await client.get(path)
                assert shown.status_code == 200, (path, words(shown))
                assert shown.headers["content-type"] == "text/html; charset=utf-8"
                assert DECIDES in words(shown)

    run(work())


def test_the_ways_lead_to_pages() -> None:
    """Each page that has a name is one that the address alone opens."""
    assert all("{" not in each.path for each in PAGES if each.name)


def test_the_fleet_s_list_is_worst_first_and_narrows(dsn: str) -> None:
    """Over comes before spent before nearing; within is not on it; filters stand in the address and combine; pages follow."""

    async def work() -> None:
        for serial, insertions in (("N-8", 8), ("O-11", 11), ("S-10", 10), ("W-2", 2)):
            await worn(dsn, serial, insertions)
        async with visitor(dsn) as client:
            shown = await client.get("/fleet")
            assert serials(shown) == ["O-11", "S-10", "N-8"]
            assert "11 of 10 not verified" in words(shown)
            assert serials(await client.get("/fleet?wear=spent&wear=over&asset=TN-7")) == ["O-11", "S-10"]
            assert serials(await client.get("/fleet?asset=TN-8")) == []
            found, path = [], "/fleet?limit=1"
            while path:
                page = await client.get(path)
                found += serials(page)
                following = re.search(r'<a href="([^"]+)" rel="next">', page.text)
                path = "" if following is None else following[1].replace("&amp;", "&") + "&limit=1"
            assert found == ["O-11", "S-10", "N-8"]
            cavities = await client.get("/fleet?of=cavities")
            assert [each for each in ("O-11", "S-10", "N-8") if each in words(cavities)] == ["O-11", "S-10", "N-8"]

    run(work())


def test_the_fleet_as_of_a_past_moment(dsn: str) -> None:
    """A moment before anything was recorded shows an empty list, and says of when it is."""

    async def work() -> None:
        await worn(dsn, "O-11", 11)
        async with visitor(dsn) as client:
            shown = await client.get("/fleet?as_of=2020-01-01T00:00")
            assert serials(shown) == []
            assert "As the ledger stood at 2020-01-01 00:00" in words(shown)
            assert serials(await client.get("/fleet?as_of=2030-01-01T00:00")) == ["O-11"]

    run(work())


def test_a_form_s_empty_fields_leave_the_address(dsn: str) -> None:
    """The address that somebody sends on holds what was chosen, and nothing that was not."""

    async def work() -> None:
        async with visitor(dsn) as client:
            sent = await client.get("/fleet?asset=TN-7&zone=&wear=over&wear=spent&as_of=")
            assert sent.status_code == 303
            assert sent.headers["location"] == "/fleet?asset=TN-7&wear=over&wear=spent"

    run(work())


@pytest.mark.parametrize("query", ["wear=odd", "cursor=odd", "asset=" + "x" * 201, "odd=1", "as_of=odd", "limit=0"])
def test_an_address_that_says_nothing_is_said_to(query: str, dsn: str) -> None:
    """An address that can't be meant is a page that says what is wrong with it, never another list than was asked for."""

    async def work() -> None:
        async with visitor(dsn) as client:
            wrong = await client.get(f"/fleet?{query}")
            assert wrong.status_code == 422
            assert 'role="alert"' in wrong.text
            assert "Fleet" in words(wrong)

    run(work())


def test_the_connector_s_page_tells_all_of_it(dsn: str) -> None:
    """Both faces, each cavity in words, the rating with its doubt, what is open, and the history with what was corrected."""

    async def work() -> None:
        connector = await worn(dsn, "O-<11>", 11)
        late = {
            "kind": "finding",
            "cavity": "a",
            "note": "tine <bent>",
            "blocks": True,
            "performed_at": "2026-10-01T09:00:00Z",
        }
        (finding,) = await told(dsn, connector, [late])
        fix = {"kind": "correction", "corrects": finding, "note": "another connector"}
        await told(dsn, connector, [fix])
        async with visitor(dsn) as client:
            shown = await client.get(f"/connectors/{connector}")
            said = words(shown)
            assert shown.text.count('class="worn') == 2
            assert "A: over, 11 of 10 cycles, contact in" in said
            assert "a: within, 0 of 10 cycles, empty" in said
            assert "over: A; within: 1 of 2 cavities" in said
            assert "nobody has put a name, a day and a document to this figure" in said
            assert "over rating , cavity A" in said
            assert "“tine <bent>”" in said
            assert "O-<11>" in said
            assert "Entered in error: see the correction" in said
            assert f'id="entry-{finding}"' in shown.text
            assert re.search(r"Recorded \d+ days? later|Recorded \d+ months? later", said)
            only = await client.get(f"/connectors/{connector}?cavity=a")
            assert "History of cavity a" in words(only)
            assert "Contact inserted" not in words(only)
            assert (await client.get(f"/connectors/{connector}?cavity=B")).status_code == 422
            assert (await client.get(f"/connectors/{uuid4()}")).status_code == 404
            assert (await client.get("/connectors/odd")).status_code == 404

    run(work())


def test_a_long_history_has_pages(dsn: str) -> None:
    """Every entry of a long history is on exactly one of its pages."""

    async def work() -> None:
        connector = await worn(dsn, "L-1", 90)
        async with visitor(dsn) as client:
            found: list[str] = []
            path = f"/connectors/{connector}"
            while path:
                page = await client.get(path)
                found += re.findall(r'id="entry-([^"]+)"', page.text)
                older = re.search(r'<a href="([^"#]+)#history">Older</a>', page.text)
                path = older[1].replace("&amp;", "&") if older else ""
            assert len(found) == len(set(found)) == 180

    run(work())


def test_the_search_finds_what_was_scanned(dsn: str) -> None:
    """One connector, an entry's id and an asset lead to where they are; what means nothing says how it was read."""

    async def work() -> None:
        connector = await worn(dsn, "F-1", 2)
        (entry,) = await told(dsn, connector, [{"kind": "mating", "work_order": "WO-7"}])
        async with visitor(dsn) as client:
            for mark, goes in (
                ("F-1", f"/connectors/{connector}"),
                (" F-1 ", f"/connectors/{connector}"),
                (connector, f"/connectors/{connector}"),
                (entry, f"/connectors/{connector}#entry-{entry}"),
                ("TN-7", "/assets/TN-7"),
            ):
                found = await client.get("/search", params={"mark": mark})
                assert (found.status_code, found.headers.get("location")) == (303, goes), mark
            assert serials(await client.get("/search", params={"mark": "WO-7"})) == ["F-1"]
            nothing = await client.get("/search", params={"mark": "<b>nothing</b>"})
            assert "Nothing on the books is called <b>nothing</b>" in words(nothing)
            assert "How it was read" in words(nothing)

    run(work())


def test_several_connectors_of_one_mark_are_told_apart(dsn: str) -> None:
    """Two makers use the same serial: both are listed, with what tells them apart."""

    async def work() -> None:
        for cage in ("0CVA5", "1CVA5"):
            await worn(dsn, "T-1", 1, cage=cage)
        async with visitor(dsn) as client:
            shown = await client.get("/search", params={"mark": "T-1"})
            assert serials(shown) == ["T-1", "T-1"]
            assert "0CVA5" in words(shown)
            assert "1CVA5" in words(shown)

    run(work())


def test_the_asset_s_page(dsn: str) -> None:
    """It lists what on it is not within its rating, by whatever name it goes; an asset that nothing is placed on is none."""

    async def work() -> None:
        connector = await worn(dsn, "O-11", 11)
        await told(dsn, connector, [{"kind": "placement", "asset": "TN/8 x", "performed_at": "2026-11-20T08:00:00Z"}])
        async with visitor(dsn) as client:
            shown = await client.get("/assets/TN%2F8%20x")
            assert shown.status_code == 200
            assert serials(shown)[0] == "O-11"
            assert "over rating" in words(shown)
            assert (await client.get("/assets/TN-7")).status_code == 404

    run(work())


def test_a_discrepancy_is_resolved_by_an_entry(dsn: str) -> None:
    """The form writes a resolution with its reason and the badge, once however often it is sent, and the list is shorter."""

    async def work() -> None:
        connector = await worn(dsn, "O-11", 11)
        async with visitor(dsn) as client:
            shown = await client.get("/discrepancies?asset=TN-7")
            assert "Over rating, cavity A" in words(shown)
            assert "(this entry)" in words(shown)
            form = fields(shown.text, "Resolve it here") | {"kind": "resolution", "reason": "seen", "by": "badge 9"}
            for _ in range(2):
                done = await client.post("/discrepancies", data=form)
                assert done.status_code == 303, words(done)
                assert done.headers["location"] == f"/discrepancies?asset=TN-7&recorded={form['id']}"
            after = await client.get(done.headers["location"])
            assert "Recorded. The entry in its history" in words(after)
            assert "Nothing that fits is open" in words(after)
            history = words(await client.get(f"/connectors/{connector}"))
            assert history.count("Discrepancy resolved") == 1
            assert "“seen”" in history
            assert "badge 9" in history

    run(work())


@pytest.mark.parametrize(
    "wrong",
    [
        {"reason": ""},
        {"reason": "  "},
        {"by": ""},
        {"kind": "renewal"},
        {"kind": "odd"},
        {"about": "odd"},
        {"code": "odd"},
    ],
)
def test_a_form_that_lacks_something_writes_nothing(wrong: dict[str, str], dsn: str) -> None:
    """Without a reason or a name, or for what nobody states at a desk, nothing is recorded, and the page says why."""

    async def work() -> None:
        await worn(dsn, "O-11", 11)
        async with visitor(dsn) as client:
            shown = await client.get("/discrepancies")
            form = fields(shown.text, "Resolve it here") | {"kind": "resolution", "reason": "seen", "by": "badge 9"}
            assert (await client.post("/discrepancies", data=form | wrong)).status_code == 422
            assert "Over rating, cavity A" in words(await client.get("/discrepancies"))

    run(work())


def test_people_are_no_signal_for_everybody(dsn: str) -> None:
    """Whose work fails more often is asked by an administrator alone; a planner is not even offered the question."""

    async def work() -> None:
        async with visitor(dsn) as client:
            assert "people" not in words(await client.get("/signals"))
            assert (await client.get("/signals?about=person")).status_code == 403
        async with visitor(dsn, Scope.ADMIN) as client:
            assert (await client.get("/signals?about=person")).status_code == 200

    run(work())


def test_without_an_outlook_the_pages_say_so(dsn: str) -> None:
    """Before the first run nothing is foretold, and the page says what to do."""

    async def work() -> None:
        async with visitor(dsn) as client:
            for path in ("/outlook", "/stock", "/visits"):
                assert "No outlook was computed yet" in words(await client.get(path)), path

    run(work())
