"""Every check of the project, one after the other; the tests last."""

import os
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
BIN = Path(sys.executable).parent
CODE = ("service", "scanner_client", "tests", "deploy")
MIGRATIONS = sorted(str(each.relative_to(ROOT)) for each in (ROOT / "service" / "store" / "migrations").glob("*.sql"))

# The type checker of the page must ask nobody for a newer version of itself.
ENVIRONMENT = {**os.environ, "DENO_NO_UPDATE_CHECK": "1"}
PAGE = tuple(f"scanner_client/page/{each}.js" for each in ("view/app", "scan/worker", "service_worker"))

CHECKS = (
    ("format", ["ruff", "format", "--check", *CODE]),
    ("lint", ["ruff", "check", *CODE]),
    ("types", ["mypy"]),
    ("imports", ["lint-imports", "--no-cache"]),
    ("migrations", ["squawk", *MIGRATIONS]),
    ("spelling", ["typos"]),
    ("dependencies", ["deptry", "service", "scanner_client"]),
    ("compose file", ["check-jsonschema", "--builtin-schema", "vendor.compose-spec", "docker-compose.yml"]),
    (
        "page types",
        ["deno", "check", "--config", "deploy/page_types.json", "--no-lock", "--no-remote", *PAGE],
    ),
    ("page's vendored files", [sys.executable, "deploy/vendor.py", "--check"]),
    ("lock files", [sys.executable, "deploy/lock.py", "--check"]),
    ("tests", [str(ROOT / "deploy" / "test")]),
)


def main() -> int:
    """Run them all; say how long each took, and stop at none, so that one run shows everything."""
    os.chdir(ROOT)
    failed = []
    for name, command in CHECKS:
        program = command[0] if Path(command[0]).is_absolute() else str(BIN / command[0])
        print(f"--- {name}", flush=True)  # noqa: T201
        started = time.monotonic()
        status = subprocess.run([program, *command[1:]], check=False, env=ENVIRONMENT).returncode
        outcome = f"FAILED with status {status}" if status else "ok"
        print(f"--- {name}: {outcome} ({time.monotonic() - started:.0f} s)", flush=True)  # noqa: T201
        if status:
            failed.append(name)
    if failed:
        print(f"failed: {', '.join(failed)}", file=sys.stderr)  # noqa: T201
    return bool(failed)


if __name__ == "__main__":
    sys.exit(main())
