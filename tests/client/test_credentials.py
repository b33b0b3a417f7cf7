"""What the page is served with: good files are used, renewed ones at the next handshake, bad ones named."""

import os
import ssl
from datetime import timedelta
from pathlib import Path

import anyio
import httpx
import pytest
from cryptography import x509
from cryptography.hazmat.primitives import serialization

from scanner_client import authority, credentials, serve
from scanner_client.credentials import UnusableError
from tests.client import tls
from tests.client.test_serve import asked
from tests.client.tls import HOST

NAMES = authority.names([HOST])


@pytest.fixture
def issuer() -> authority.Authority:
    """An authority for one host."""
    return tls.made(NAMES)


def shown(server: ssl.SSLContext, asking: ssl.SSLContext) -> int:
    """The serial number of the certificate that a server shows."""
    shown_der = tls.met(server, asking, HOST).getpeercert(binary_form=True)
    assert shown_der is not None
    return x509.load_der_x509_certificate(shown_der).serial_number


def test_a_renewed_certificate_is_used_at_the_next_handshake(tmp_path: Path, issuer: authority.Authority) -> None:
    """Without a restart; while key and certificate don't fit, the one before stays in use, and it is said."""
    first, second = tls.signed(issuer, NAMES), tls.signed(issuer, NAMES)
    noted: list[str] = []
    server, asking = credentials.renewable(*first.written(tmp_path), note=noted.append), tls.client(issuer.certificate)
    assert shown(server, asking) == first.certificate.serial_number
    assert noted == []
    files = tmp_path / "new"
    files.mkdir()
    certificate, key = second.written(files)
    key.replace(tmp_path / "page.key")
    assert shown(server, asking) == first.certificate.serial_number
    assert "stays in use" in noted[-1]
    certificate.replace(tmp_path / "page.pem")
    assert shown(server, asking) == second.certificate.serial_number
    assert "is in use" in noted[-1]
    (tmp_path / "page.pem").unlink()
    assert shown(server, asking) == second.certificate.serial_number
    assert "can't be read" in noted[-1]
    assert shown(server, asking) == second.certificate.serial_number
    assert len(noted) == 3


def test_old_versions_of_tls_are_refused(tmp_path: Path, issuer: authority.Authority) -> None:
    """1.2 is spoken, 1.1 is not, whatever the library's own policy would be."""
    server = credentials.renewable(*tls.signed(issuer, NAMES).written(tmp_path), note=lambda _: None)
    assert server.minimum_version == ssl.TLSVersion.TLSv1_2
    asking = tls.client(issuer.certificate)
    asking.maximum_version = ssl.TLSVersion.TLSv1_2
    assert tls.met(server, asking, HOST).version() == "TLSv1.2"
    with pytest.warns(DeprecationWarning, match="TLSv1_1"):
        asking.minimum_version = asking.maximum_version = ssl.TLSVersion.TLSv1_1
    # Security level 0, or this client would not even offer it.
    asking.set_ciphers("ALL:@SECLEVEL=0")
    with pytest.raises(ssl.SSLError, match="UNSUPPORTED_PROTOCOL"):
        tls.met(server, asking, HOST)


def test_files_that_cannot_serve(tmp_path: Path, issuer: authority.Authority) -> None:
    """One of two, a key of something else, a locked key, no key at all: each is refused at the start, never asked about."""
    now = tls.lately()[0]
    pair = tls.signed(issuer, NAMES)
    certificate, key = pair.written(tmp_path)
    locked, other = tmp_path / "locked.key", tmp_path / "other"
    other.mkdir()
    cipher = serialization.BestAvailableEncryption(b"secret")
    locked.write_bytes(pair.key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, cipher))
    wrong = tls.signed(issuer, NAMES).written(other)[1]
    for given, says in (
        ((certificate, None), "both"),
        ((None, key), "both"),
        ((certificate, wrong), "can't be used together"),
        ((certificate, locked), "without a passphrase"),
        ((key, certificate), "can't be used together"),
        ((certificate, tmp_path / "none"), "can't be read"),
    ):
        with pytest.raises(UnusableError, match=says):
            credentials.offered(given[0], given[1], None, now, lambda _: None)


@pytest.mark.parametrize(
    ("days", "left", "says"), [(90, 80, None), (90, 10, "ends"), (90, -1, "ended"), (90, 91, "from")]
)
def test_the_end_is_told_at_the_start(
    tmp_path: Path, issuer: authority.Authority, days: int, left: int, says: str | None
) -> None:
    """Two weeks before, and after; and where it has not begun. Where nothing is wrong nothing is said."""
    pair = tls.signed(issuer, NAMES, tls.lately(days))
    now = pair.certificate.not_valid_after_utc - timedelta(days=left)
    noted: list[str] = []
    credentials.offered(*pair.written(tmp_path), None, now, noted.append)
    assert [says in each for each in noted if says] == [True] * bool(says)
    assert len(noted) == bool(says)


@pytest.mark.skipif(os.name != "posix", reason="modes of files are of POSIX")
def test_an_open_key_is_told_at_the_start(tmp_path: Path, issuer: authority.Authority) -> None:
    """A key that everybody can read is said to be one; a group's is its own affair."""
    certificate, key = tls.signed(issuer, NAMES).written(tmp_path)
    now = tls.lately()[0] + timedelta(hours=2)
    key.chmod(0o640)
    assert credentials.remarks(certificate, key, now) == ()
    key.chmod(0o644)
    assert "chmod" in credentials.remarks(certificate, key, now)[0]


def test_only_a_certificate_is_handed_out(tmp_path: Path, issuer: authority.Authority) -> None:
    """From PEM or DER, as DER; a key in the same file stays inside; what is no authority's certificate is refused."""
    der = issuer.certificate.public_bytes(serialization.Encoding.DER)
    pem = issuer.certificate.public_bytes(serialization.Encoding.PEM)
    key = issuer.key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    leaf = tls.signed(issuer, NAMES).certificate.public_bytes(serialization.Encoding.PEM)
    file = tmp_path / "authority"
    for held in (der, pem, key + pem, b"# what it is\n" + pem + key):
        file.write_bytes(held)
        assert credentials.authority_der(file) == der
    for held in (b"", key, leaf, b"-----BEGIN CERTIFICATE-----\nAAAA\n-----END CERTIFICATE-----\n", der[:100]):
        file.write_bytes(held)
        with pytest.raises(UnusableError):
            credentials.authority_der(file)


def test_the_page_gives_its_authority() -> None:
    """As phones expect it, with the policy; a bench without one says so."""

    async def ask() -> httpx.Response:
        app = serve.build_app("http://service.test", authority_der=b"der")
        async with (
            app.lifespan(),
            httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://bench.test") as client,  # type: ignore[arg-type]
        ):
            return await client.get("/authority.crt")

    answer = anyio.run(ask)
    assert (answer.status_code, answer.content) == (200, b"der")
    assert answer.headers["content-type"] == "application/x-x509-ca-cert"
    assert "default-src 'self'" in answer.headers["content-security-policy"]
    missing = asked(lambda _: httpx.Response(500), "GET", "/authority.crt")
    assert (missing.status_code, missing.headers["content-type"]) == (404, "application/problem+json")
