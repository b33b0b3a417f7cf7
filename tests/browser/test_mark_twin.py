"""The page's reader of marks in the browser, held to the service's: the same vectors, and thousands of scans by chance.

Where the page leaves GS1 data to the service it must say so, and give no identity. Whatever else is wrong with it, it must
never find a connector that the service would not.
"""

import itertools
import json
import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

from service.core import marks
from tests.browser import modules
from tests.core import mark_vectors
from tests.core.mark_vectors import Scan

pytestmark = modules.needs_chromium

SEED = 786950
SCANS = 6000
PAGE = Path(__file__).parents[2] / "scanner_client" / "page"
READ = """async (scans) => {
  const marks = await import("/core/marks.js");
  const bytes = (hex) => Uint8Array.from(hex.match(/../g) ?? [], (each) => parseInt(each, 16));
  return scans.map(([hex, symbology]) => marks.read(bytes(hex), symbology));
}"""
MEET = """async (told) => {
  const marks = await import("/core/marks.js");
  const bytes = (hex) => Uint8Array.from(hex.match(/../g) ?? [], (each) => parseInt(each, 16));
  return told.map(([hex, serial, cage, part, id]) => {
    const mark = marks.read(bytes(hex));
    return [marks.keys(serial, cage, part, id), marks.lookUpKeys(mark), marks.contradicts(mark, serial, cage, part)];
  });
}"""


@pytest.fixture(scope="module")
def page() -> Iterator[Page]:
    """A browser in which the page's modules can be imported."""
    with modules.opened() as opened:
        yield opened


def in_page(page: Page, scans: list[Scan]) -> list[dict[str, Any]]:
    """What the page reads in scans."""
    read: list[dict[str, Any]] = page.evaluate(READ, [[each.data.hex(), each.symbology] for each in scans])
    return read


def difference(scan: Scan, read: dict[str, Any]) -> str | None:
    """How the page's reading of a scan differs from the service's, if it does."""
    mark = marks.read(scan.data, scan.symbology)
    told = {name: value for name, value in read.items() if value not in (None, []) and name != "unknown_here"}
    if mark_vectors.is_gs1(mark):
        expected = {"meaning": "gs1", **({} if mark.symbology is None else {"symbology": mark.symbology})}
        same = read["unknown_here"] is True and told == expected
    else:
        same = read["unknown_here"] is False and told == mark_vectors.told(mark)
    return (
        None
        if same
        else f"{scan.data!r} {scan.symbology}: {told} in the page, {mark_vectors.told(mark)} in the service"
    )


def differences(page: Page, scans: list[Scan]) -> list[str]:
    """Every scan that the page reads otherwise."""
    found = zip(scans, in_page(page, scans), strict=True)
    return [told for scan, read in found if (told := difference(scan, read)) is not None]


def by_chance(seed: int, count: int) -> list[Scan]:
    """So many scans."""
    return list(itertools.islice(mark_vectors.scans(random.Random(seed)), count))


def test_the_page_reads_every_vector_alike(page: Page) -> None:
    """The marks of the standards, and damaged ones, read the same in the page, field for field and word for word."""
    vectors = json.loads(mark_vectors.FILE.read_text("utf-8"))["vectors"]
    scans = [Scan(bytes.fromhex(each["hex"]), each.get("symbology")) for each in vectors]
    assert [mark_vectors.told(marks.read(each.data, each.symbology)) for each in scans] == [
        each["mark"] for each in vectors
    ]
    assert differences(page, scans) == []


def test_the_page_reads_any_scan_alike(page: Page) -> None:
    """Thousands of scans made by chance read the same in the page, and none finds what the service would not find."""
    scans = by_chance(SEED, SCANS)
    for scan, read in zip(scans, in_page(page, scans), strict=True):
        assert difference(scan, read) is None
        assert read["identity"] in (None, marks.read(scan.data, scan.symbology).identity)


@pytest.mark.parametrize(
    ("file", "right", "wrong"),
    [
        ("identity.js", "/^[0-9A-HJ-NP-Z]{5}$/", "/^[0-9A-Z]{5}$/"),
        ("identity.js", "LONGEST_UII = 50", "LONGEST_UII = 78"),
        ("identity.js", "given.length ? given : ", ""),
        ("identity.js", "candidates.length > 1", "candidates.length > 9"),
        ("envelope.js", 'S: "0-28', 'S: "0-29'),
        ("envelope.js", "if (body.includes(EOT)) return AFTER_END;", ""),
        ("marks.js", "SUBSTITUTE.test(text)", "false"),
        ("marks.js", "ignoreBOM: true", "ignoreBOM: false"),
        ("marks.js", "each.format === envelope.APPLICATION_DATA", "false"),
    ],
)
def test_a_wrong_reader_would_be_seen(page: Page, file: str, right: str, wrong: str) -> None:
    """The comparison is worth something: a slip in any of the page's files shows as a difference."""
    source = (PAGE / "core" / file).read_text("utf-8")
    assert right in source
    browser = page.context.browser
    assert browser is not None
    other = browser.new_page()
    other.route(
        f"**/core/{file}",
        lambda route: route.fulfill(body=source.replace(right, wrong), content_type="text/javascript"),
    )
    other.goto(page.url)
    standard = [each for _, each in mark_vectors.bases()]
    assert differences(other, [*standard, *by_chance(SEED, SCANS // 5)])
    other.close()


SERIALS = ["786950", "4786950", "D0CVA51234786950", "0CVA5", "a", "", "SN 1", "S" * 44, "S" * 45]
CAGES = [None, "", "0CVA5", "A3309", "0CVI5", "0cva5"]
PARTS = [None, "", "1234", "123", "12 34", "P" * 20]
MARKS = [
    "[)>\x1e06\x1d17V0CVA5\x1d1P1234\x1dS786950\x1e\x04",
    "[)>\x1e06\x1d17V0CVA5\x1d1T1234\x1dS786950\x1e\x04",
    "[)>\x1e06\x1d12V123456789\x1d1P1234\x1dS786950\x1e\x04",
    "[)>\x1e06\x1d18S0CVA5786950\x1e\x04",
    "[)>\x1e06\x1d25SD0CVA51234786950\x1e\x04",
    "[)>\x1e06\x1d37SD0CVA5123+4786950\x1e\x04",
    "D0CVA51234786950",
    "786950",
    "6f9619ff-8b86-4d01-b42d-00cf4fc964ff",
    "[)>06",
]


def test_keys_meet_alike(page: Page) -> None:
    """Under which keys a connector is found, and which marks contradict it, is the same in the page."""
    identity = "6f9619ff-8b86-4d01-b42d-00cf4fc964ff"
    told = [
        (text.encode(), serial, cage, part, known)
        for text, serial, cage, part in itertools.product(MARKS, SERIALS, CAGES, PARTS)
        for known in (None, identity)
    ]
    found = page.evaluate(MEET, [[data.hex(), *rest] for data, *rest in told])
    contradicted = 0
    for (data, serial, cage, part, known), (keys, look_up, contradicts) in zip(told, found, strict=True):
        mark = marks.read(data)
        expected = list(marks.keys(serial, cage, part, known))  # type: ignore[arg-type]
        assert [keys, look_up] == [expected, list(marks.look_up_keys(mark))]
        assert contradicts is marks.contradicts(mark, serial, cage, part)
        contradicted += contradicts
    assert 0 < contradicted < len(told)


def test_a_serial_that_is_a_link_gets_no_more_keys_in_the_page_than_in_the_service(page: Page) -> None:
    """A connector registered under a GS1 web address is found in the page by that text alone."""
    link = "https://a/01/09506000134352/21/X"
    ((keys, _, _),) = page.evaluate(MEET, [[b"x".hex(), link, None, None, None]])
    assert keys == [link]
    assert set(keys) < set(marks.keys(link))
