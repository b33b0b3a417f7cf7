"""The page as it is served over TLS: by the command, to a client that checks, and to a browser."""

import base64
import hashlib
import os
import shutil
import socket
import ssl
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import httpx
import pytest
from cryptography import x509
from cryptography.hazmat.primitives import serialization
from msgspec import Struct
from playwright.sync_api import Error, Page, sync_playwright

from scanner_client import authority, authority_files
from scanner_client.authority_files import Made
from tests.client import tls
from tests.client.tls import HOST

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
CERTUTIL = shutil.which("certutil")
NAMES = authority.names([HOST])
NSS_PLACES = (".pki/nssdb", ".local/share/pki/nssdb")
"""Where Chromium on Linux looks for the authorities that its user trusts."""

in_a_browser = pytest.mark.skipif(CHROMIUM is None, reason="needs chromium (Debian: apt install chromium)")


class Served(Struct, frozen=True):
    """A bench page that is being served."""

    port: int
    said: Path

    def address(self, host: str = HOST, scheme: str = "https") -> str:
        """Its address under a name."""
        return f"{scheme}://{host}:{self.port}/"


@pytest.fixture
def made(tmp_path: Path) -> Made:
    """An authority with a page's certificate."""
    now = datetime.now(UTC)
    given = authority_files.make(tmp_path / "authority", NAMES, None, now)
    authority_files.renew(given, NAMES, authority.days_from(now, 90))
    return given


@contextmanager
def serving(tmp_path: Path, **files: Path) -> Iterator[Served]:
    """Serve the page with the command, its files named by settings."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    said = tmp_path / f"said-{port}"
    settings = {f"TINEBOOK_BENCH_{name.upper()}": str(path) for name, path in files.items()}
    settings["TINEBOOK_BENCH_OUTBOX"] = str(tmp_path / "bench.db")
    with said.open("w") as output:
        command = [sys.executable, "-m", "scanner_client.cli", "serve", "--port", str(port)]
        process = subprocess.Popen(command, env={**os.environ, **settings}, stdout=output, stderr=output)
    try:
        _listening(process, port, said)
        yield Served(port, said)
    finally:
        process.terminate()
        process.wait(timeout=20)


def _listening(process: "subprocess.Popen[bytes]", port: int, said: Path) -> None:
    for _ in range(600):
        assert process.poll() is None, said.read_text()
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
        except OSError:
            time.sleep(0.05)
        else:
            return
    raise AssertionError("the page is served")


@pytest.fixture
def served(made: Made, tmp_path: Path) -> Iterator[Served]:
    """The page with the authority's certificate."""
    at = made.directory
    with serving(tmp_path, certificate=at / "bench.pem", key=at / "bench.key", authority=at / "authority.pem") as page:
        yield page


def number(page: Served, context: ssl.SSLContext) -> int:
    """The serial number that the page shows to a client that checks."""
    with (
        socket.create_connection(("127.0.0.1", page.port), timeout=20) as plain,
        context.wrap_socket(plain, server_hostname=HOST) as secured,
    ):
        shown = secured.getpeercert(binary_form=True)
    assert shown is not None
    return x509.load_der_x509_certificate(shown).serial_number


def test_served_over_tls_and_renewed_while_it_runs(made: Made, served: Served) -> None:
    """A client that trusts the authority gets page and authority; after a renewal it meets the new certificate."""
    trusting = tls.client(made.authority.certificate)
    with httpx.Client(verify=trusting, base_url=f"https://127.0.0.1:{served.port}", timeout=20) as client:
        named = {"headers": {"host": HOST}, "extensions": {"sni_hostname": HOST}}
        answer = client.get("/", **named)  # type: ignore[arg-type]
        assert answer.status_code == 200
        assert "default-src 'self'" in answer.headers["content-security-policy"]
        given = client.get("/authority.crt", **named)  # type: ignore[arg-type]
        assert given.content == made.authority.certificate.public_bytes(serialization.Encoding.DER)
    before = number(served, trusting)
    renewed = authority_files.renew(made, NAMES, tls.lately(30))
    assert number(served, trusting) == renewed.serial_number != before
    assert "was renewed" in served.said.read_text()


def test_bad_files_are_told_before_anything_is_served(made: Made, tmp_path: Path) -> None:
    """The command ends with the reason, by options as by settings."""
    certificate = str(made.directory / "bench.pem")
    command = [sys.executable, "-m", "scanner_client.cli", "serve", "--port", "0", "--certificate", certificate]
    environment = {**os.environ, "TINEBOOK_BENCH_OUTBOX": str(tmp_path / "bench.db")}
    ended = subprocess.run(command, env=environment, capture_output=True, text=True, check=False, timeout=60)
    assert ended.returncode == 1
    assert "--key" in ended.stderr


@contextmanager
def browser(home: Path, *flags: str) -> Iterator[Page]:
    """A browser of somebody whose home is this, for whom every name leads to this machine."""
    environment: dict[str, str | float | bool] = {**os.environ, "HOME": str(home)}
    arguments = ["--no-sandbox", "--host-resolver-rules=MAP * 127.0.0.1", *flags]
    with sync_playwright() as play:
        opened = play.chromium.launch(executable_path=CHROMIUM, env=environment, args=arguments)
        yield opened.new_page()
        opened.close()


def able(page: Page) -> dict[str, object]:
    """What a browser lets the page do."""
    told: dict[str, object] = page.evaluate(
        """async () => ({
          secure: isSecureContext,
          camera: Boolean(navigator.mediaDevices),
          worker: await navigator.serviceWorker?.register("/service_worker.js").then(made => new URL(made.scope).pathname),
        })"""
    )
    return told


@in_a_browser
def test_a_name_over_tls_is_a_secure_origin(made: Made, served: Served, tmp_path: Path) -> None:
    """Camera and service worker are there over TLS under a name that is not localhost, and are not over plain HTTP."""
    leaf = x509.load_pem_x509_certificate((made.directory / "bench.pem").read_bytes())
    key = leaf.public_key().public_bytes(serialization.Encoding.DER, serialization.PublicFormat.SubjectPublicKeyInfo)
    pin = base64.b64encode(hashlib.sha256(key).digest()).decode()
    with browser(tmp_path, f"--ignore-certificate-errors-spki-list={pin}") as page:
        page.goto(served.address())
        assert able(page) == {"secure": True, "camera": True, "worker": "/"}
    with serving(tmp_path) as plain, browser(tmp_path) as page:
        page.goto(plain.address(scheme="http"))
        assert able(page) == {"secure": False, "camera": False, "worker": None}


@in_a_browser
@pytest.mark.skipif(CERTUTIL is None, reason="needs certutil (Debian: apt install libnss3-tools)")
def test_a_browser_that_trusts_the_authority(made: Made, served: Served, tmp_path: Path) -> None:
    """Without it the page is refused, with it the page opens as a secure origin, and what it signs for others is refused."""
    foreign = tls.signed(made.authority, authority.names(["bank.example", HOST])).written(tmp_path)
    trusting, not_trusting = _home(tmp_path / "trusting", made), tmp_path / "not"
    with browser(not_trusting) as page:
        assert "ERR_CERT_AUTHORITY_INVALID" in refused(page, served.address())
    with serving(tmp_path, certificate=foreign[0], key=foreign[1]) as other, browser(trusting) as page:
        page.goto(served.address())
        assert able(page) == {"secure": True, "camera": True, "worker": "/"}
        for host in ("bank.example", HOST):
            assert "ERR_CERT_INVALID" in refused(page, other.address(host))


def refused(page: Page, address: str) -> str:
    """Why the browser does not open an address."""
    with pytest.raises(Error) as told:
        page.goto(address)
    return str(told.value)


def _home(home: Path, made: Made) -> Path:
    """A home whose browser trusts the authority."""
    assert CERTUTIL is not None
    for place in NSS_PLACES:
        (home / place).mkdir(parents=True)
        store = [CERTUTIL, "-d", f"sql:{home / place}"]
        subprocess.run([*store, "-N", "--empty-password"], check=True)
        trusted = ["-A", "-t", "C,,", "-n", "bench", "-i", str(made.directory / "authority.pem")]
        subprocess.run([*store, *trusted], check=True)
    return home
