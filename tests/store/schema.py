"""The schema as the migrations make it, normalised, for readers: python -m tests.store.schema writes it."""

import asyncio
import os
import re
import subprocess
from pathlib import Path

from service.store import embedded
from tests import databases

KEPT = Path(__file__).resolve().parents[2] / "service" / "store" / "schema.sql"
_NOISE = re.compile(r"^(--.*|SET .*|SELECT pg_catalog.*|\\(un)?restrict.*)\n", re.MULTILINE)
_HEADER = (
    "-- What the migrations make, for reading. Written by `python -m tests.store.schema`; a test keeps it current.\n\n"
)


def dump(dsn: str) -> str:
    """The tables, constraints, functions, triggers and grants of the schema."""
    command = [str(embedded.binaries() / "pg_dump"), "--schema-only", "--no-owner", "--schema=tinebook", dsn]
    run = subprocess.run(command, check=True, capture_output=True, text=True, env={**os.environ, "LC_ALL": "C"})
    return _HEADER + re.sub(r"\n{3,}", "\n\n", _NOISE.sub("", run.stdout)).strip() + "\n"


def main() -> None:
    """Write the dump of a fresh database."""
    with databases.cluster() as maintenance:
        template = asyncio.run(databases.make_template(maintenance))
        KEPT.write_text(dump(databases.named(maintenance, template)))


if __name__ == "__main__":
    main()
