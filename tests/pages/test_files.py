"""The lists of the pages as files: the same report as the API's, with the page's filters, for who has signed in."""

import csv
import io
import re

import pytest

from service.pages import what_if
from service.pages.what_if import Asking
from service.problems import ProblemRaised
from service.workflow.access import Scope
from tests.conftest import make_token, run
from tests.pages.visiting import doors, visitor, words, worn

REPORTS = (
    "cycle-limits",
    "wear?by=asset",
    "discrepancies",
    "outlook",
    "demand",
    "stock",
    "visits",
    "signals?about=tool",
)


def test_the_file_is_the_list_with_its_filters(dsn: str) -> None:
    """The link below the fleet's list gives what the API gives for the same filters, byte for byte but for the moment."""

    async def work() -> None:
        for serial, insertions in (("N-8", 8), ("O-11", 11)):
            await worn(dsn, serial, insertions)
        async with visitor(dsn) as client:
            shown = await client.get("/fleet?wear=over&asset=TN-7")
            (href,) = re.findall(r'href="(/files/cycle-limits\?[^"]+format=csv)"', shown.text)
            file = await client.get(href.replace("&amp;", "&"))
            assert file.status_code == 200
            assert file.headers["content-type"].startswith("text/csv")
            assert file.headers["content-disposition"].startswith('attachment; filename="tinebook-cycle-limits-')
            assert file.headers["cache-control"] == "no-store"
            rows = list(csv.DictReader(io.StringIO(file.text)))
            assert [each["serial"] for each in rows] == ["O-11"]
        token = await make_token(dsn, Scope.PLANNER)
        async with doors(dsn) as client:
            told = await client.get(
                "/v1/reports/cycle-limits?wear=over&asset=TN-7&format=csv", headers={"Authorization": f"Bearer {token}"}
            )
            assert told.text == file.text

    run(work())


@pytest.mark.parametrize("report", REPORTS)
def test_every_report_is_to_be_had(report: str, dsn: str) -> None:
    """Each report opens in each form, also where it has nothing to say."""

    async def work() -> None:
        await worn(dsn, "O-11", 11)
        async with visitor(dsn) as client:
            mark = "&" if "?" in report else "?"
            starts = {"ndjson": b"", "csv": b"", "xlsx": b"PK", "pdf": b"%PDF-"}
            for form, start in starts.items():
                file = await client.get(f"/files/{report}{mark}format={form}")
                assert file.status_code == 200, (form, words(file))
                assert file.content.startswith(start)

    run(work())


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("cycle-limits", 422),
        ("cycle-limits?format=odd", 422),
        ("cycle-limits?format=csv&wear=odd", 422),
        ("odd?format=csv", 404),
        ("signals?about=person&format=csv", 403),
    ],
)
def test_a_file_that_can_t_be_is_a_page_that_says_why(path: str, status: int, dsn: str) -> None:
    """What can't be given as a file is said as a page, and nothing is downloaded."""

    async def work() -> None:
        async with visitor(dsn) as client:
            wrong = await client.get(f"/files/{path}")
            assert wrong.status_code == status
            assert 'role="alert"' in wrong.text
            assert "content-disposition" not in wrong.headers

    run(work())


def test_files_are_not_for_everybody(dsn: str) -> None:
    """Whoever may not see a report gets no file of it, and who has not signed in is asked to."""

    async def work() -> None:
        async with visitor(dsn, Scope.BENCH) as client:
            assert (await client.get("/files/cycle-limits?format=csv")).status_code == 403
        async with doors(dsn) as client:
            asked = await client.get("/files/cycle-limits?format=csv")
            assert "content-disposition" not in asked.headers
            assert "/sign-in" in asked.text or asked.headers.get("location", "").startswith("/sign-in")

    run(work())


def test_what_if_names_the_cavity_that_does_not_take_it(dsn: str) -> None:
    """A cavity with one cycle left can't be reworked twice; one that is not reworked stays out of it."""

    async def work() -> None:
        await worn(dsn, "N-9", 9)
        await worn(dsn, "W-2", 2)
        async with visitor(dsn) as client:
            shown = await client.get("/what-if", params={"positions": "P 1/2: A", "reworks": "2"})
            assert "1 of 2 connectors can't be reworked so" in words(shown)
            row = words(shown).split("N-9", 1)[1].split("W-2", 1)[0]
            assert re.search(r"No\. Renew first\s+A", row)
            assert "/what-if?" in str(shown.url)
            fits = await client.get("/what-if", params={"positions": "P 1/2: a", "reworks": "2"})
            assert "nothing stands against it as far as is known" in words(fits)
            none = await client.get("/what-if", params={"asset": "TN-7", "positions": "P 9"})
            assert "“P 9” meets no connector" in words(none)

    run(work())


def test_what_if_without_a_question_is_a_form(dsn: str) -> None:
    """Nobody's fleet is reckoned through until somebody says which connectors."""

    async def work() -> None:
        async with visitor(dsn) as client:
            assert "Say which connectors" in words(await client.get("/what-if"))

    run(work())


def test_the_lines_of_a_modification() -> None:
    """Each line is a position; behind the last colon stand cavities, whose case is kept."""
    told = what_if.steps(Asking(asset="TN-7", positions="P 214: 1, 2 c\r\n\r\nJ 7\nX:1:", reworks=2))
    assert [(each.position, each.cavities) for each in told] == [("P 214", ("1", "2", "c")), ("J 7", ()), ("X:1", ())]
    assert {(each.asset, each.reworks) for each in told} == {("TN-7", 2)}
    with pytest.raises(ProblemRaised):
        what_if.steps(Asking(positions="P\x00"))
