"""The directory of a bench's authority: made once, never written over; only the page's certificate is renewed in it."""

import os
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec
from msgspec import Struct

from scanner_client import authority
from scanner_client.authority import Authority, Names

AUTHORITY_KEY = "authority.key"
AUTHORITY = "authority.pem"
AUTHORITY_DER = "authority.crt"
SIGNPOST = "authority.svg"
KEY = "bench.key"
CERTIFICATE = "bench.pem"
_PRIVATE, _PUBLIC = 0o600, 0o644


class DirectoryError(Exception):
    """A directory that can't be used as it is; says what is in the way. Nothing in it was changed."""


class Made(Struct, frozen=True):
    """An authority and its directory."""

    directory: Path
    authority: Authority


def is_made(directory: Path) -> bool:
    """Whether an authority is there. Raises `DirectoryError` where something else is, which is not to be touched."""
    if all((directory / each).is_file() for each in (AUTHORITY_KEY, AUTHORITY)):
        return True
    if not os.path.lexists(directory):
        return False
    if not directory.is_dir():
        raise DirectoryError(f"{directory} is not a directory. Give another one with --directory.")
    others = sorted(each.name for each in directory.iterdir())
    if others:
        raise DirectoryError(
            f"{directory} holds no authority but something else ({', '.join(others[:3])}); it was not touched. "
            "Give a new or empty directory with --directory."
        )
    return False


def is_locked(directory: Path) -> bool:
    """Whether the authority's key needs a passphrase."""
    return b"ENCRYPTED" in (directory / AUTHORITY_KEY).read_bytes()


def make(directory: Path, wanted: Names, passphrase: bytes | None, now: datetime) -> Made:
    """Make an authority in a new or empty directory. Its key is readable to this user alone from its first moment."""
    key = ec.generate_private_key(ec.SECP256R1())
    times = authority.days_from(now, authority.AUTHORITY_DAYS)
    certificate = authority.root(wanted, key, x509.random_serial_number(), times)
    directory.parent.mkdir(parents=True, exist_ok=True)
    directory.mkdir(mode=0o700, exist_ok=True)
    with _all_or_nothing() as write:
        write(directory / AUTHORITY_KEY, _key_pem(key, passphrase), _PRIVATE)
        write(directory / AUTHORITY, certificate.public_bytes(serialization.Encoding.PEM), _PUBLIC)
        write(directory / AUTHORITY_DER, certificate.public_bytes(serialization.Encoding.DER), _PUBLIC)
    return Made(directory, Authority(certificate, key))


def opened(directory: Path, passphrase: bytes | None, now: datetime) -> Made:
    """The authority that is there. Raises `DirectoryError` where it can't sign any more or lies open to others."""
    key_file = directory / AUTHORITY_KEY
    if os.name == "posix" and key_file.stat().st_mode & 0o077:
        raise DirectoryError(f"{key_file} can be read by others. Take that away (chmod 600) and ask who has had it.")
    try:
        certificate = x509.load_pem_x509_certificate((directory / AUTHORITY).read_bytes())
        key = serialization.load_pem_private_key(key_file.read_bytes(), passphrase)
    except (ValueError, TypeError):
        raise DirectoryError(f"{key_file} can't be opened: wrong passphrase, or not a key or certificate.") from None
    if not isinstance(key, ec.EllipticCurvePrivateKey) or key.public_key() != certificate.public_key():
        raise DirectoryError(f"{key_file} is not the key of {AUTHORITY} beside it.")
    if certificate.not_valid_after_utc <= now:
        raise DirectoryError(
            f"The authority in {directory} ended {certificate.not_valid_after_utc:%Y-%m-%d}: make a new one."
        )
    return Made(directory, Authority(certificate, key))


def named(made: Made) -> Names:
    """What the page's certificate is for: as the one that is there says, else whatever the authority may sign for."""
    try:
        before = x509.load_pem_x509_certificate((made.directory / CERTIFICATE).read_bytes())
        return authority.named(before)
    except (OSError, ValueError, x509.ExtensionNotFound):
        return authority.named(made.authority.certificate)


def renew(made: Made, wanted: Names, times: authority.Times) -> x509.Certificate:
    """Write a new certificate of the page, with a new key, in the place of the one before."""
    beyond = authority.beyond(authority.named(made.authority.certificate), wanted)
    if beyond.hosts or beyond.addresses:
        raise DirectoryError(
            f"The authority in {made.directory} may not sign for {beyond.shown}: it was made for "
            f"{authority.named(made.authority.certificate).shown} alone. Make another one in another directory."
        )
    key = ec.generate_private_key(ec.SECP256R1())
    certificate = authority.leaf(wanted, key.public_key(), made.authority, x509.random_serial_number(), times)
    _replace(
        made.directory,
        {
            KEY: (_key_pem(key, None), _PRIVATE),
            CERTIFICATE: (certificate.public_bytes(serialization.Encoding.PEM), _PUBLIC),
        },
    )
    return certificate


def point(made: Made, drawing: str) -> None:
    """Write the sheet that shows devices the way."""
    _replace(made.directory, {SIGNPOST: (drawing.encode(), _PUBLIC)})


def _key_pem(key: ec.EllipticCurvePrivateKey, passphrase: bytes | None) -> bytes:
    kept = serialization.BestAvailableEncryption(passphrase) if passphrase else serialization.NoEncryption()
    return key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, kept)


@contextmanager
def _all_or_nothing() -> Iterator[Callable[[Path, bytes, int], None]]:
    """Half an authority would be in the way of the next attempt. What somebody else wrote meanwhile stays."""
    written: list[Path] = []

    def write(path: Path, data: bytes, mode: int) -> None:
        _write(path, data, mode)
        written.append(path)

    try:
        yield write
    except BaseException:
        for each in written:
            each.unlink(missing_ok=True)
        raise


def _write(path: Path, data: bytes, mode: int) -> None:
    """Write a file that must not be there yet."""
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode), "wb") as file:
        try:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        except BaseException:
            path.unlink()
            raise


def _replace(directory: Path, files: Mapping[str, tuple[bytes, int]]) -> None:
    """Put whole files in the place of those before, all written before the first one changes places."""
    fresh = {name: directory / f"{name}.new" for name in files}
    for name, (data, mode) in files.items():
        fresh[name].unlink(missing_ok=True)
        _write(fresh[name], data, mode)
    for name, path in fresh.items():
        path.replace(directory / name)
