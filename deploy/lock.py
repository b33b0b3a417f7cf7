"""Write the lock files from pyproject.toml, with hashes, for every platform; --check only says whether they fit."""

import re
import subprocess
import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
DEPLOY = ROOT / "deploy"
_PIN = re.compile(r"^([A-Za-z0-9._-]+)(?:\[[^]]*\])?==([^ ;\\]+)", re.MULTILINE)
_NAME = re.compile(r"^[A-Za-z0-9._-]+")


def wanted() -> dict[str, list[str]]:
    """What each lock file must cover. What builds the wheel is in both."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())
    runtime = [*project["project"]["dependencies"], *project["build-system"]["requires"]]
    groups = project["dependency-groups"]
    return {"requirements.txt": runtime, "requirements-dev.txt": [*runtime, *groups["test"], *groups["gate"]]}


def write() -> int:
    """Resolve anew. The runtime's pins bind the developers' ones, so that the tests run on what is shipped."""
    for name, requirements in wanted().items():
        lock = DEPLOY / name
        bound = [] if name == "requirements.txt" else ["--constraint", str(DEPLOY / "requirements.txt")]
        command = [sys.executable, "-m", "uv", "pip", "compile", "--universal", "--python-version", "3.11"]
        command += ["--generate-hashes", "--no-annotate", "--no-header", "--no-emit-find-links", "--upgrade", *bound]
        command += ["--no-config", "--quiet", "--output-file", str(lock), "-"]
        subprocess.run(command, check=True, input="\n".join(requirements).encode())
    return 0


def check() -> int:
    """Whether everything that pyproject.toml asks for is pinned with a hash."""
    status = 0
    for name, requirements in wanted().items():
        text = (DEPLOY / name).read_text()
        pinned = {normal(found[1]) for found in _PIN.finditer(text)}
        missing = [each for each in requirements if normal(_NAME.match(each)[0]) not in pinned]  # type: ignore[index]
        if missing or text.count("==") > text.count("--hash=sha256:"):
            print(f"deploy/{name} does not cover {missing}: run deploy/lock", file=sys.stderr)  # noqa: T201
            status = 1
    return status


def normal(name: str) -> str:
    """A package name as the index compares it."""
    return re.sub(r"[-_.]+", "-", name).lower()


if __name__ == "__main__":
    sys.exit(check() if "--check" in sys.argv else write())
