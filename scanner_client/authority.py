"""A certificate authority of the bench's own: names, keys and times in, certificates out.

It can sign for the names that it was made for and for nothing else (RFC 5280, 4.2.1.10), so that a device which trusts it
does not hand over more than the way to this bench.
"""

import ipaddress
import re
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import TypeAlias

from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID
from msgspec import Struct

Address: TypeAlias = ipaddress.IPv4Address | ipaddress.IPv6Address
Times: TypeAlias = tuple[datetime, datetime]
"""When a certificate begins and ends to be valid, with their zone."""

MOST_DAYS = 397
"""Phones refuse certificates of pages that are valid for longer (common practice, no source)."""
AUTHORITY_DAYS = 1826
_SLACK = timedelta(hours=1)
"""A certificate is valid from a little before it was made: the clocks of phones differ."""

_MOST_NAME = 253
_NAME = re.compile(r"(?:[a-z0-9](?:[a-z0-9-]{0,61}[a-z0-9])?\.)*[a-z0-9](?:[a-z0-9-]{0,61}[a-z0-9])?")
"""RFC 1123, 2.1: letters, digits and hyphens in labels of up to 63."""
_EVERY_ADDRESS = {4: ipaddress.ip_network("0.0.0.0/0"), 6: ipaddress.ip_network("::/0")}


class NamesError(ValueError):
    """A name or address that no certificate can be made for; says why."""


class Names(Struct, frozen=True):
    """What a page is reached by. As what an authority may sign for, a host's name includes what lies below it."""

    hosts: tuple[str, ...]
    addresses: tuple[Address, ...] = ()

    @property
    def shown(self) -> str:
        """The names for people."""
        return ", ".join((*self.hosts, *map(str, self.addresses)))


class Authority(Struct, frozen=True):
    """An authority with the key that signs."""

    certificate: x509.Certificate
    key: ec.EllipticCurvePrivateKey


def names(hosts: Sequence[str], addresses: Sequence[str] = ()) -> Names:
    """Names as somebody typed them. Raises `NamesError`; there must be a host's name, since only with one is the rest closed."""
    if not hosts:
        raise NamesError("Give at least one name under which devices reach the bench, such as bench.hangar.example.")
    return Names(tuple(dict.fromkeys(map(_host, hosts))), tuple(dict.fromkeys(map(_address, addresses))))


def days_from(now: datetime, days: int) -> Times:
    """A validity of so many days that has just begun."""
    begins = now.replace(microsecond=0) - _SLACK
    return begins, begins + timedelta(days=days)


def root(wanted: Names, key: ec.EllipticCurvePrivateKey, serial: int, times: Times) -> x509.Certificate:
    """The authority: signs certificates only, has no authority below it, and may sign for the wanted names alone."""
    subject = _subject(f"{wanted.hosts[0][:40]} bench authority")
    return (
        _begun(subject, subject, key.public_key(), serial, times)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs_certificates=True), critical=True)
        .add_extension(x509.NameConstraints(_permitted(wanted), _excluded(wanted)), critical=True)
        .sign(key, hashes.SHA256())
    )


def leaf(
    wanted: Names, key: ec.EllipticCurvePublicKey, issuer: Authority, serial: int, times: Times
) -> x509.Certificate:
    """The page's certificate: for a TLS server with these names, and no more. It never outlives its authority."""
    begins, ends = times
    lasting = begins, min(ends, issuer.certificate.not_valid_after_utc)
    signer = issuer.certificate.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value
    return (
        _begun(_subject("Tinebook bench page"), issuer.certificate.subject, key, serial, lasting)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs_certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName(_alternatives(wanted)), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(signer), critical=False)
        .sign(issuer.key, hashes.SHA256())
    )


def named(certificate: x509.Certificate) -> Names:
    """What an authority may sign for, or what a page's certificate is for."""
    found: Sequence[x509.GeneralName]
    try:
        constraints = certificate.extensions.get_extension_for_class(x509.NameConstraints).value
        found = constraints.permitted_subtrees or ()
    except x509.ExtensionNotFound:
        found = tuple(certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value)
    hosts = tuple(each.value for each in found if isinstance(each, x509.DNSName))
    told = (each.value for each in found if isinstance(each, x509.IPAddress))
    return Names(hosts, tuple(_address(str(each).partition("/")[0]) for each in told))


def beyond(permitted: Names, wanted: Names) -> Names:
    """Those of the wanted names that an authority may not sign for."""
    hosts = (each for each in wanted.hosts if not any(_covers(subtree, each) for subtree in permitted.hosts))
    return Names(tuple(hosts), tuple(each for each in wanted.addresses if each not in permitted.addresses))


def fingerprint(certificate: x509.Certificate) -> str:
    """SHA-256 in the form that devices show, to be compared by eye."""
    return certificate.fingerprint(hashes.SHA256()).hex(":").upper()


def _host(told: str) -> str:
    host = told.strip().lower().removesuffix(".")
    if _is_address(host):
        raise NamesError(f"'{told}' is an address, not a name: give it with --address.")
    if len(host) > _MOST_NAME or not _NAME.fullmatch(host):
        raise NamesError(
            f"'{told}' is not the name of a computer: letters, digits, hyphens and points, without port or wildcard; "
            "other letters in their xn-- form."
        )
    return host


def _address(told: str) -> Address:
    try:
        return ipaddress.ip_address(told.strip())
    except ValueError:
        raise NamesError(f"'{told}' is not an address such as 192.0.2.7 or 2001:db8::7.") from None


def _is_address(told: str) -> bool:
    try:
        ipaddress.ip_address(told)
    except ValueError:
        return False
    return True


def _covers(subtree: str, host: str) -> bool:
    """RFC 5280, 4.2.1.10: a name and whatever is made by adding labels at its left."""
    return host == subtree or host.endswith(f".{subtree}")


def _permitted(wanted: Names) -> list[x509.GeneralName]:
    hosts = [x509.DNSName(each) for each in wanted.hosts]
    return [*hosts, *(x509.IPAddress(ipaddress.ip_network(each)) for each in wanted.addresses)]


def _excluded(wanted: Names) -> list[x509.GeneralName] | None:
    """A kind of name of which nothing is permitted would be open to all (RFC 5280, 4.2.1.10), so it is shut by name."""
    present = {each.version for each in wanted.addresses}
    shut = [x509.IPAddress(every) for version, every in _EVERY_ADDRESS.items() if version not in present]
    return [*shut] or None


def _alternatives(wanted: Names) -> list[x509.GeneralName]:
    return [*(x509.DNSName(each) for each in wanted.hosts), *(x509.IPAddress(each) for each in wanted.addresses)]


def _subject(common_name: str) -> x509.Name:
    organisation = x509.NameAttribute(NameOID.ORGANIZATION_NAME, "Tinebook")
    return x509.Name([organisation, x509.NameAttribute(NameOID.COMMON_NAME, common_name)])


def _begun(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePublicKey, serial: int, times: Times
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key)
        .serial_number(serial)
        .not_valid_before(times[0])
        .not_valid_after(times[1])
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key), critical=False)
    )


def _usage(*, signs_certificates: bool) -> x509.KeyUsage:
    """An authority signs certificates and nothing else, a page's key signs handshakes and nothing else."""
    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        key_cert_sign=signs_certificates,
        crl_sign=False,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )
