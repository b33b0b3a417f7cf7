"""A bench's authority: what others accept of what it signs, and what they refuse."""

import ipaddress
import ssl
from datetime import timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID
from cryptography.x509.verification import PolicyBuilder, Store, VerificationError

from scanner_client import authority, credentials
from scanner_client.authority import NamesError
from tests.client import tls
from tests.client.tls import HOST

# For which names an authority was made, for which it signs, what is then asked for, and whether that is acceptable.
# RFC 5280, 4.2.1.10 (from memory): a DNS name permits itself and every name with labels added at its left; a kind of name that
# is constrained permits nothing but its subtrees; a kind of name that is excluded whole permits nothing.
CHAINS = [
    ((HOST,), (), (HOST,), (), HOST, True),
    ((HOST,), (), (f"tablet.{HOST}",), (), f"tablet.{HOST}", True),
    ((HOST, "bench"), (), ("bench", HOST), (), "bench", True),
    ((HOST,), ("192.0.2.7",), (HOST,), ("192.0.2.7",), "192.0.2.7", True),
    ((HOST,), ("2001:db8::7",), (HOST,), ("2001:db8::7",), "2001:db8::7", True),
    ((HOST,), ("192.0.2.7", "2001:db8::7"), (HOST,), ("2001:db8::7", "192.0.2.7"), HOST, True),
    ((HOST,), (), ("bank.example",), (), "bank.example", False),
    ((HOST,), (), (HOST, "bank.example"), (), HOST, False),
    ((HOST,), (), ("hangar.example",), (), "hangar.example", False),
    ((HOST,), (), (f"not-{HOST}",), (), f"not-{HOST}", False),
    ((HOST,), (), (HOST,), ("192.0.2.7",), "192.0.2.7", False),
    ((HOST,), (), (HOST,), ("2001:db8::7",), "2001:db8::7", False),
    ((HOST,), ("192.0.2.7",), (HOST,), ("192.0.2.8",), "192.0.2.8", False),
    ((HOST,), ("192.0.2.7",), (HOST,), ("2001:db8::7",), "2001:db8::7", False),
    ((HOST,), ("2001:db8::7",), (HOST,), ("192.0.2.7",), "192.0.2.7", False),
]


@pytest.mark.parametrize(("hosts", "addresses", "leaf_hosts", "leaf_addresses", "asked", "fine"), CHAINS)
def test_chains(
    tmp_path: Path,
    hosts: tuple[str, ...],
    addresses: tuple[str, ...],
    leaf_hosts: tuple[str, ...],
    leaf_addresses: tuple[str, ...],
    asked: str,
    fine: bool,
) -> None:
    """Whoever has the authority's key can pose as its own names alone: the others are refused by three verifiers."""
    issuer = tls.made(authority.names(hosts, addresses))
    pair = tls.signed(issuer, authority.names(leaf_hosts, leaf_addresses))
    named = tls.subject(asked)
    assert tls.library_accepts(issuer.certificate, pair.certificate, named) is fine
    if tls.OPENSSL is not None:
        assert tls.command_accepts(issuer.certificate, pair.certificate, tmp_path) is fine
    server = credentials.renewable(*pair.written(tmp_path), note=lambda _: None)
    if fine:
        assert tls.met(server, tls.client(issuer.certificate), asked).version() == "TLSv1.3"
    else:
        with pytest.raises(ssl.SSLCertVerificationError, match="subtree violation"):
            tls.met(server, tls.client(issuer.certificate), asked)


def test_another_host_is_refused(tmp_path: Path) -> None:
    """A good certificate does not serve for a name that it does not hold, even one that the authority may sign for."""
    issuer = tls.made(authority.names([HOST]))
    pair = tls.signed(issuer, authority.names([HOST]))
    assert not tls.library_accepts(issuer.certificate, pair.certificate, x509.DNSName(f"other.{HOST}"))
    server = credentials.renewable(*pair.written(tmp_path), note=lambda _: None)
    with pytest.raises(ssl.SSLCertVerificationError, match="Hostname mismatch"):
        tls.met(server, tls.client(issuer.certificate), f"other.{HOST}")


@pytest.mark.parametrize(("begun", "says"), [(10, "expired"), (-2, "not yet valid")])
def test_out_of_its_time_it_is_refused(tmp_path: Path, begun: int, says: str) -> None:
    """A certificate that has ended, or has not begun, is refused."""
    issuer = tls.made(authority.names([HOST]))
    pair = tls.signed(issuer, authority.names([HOST]), tls.lately(5, begun))
    assert not tls.library_accepts(issuer.certificate, pair.certificate, x509.DNSName(HOST))
    server = credentials.renewable(*pair.written(tmp_path), note=lambda _: None)
    with pytest.raises(ssl.SSLCertVerificationError, match=says):
        tls.met(server, tls.client(issuer.certificate), HOST)


def test_another_authority_of_the_same_name_is_refused(tmp_path: Path) -> None:
    """Trust rests on the key: somebody else's authority for the same names is not this one."""
    issuer, other = (tls.made(authority.names([HOST])) for _ in range(2))
    pair = tls.signed(other, authority.names([HOST]))
    assert not tls.library_accepts(issuer.certificate, pair.certificate, x509.DNSName(HOST))
    server = credentials.renewable(*pair.written(tmp_path), note=lambda _: None)
    with pytest.raises(ssl.SSLCertVerificationError):
        tls.met(server, tls.client(issuer.certificate), HOST)


def test_it_has_no_authority_below_it() -> None:
    """Path length 0: an authority that it signs is worth nothing (RFC 5280, 4.2.1.9, from memory)."""
    issuer, below = tls.made(authority.names([HOST])), tls.made(authority.names([f"tablet.{HOST}"]))
    middle = tls.crossed(below, issuer)
    pair = tls.signed(below, authority.names([f"tablet.{HOST}"]))
    subject = x509.DNSName(f"tablet.{HOST}")
    assert tls.library_accepts(below.certificate, pair.certificate, subject)
    verifier = PolicyBuilder().store(Store([issuer.certificate])).build_server_verifier(subject)
    with pytest.raises(VerificationError, match="path length"):
        verifier.verify(pair.certificate, [middle])


def test_what_the_authority_says_of_itself() -> None:
    """Critical where a verifier that does not understand must refuse; keys are P-256; it signs certificates alone."""
    issuer = tls.made(authority.names([HOST], ["192.0.2.7"]))
    told = issuer.certificate.extensions
    basic = told.get_extension_for_class(x509.BasicConstraints)
    assert (basic.critical, basic.value.ca, basic.value.path_length) == (True, True, 0)
    usage = told.get_extension_for_class(x509.KeyUsage)
    assert usage.critical
    assert usage.value.key_cert_sign
    assert not any((usage.value.crl_sign, usage.value.digital_signature, usage.value.content_commitment))
    constraints = told.get_extension_for_class(x509.NameConstraints)
    assert constraints.critical
    assert constraints.value.permitted_subtrees == [
        x509.DNSName(HOST),
        x509.IPAddress(ipaddress.ip_network("192.0.2.7/32")),
    ]
    assert constraints.value.excluded_subtrees == [x509.IPAddress(ipaddress.ip_network("::/0"))]
    assert isinstance(issuer.key.curve, ec.SECP256R1)


def test_what_the_page_s_certificate_says_of_itself() -> None:
    """It is for a server with its names, is no authority, and never outlives the one that signed it."""
    issuer = tls.made(authority.names([HOST]), tls.lately(10))
    leaf = tls.signed(issuer, authority.names([HOST]), tls.lately(authority.MOST_DAYS)).certificate
    told = leaf.extensions
    assert list(told.get_extension_for_class(x509.ExtendedKeyUsage).value) == [ExtendedKeyUsageOID.SERVER_AUTH]
    assert list(told.get_extension_for_class(x509.SubjectAlternativeName).value) == [x509.DNSName(HOST)]
    assert not told.get_extension_for_class(x509.BasicConstraints).value.ca
    assert not told.get_extension_for_class(x509.KeyUsage).value.key_cert_sign
    assert leaf.not_valid_after_utc == issuer.certificate.not_valid_after_utc
    begins, ends = tls.lately(authority.MOST_DAYS)
    assert ends - begins <= timedelta(days=397)


@pytest.mark.parametrize(
    "told",
    [
        "",
        "192.0.2.7",
        "2001:db8::7",
        "bench:8601",
        "https://bench",
        "*.hangar.example",
        "a..b",
        "-a",
        "b\u00fchne",
        "a b",
    ],
)
def test_names_that_are_none(told: str) -> None:
    """What is not the name of a computer is refused with what to write instead."""
    with pytest.raises(NamesError):
        authority.names([told])


def test_names_are_needed() -> None:
    """Without a name the authority would be open to every name, so there must be one."""
    with pytest.raises(NamesError, match="at least one name"):
        authority.names([], ["192.0.2.7"])
    with pytest.raises(NamesError, match="not an address"):
        authority.names([HOST], ["192.0.2.0/24"])


def test_names_are_read_as_people_write_them() -> None:
    """Capitals, a point at the end and repetitions mean nothing."""
    told = authority.names(["Bench.Hangar.Example.", HOST], ["192.0.2.7", "192.0.2.7"])
    assert told.shown == f"{HOST}, 192.0.2.7"
