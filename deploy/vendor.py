"""Get and check what the bench page ships of others: `--check` (no network), `--fetch`, `--pin` after a version was changed.

What is shipped is listed in `vendor/vendor.json`: each package with its version and the digest of its archive, each file
with its digest as published and as shipped. A file is shipped as published but for the changes listed with it, each of which must
apply exactly once. Beside a large file lies its brotli form, made here since it takes seconds, and pinned as well.
Packages come by way of `npm pack`, so from whatever registry npm is set up for here.
Digests are written as in W3C Subresource Integrity: `sha512-` and base64.
"""

import argparse
import base64
import hashlib
import json
import re
import shutil
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path
from typing import Any

import brotli

VENDOR = Path(__file__).resolve().parent.parent / "scanner_client" / "page" / "vendor"
LIST = "vendor.json"
SHORT = ".br"
"""Ends the name of a file's brotli form."""


class WrongError(Exception):
    """Something is not what the list says; the text says what."""


def main() -> int:
    """Do what was asked; 1 if something is not as listed."""
    told = argparse.ArgumentParser(prog="deploy/vendor.py", description=__doc__)
    which = told.add_mutually_exclusive_group(required=True)
    which.add_argument("--check", action="store_true", help="compare the files with the list")
    which.add_argument("--fetch", action="store_true", help="get the files anew; refuse what differs from the list")
    which.add_argument("--pin", action="store_true", help="get the files and write their digests into the list")
    asked = told.parse_args()
    try:
        if not asked.check:
            fetch(VENDOR, pin=asked.pin)
        check(VENDOR)
    except WrongError as error:
        print(f"vendor: {error}", file=sys.stderr)  # noqa: T201
        return 1
    return 0


def check(home: Path) -> None:
    """Compare every file with its digest, and the folder with the list: nothing may be there that nobody pinned."""
    listed = wanted(home)
    found = {each.name: digest(each.read_bytes()) for each in home.iterdir() if each.name != LIST}
    for name in sorted(listed.keys() | found.keys()):
        if name not in found:
            raise WrongError(f"{name} is listed and missing")
        if name not in listed:
            raise WrongError(f"{name} is there and not listed")
        if found[name] != listed[name]:
            raise WrongError(f"{name} is not the file that was pinned: {found[name]}")


def wanted(home: Path) -> dict[str, str]:
    """The digest of each file that is shipped, by name."""
    listed = json.loads((home / LIST).read_text())
    files = [each for package in listed["packages"] for each in package["files"]]
    theirs = {each["name"]: each["sha512"] for each in files}
    short = {f"{each['name']}{SHORT}": each["brotli_sha512"] for each in files if "brotli_sha512" in each}
    return {**listed["own"], **theirs, **short}


def fetch(home: Path, *, pin: bool) -> None:
    """Get every package and write its files; all are judged before the first is written."""
    listed = json.loads((home / LIST).read_text())
    made: dict[str, bytes] = {}
    for package in listed["packages"]:
        archive = packed(package["name"], package["version"])
        judged(package, "archive_sha512", archive, package["name"], pin=pin)
        for each in package["files"]:
            published = member(archive, each["published_as"])
            judged(each, "published_sha512", published, each["published_as"], pin=pin)
            made[each["name"]] = changed(published, each.get("changes", []), each["name"])
            judged(each, "sha512", made[each["name"]], each["name"], pin=pin)
            if "brotli_sha512" in each:
                short = f"{each['name']}{SHORT}"
                made[short] = brotli.compress(made[each["name"]], quality=11)
                judged(each, "brotli_sha512", made[short], short, pin=pin)
    for name, data in made.items():
        (home / name).write_bytes(data)
    if pin:
        listed["own"] = {name: digest((home / name).read_bytes()) for name in listed["own"]}
        (home / LIST).write_text(json.dumps(listed, indent=2) + "\n")


def packed(name: str, version: str) -> bytes:
    """The archive of a package, from the registry that npm is set up for."""
    npm = shutil.which("npm")
    if npm is None:
        raise WrongError("npm is needed to fetch; --check does without")
    with tempfile.TemporaryDirectory() as folder:
        asked = [npm, "pack", "--silent", "--ignore-scripts", "--pack-destination", folder, f"{name}@{version}"]
        run = subprocess.run(asked, check=False, capture_output=True, text=True, cwd=folder)
        archives = list(Path(folder).glob("*.tgz"))
        if run.returncode or len(archives) != 1:
            raise WrongError(f"npm could not get {name} {version}: {run.stderr.strip() or run.stdout.strip()}")
        return archives[0].read_bytes()


def member(archive: bytes, path: str) -> bytes:
    """One file of an archive."""
    with tempfile.TemporaryFile() as held:
        held.write(archive)
        held.seek(0)
        with tarfile.open(fileobj=held, mode="r:gz") as opened:
            try:
                found = opened.extractfile(path)
            except KeyError:
                found = None
            if found is None:
                raise WrongError(f"the archive holds no {path}")
            return found.read()


def changed(data: bytes, changes: list[dict[str, str]], name: str) -> bytes:
    """A file with its listed changes; each is a pattern that must be met exactly once."""
    for each in changes:
        text, count = re.subn(each["pattern"], each["put"].replace("\\", r"\\"), data.decode())
        if count != 1:
            raise WrongError(f"{name}: the change of {each['pattern']!r} applies {count} times, not once")
        data = text.encode()
    return data


def judged(entry: dict[str, Any], key: str, data: bytes, what: str, *, pin: bool) -> None:
    """Compare with the pinned digest, or pin this one."""
    found = digest(data)
    if pin:
        entry[key] = found
    elif entry[key] != found:
        raise WrongError(f"{what} is not what was pinned ({key}): {found}")


def digest(data: bytes) -> str:
    """Its SHA-512 as in Subresource Integrity."""
    return "sha512-" + base64.b64encode(hashlib.sha512(data).digest()).decode()


if __name__ == "__main__":
    sys.exit(main())
