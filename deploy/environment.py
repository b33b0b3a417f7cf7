"""Make the private environment, once for each lock file, and run something in it. Needs nothing but Python 3.11 or later."""

import hashlib
import os
import shutil
import subprocess
import sys
import venv
from pathlib import Path
from typing import NoReturn

ROOT = Path(__file__).resolve().parent.parent
HOME = ROOT / ".venv"
PYTHON = HOME / "bin" / "python"
SOURCES = ("pyproject.toml", "README.md", "service", "scanner_client")


def main(lock: str, command: list[str]) -> NoReturn:
    """Bring the environment up to date with a lock file, then become the command."""
    try:
        make(ROOT / "deploy" / lock)
    except subprocess.CalledProcessError as error:
        say(f"the environment could not be made (status {error.returncode}); what pip said stands above")
        say("a first start needs a network that reaches a Python package index; later starts need none")
        sys.exit(1)
    os.execv(PYTHON, [str(PYTHON), *command])  # noqa: S606 - replaces this program, so that signals reach the command


def make(lock: Path) -> None:
    """Install what the lock file says, and this project as the wheel that would be shipped. Does nothing if all is there."""
    wanted, project = digest([lock]), digest(sorted(files()))
    kept = HOME / f"{lock.name}.installed"
    built = HOME / "project.installed"
    if read(kept) == wanted and read(built) == project and PYTHON.exists():
        return
    if not PYTHON.exists() or not works():
        say(f"making a private environment in {HOME}")
        venv.EnvBuilder(with_pip=True, clear=True).create(HOME)
    if read(kept) != wanted:
        say(f"installing what {lock.relative_to(ROOT)} lists; each file is checked against its hash")
        pip("--require-hashes", "--requirement", str(lock))
    if read(built) != project:
        pip("--no-deps", "--no-build-isolation", "--force-reinstall", str(ROOT))
        shutil.rmtree(ROOT / "build", ignore_errors=True)
    built.write_text(project)
    kept.write_text(wanted)


def files() -> list[Path]:
    """The files that go into the wheel."""
    tops = [ROOT / each for each in SOURCES]
    found = [each for top in tops for each in ([top] if top.is_file() else top.rglob("*"))]
    return [each for each in found if each.is_file() and "__pycache__" not in each.parts]


def pip(*arguments: str) -> None:
    """Install with the environment's own pip."""
    command = [str(PYTHON), "-m", "pip", "install", "--quiet", "--disable-pip-version-check", *arguments]
    subprocess.run(command, check=True, cwd=ROOT)


def works() -> bool:
    """Whether the environment's Python still runs; it may have been moved, or its Python removed."""
    run = subprocess.run([str(PYTHON), "-c", "import pip"], check=False, capture_output=True)
    return run.returncode == 0


def digest(paths: list[Path]) -> str:
    """What a set of files is, by content and by where the environment and its Python are."""
    found = hashlib.sha256(f"{HOME} {sys.version}".encode())
    for path in paths:
        found.update(str(path.relative_to(ROOT)).encode() + b"\0" + path.read_bytes() + b"\0")
    return found.hexdigest()


def read(path: Path) -> str:
    """A marker's text; empty if it is not there."""
    return path.read_text() if path.exists() else ""


def say(text: str) -> None:
    """Tell the person who started this."""
    print(text, file=sys.stderr, flush=True)  # noqa: T201


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2:])
