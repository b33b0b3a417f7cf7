"""What a first visit costs: every byte that the browser got from the page's server, by the browser's own log of its network."""

import base64
import hashlib
import json
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import serialization
from msgspec import Struct
from playwright.sync_api import Browser, sync_playwright

from scanner_client import authority, authority_files, page_files
from scanner_client.authority_files import Made
from scanner_client.page_files import PageFile
from tests.browser import programs
from tests.browser.conftest import CHROMIUM
from tests.client.test_secure_page import NAMES, serving

MOST_COMPRESSED = 450_000
"""The bodies of all that is fetched, as they come; 321 410 are the decoder's wasm file."""
MOST_RECEIVED = 460_000
"""All that comes once TLS is taken off: the bodies, and the headers of some 70 answers, which HTTP/1.1 does not pack."""
MOST_UNPACKED = 1_320_000
"""Of it 953 527 are the decoder's wasm file, and 65 000 other scripts that are not ours: nothing here makes those smaller."""
WASM = "/vendor/zxing_reader.wasm"
KEPT = "async () => (await navigator.serviceWorker.getRegistration('/'))?.active?.state === 'activated'"
DECODES = """async () => {
  const {reader} = await import("/scan/reader.js");
  await reader().ready;
}"""


class Visit(Struct, frozen=True):
    """What crossed the wire, once TLS was taken off: bytes that came, and how often each path was asked for."""

    received: int
    asked: Mapping[str, int]


def visited(log: Path) -> Visit:
    """What Chromium's own log says (`--log-net-log`); it sees all of the browser, a page that starts as little as its workers."""
    told = json.loads(log.read_text())
    kinds = told["constants"]["logEventTypes"]
    events: list[dict[str, Any]] = told["events"]
    came = [each["params"]["byte_count"] for each in events if each["type"] == kinds["SSL_SOCKET_BYTES_RECEIVED"]]
    sent = [each["params"] for each in events if each["type"] == kinds["HTTP_TRANSACTION_SEND_REQUEST_HEADERS"]]
    # A request has an event for its beginning, with what was sent, and one for its end.
    return Visit(sum(came), Counter(each["line"].split()[1] for each in sent if "line" in each))


@pytest.fixture
def made(tmp_path: Path) -> Made:
    """An authority with a page's certificate."""
    now = datetime.now(UTC)
    given = authority_files.make(tmp_path / "authority", NAMES, None, now)
    authority_files.renew(given, NAMES, authority.days_from(now, 90))
    return given


@contextmanager
def browser(certificate: Path, log: Path) -> Iterator[Browser]:
    """A browser with nothing in it, which takes the certificate, and whose log is whole once it has ended."""
    leaf = x509.load_pem_x509_certificate(certificate.read_bytes())
    key = leaf.public_key().public_bytes(serialization.Encoding.DER, serialization.PublicFormat.SubjectPublicKeyInfo)
    pin = base64.b64encode(hashlib.sha256(key).digest()).decode()
    flags = ["--host-resolver-rules=MAP * 127.0.0.1", f"--ignore-certificate-errors-spki-list={pin}"]
    with sync_playwright() as play:
        opened = play.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", f"--log-net-log={log}", *flags]
        )  # fmt: skip
        yield opened
        opened.close()


def test_a_first_visit_is_small(made: Made, tmp_path: Path) -> None:
    """The page opened, kept whole for work without a network, and its decoder started: 450 kB at most, each file once."""
    pem, log = made.directory / "bench.pem", tmp_path / "network.json"
    with serving(tmp_path, certificate=pem, key=made.directory / "bench.key") as served, browser(pem, log) as opened:
        page = opened.new_page()
        page.goto(served.address())
        programs.until(lambda: page.evaluate(KEPT), "the page is not kept")
        page.evaluate(DECODES)
    visit = visited(log)
    files = page_files.shipped()
    listing = json.loads(files[page_files.LISTING].plain.body)
    whole = {each["path"] for each in listing["files"]} | {page_files.LISTING, page_files.WORKER}
    assert set(visit.asked) == whole
    assert {path for path, times in visit.asked.items() if times > 1} <= {"/"}, "the service worker takes what is there"
    unpacked = sum(len(files[path].plain.body) for path in whole)
    compressed = sum(len((files[path].short.get("br") or files[path].plain).body) for path in whole)
    bodies = f"{compressed} of bodies, {unpacked} unpacked"
    print(f"{visit.received} bytes came, {bodies}; the decoder: {_sizes(files[WASM])}")  # noqa: T201
    assert compressed < visit.received, "the log has all of it"
    assert compressed <= MOST_COMPRESSED
    assert visit.received <= MOST_RECEIVED
    assert unpacked <= MOST_UNPACKED


def _sizes(file: PageFile) -> str:
    return f"{len(file.short['br'].body)} of {len(file.plain.body)}"
