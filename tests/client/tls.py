"""Certificates for tests, and those who judge them: none of them is ours."""

import ipaddress
import shutil
import ssl
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.verification import PolicyBuilder, Store, VerificationError
from msgspec import Struct

from scanner_client import authority
from scanner_client.authority import Authority, Names, Times

HOST = "bench.hangar.example"
OPENSSL = shutil.which("openssl")


def lately(days: int = 90, begun: int = 0) -> Times:
    """A validity that began so many days ago."""
    return authority.days_from(datetime.now(UTC) - timedelta(days=begun), days)


def made(names: Names, times: Times | None = None) -> Authority:
    """An authority for names."""
    key = ec.generate_private_key(ec.SECP256R1())
    return Authority(authority.root(names, key, x509.random_serial_number(), times or lately(1826, 60)), key)


class Pair(Struct, frozen=True):
    """A certificate of a page and its key."""

    certificate: x509.Certificate
    key: ec.EllipticCurvePrivateKey

    def written(self, directory: Path) -> tuple[Path, Path]:
        """Both as files."""
        certificate, key = directory / "page.pem", directory / "page.key"
        certificate.write_bytes(self.certificate.public_bytes(serialization.Encoding.PEM))
        plain = serialization.NoEncryption()
        key.write_bytes(self.key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, plain))
        key.chmod(0o600)
        return certificate, key


def signed(issuer: Authority, names: Names, times: Times | None = None) -> Pair:
    """A page's certificate, signed whether or not the authority may."""
    key = ec.generate_private_key(ec.SECP256R1())
    number = x509.random_serial_number()
    return Pair(authority.leaf(names, key.public_key(), issuer, number, times or lately()), key)


def crossed(below: Authority, issuer: Authority) -> x509.Certificate:
    """The certificate of one authority as if another one had signed it."""
    known = below.certificate
    builder = (
        x509.CertificateBuilder()
        .subject_name(known.subject)
        .issuer_name(issuer.certificate.subject)
        .public_key(known.public_key())
        .serial_number(known.serial_number)
        .not_valid_before(known.not_valid_before_utc)
        .not_valid_after(known.not_valid_after_utc)
    )
    for each in known.extensions:
        builder = builder.add_extension(each.value, each.critical)
    signer = x509.AuthorityKeyIdentifier.from_issuer_public_key(issuer.key.public_key())
    return builder.add_extension(signer, critical=False).sign(issuer.key, hashes.SHA256())


def subject(asked: str) -> x509.DNSName | x509.IPAddress:
    """What a client asks for, by its kind."""
    try:
        return x509.IPAddress(ipaddress.ip_address(asked))
    except ValueError:
        return x509.DNSName(asked)


def library_accepts(root: x509.Certificate, leaf: x509.Certificate, wanted: x509.DNSName | x509.IPAddress) -> bool:
    """The verdict of cryptography's path validation, with the policy for pages."""
    try:
        PolicyBuilder().store(Store([root])).build_server_verifier(wanted).verify(leaf, [])
    except VerificationError:
        return False
    return True


def command_accepts(root: x509.Certificate, leaf: x509.Certificate, directory: Path) -> bool:
    """The verdict of the openssl command, of the chain without the name that was asked for."""
    assert OPENSSL is not None
    for name, each in (("root.pem", root), ("leaf.pem", leaf)):
        (directory / name).write_bytes(each.public_bytes(serialization.Encoding.PEM))
    strictly = [OPENSSL, "verify", "-x509_strict", "-purpose", "sslserver", "-CAfile", "root.pem", "leaf.pem"]
    return subprocess.run(strictly, cwd=directory, capture_output=True, check=False).returncode == 0


def client(root: x509.Certificate) -> ssl.SSLContext:
    """A careful client that trusts one authority."""
    return ssl.create_default_context(cadata=root.public_bytes(serialization.Encoding.DER))


def met(server: ssl.SSLContext, asking: ssl.SSLContext, host: str) -> ssl.SSLObject:
    """A whole handshake in memory; the client's end. Raises what the client says of the server."""
    to_server, to_client = ssl.MemoryBIO(), ssl.MemoryBIO()
    ours = asking.wrap_bio(to_client, to_server, server_hostname=host)
    theirs = server.wrap_bio(to_server, to_client, server_side=True)
    open_ends = [ours, theirs]
    for _ in range(20):
        for end in list(open_ends):
            try:
                end.do_handshake()
            except ssl.SSLWantReadError:
                continue
            open_ends.remove(end)
        if not open_ends:
            return ours
    raise AssertionError("the handshake ends")
