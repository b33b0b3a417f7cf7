"""Making a bench's authority or renewing the page's certificate, and what to say about it."""

import shlex
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

from cryptography import x509
from msgspec import Struct

from scanner_client import authority, authority_files, signpost
from scanner_client.authority import Names
from scanner_client.authority_files import Made

PAGE_PORT = 8601
_MOST_ADDRESS = 400
Passphrase = Callable[[], bytes | None]
"""Where a passphrase comes from; None: the key stays unlocked."""

_PLATFORMS = (
    "   iPhone, iPad: open the file, then install the profile in Settings; after that switch on full trust for it, in",
    "     Settings under General, About, Certificate Trust Settings. The fingerprint is in the profile's details.",
    "   Android: look in Settings for 'CA certificate' (under security, encryption, credentials) and install the file;",
    "     the fingerprint is shown under the user's trusted credentials.",
    "   Windows: 'certutil -hashfile authority.crt SHA256' shows the fingerprint; then open the file and install it for the",
    "     current user among the trusted root certification authorities.",
    "   Linux: 'sha256sum authority.crt' shows the fingerprint; add the .pem to the system's certificates. A browser that",
    "     keeps its own list of authorities takes it in its settings, under certificates.",
)
"""Common practice, no source: the words in the settings differ from version to version."""


class PageError(ValueError):
    """An address of a page that no browser could open."""


class Wanted(Struct, frozen=True):
    """What is asked for. No names: those of the certificate before. No page: the first name on the usual port."""

    directory: Path
    names: tuple[str, ...]
    addresses: tuple[str, ...]
    days: int
    page: str | None


class Issued(Struct, frozen=True):
    """What came of it."""

    made: Made
    leaf: x509.Certificate
    names: Names
    page: str
    renewed: bool


def issued(wanted: Wanted, fresh: Passphrase, locked: Passphrase, now: datetime) -> Issued:
    """Make what is not there yet and renew the rest. `fresh` gives the passphrase of a new key, `locked` that of an old one."""
    kept = authority_files.is_made(wanted.directory)
    told = authority.names(wanted.names, wanted.addresses) if wanted.names or wanted.addresses or not kept else None
    address = _page(wanted.page)
    if kept:
        phrase = locked() if authority_files.is_locked(wanted.directory) else None
        made = authority_files.opened(wanted.directory, phrase, now)
    else:
        assert told is not None  # noqa: S101 - a new authority is never without names
        made = authority_files.make(wanted.directory, told, fresh(), now)
    names = told or authority_files.named(made)
    leaf = authority_files.renew(made, names, authority.days_from(now, wanted.days))
    given = Issued(made, leaf, names, address or f"https://{names.hosts[0]}:{PAGE_PORT}", kept)
    authority_files.point(made, _sheet(given))
    return given


def answer(given: Issued) -> dict[str, Any]:
    """What a script is told."""
    at = given.made.directory.absolute()
    certificate = given.made.authority.certificate
    return {
        "renewed": given.renewed,
        "authority": str(at / authority_files.AUTHORITY),
        "authority_der": str(at / authority_files.AUTHORITY_DER),
        "sha256": authority.fingerprint(certificate),
        "signs_for": authority.named(certificate).shown,
        "authority_ends": certificate.not_valid_after_utc,
        "certificate": str(at / authority_files.CERTIFICATE),
        "key": str(at / authority_files.KEY),
        "names": given.names.shown,
        "certificate_ends": given.leaf.not_valid_after_utc,
        "sheet": str(at / authority_files.SIGNPOST),
        "page": given.page,
    }


def lines(given: Issued) -> Iterator[str]:
    """What people are told: what was made, and what to do with it on each device."""
    known = answer(given)
    yield f"{'Kept' if given.renewed else 'Made'} the authority {known['authority']}"
    yield f"  may sign only for {known['signs_for']}; with a name, for those that end in it too"
    yield f"  ends {known['authority_ends']:%Y-%m-%d}; its key, {authority_files.AUTHORITY_KEY}, goes to no device and no one"
    yield f"  SHA-256 {known['sha256']}"
    yield f"{'Renewed' if given.renewed else 'Made'} the page's certificate {known['certificate']}"
    yield f"  for {known['names']}; ends {known['certificate_ends']:%Y-%m-%d}"
    yield f"  Renew it before: tinebook-bench authority --directory {_quoted(given)}"
    yield "  A page that is being served takes the new one at its next connection."
    yield from () if not given.renewed else ("Devices that trust the authority need nothing new.",)
    yield from _steps(given) if not given.renewed else ()


def _steps(given: Issued) -> Iterator[str]:
    files, at = authority_files, _quoted(given)
    yield ""
    yield "1. Serve the page with it:"
    yield (
        f"   tinebook-bench serve --host 0.0.0.0 --certificate {at}/{files.CERTIFICATE} --key {at}/{files.KEY} "
        f"--authority {at}/{files.AUTHORITY}"
    )
    yield f"2. Bring {files.AUTHORITY_DER} to each device: on a stick, by mail, or show the sheet {files.SIGNPOST} and scan its"
    yield f"   code, {given.page}/authority.crt (the browser warns, as it can't know the page yet)."
    yield "3. On each device compare the SHA-256 fingerprint with the one above. If it differs, stop: it is not this one."
    yield "4. Let the device trust it, for web pages alone where it asks for what:"
    yield from _PLATFORMS
    yield f"5. Open {given.page} on the device. If no warning comes, camera and offline work are there."


def _page(told: str | None) -> str | None:
    if told is not None and not told.startswith(("http://", "https://")):
        raise PageError(f"--page must begin with https:// or http://, not '{told}'.")
    if told is not None and len(told) > _MOST_ADDRESS:
        raise PageError(f"--page is longer than {_MOST_ADDRESS} characters: no phone would read its code.")
    return told.rstrip("/") if told else None


def _sheet(given: Issued) -> str:
    told = authority.fingerprint(given.made.authority.certificate)
    half = (len(told) + 1) // 2
    return signpost.drawing(f"{given.page}/authority.crt", ("SHA-256", told[:half], told[half:]))


def _quoted(given: Issued) -> str:
    return shlex.quote(str(given.made.directory))
