"""The compose and container files: what they say is run here outside a container, as no engine is needed to be wrong."""

import os
import re
import shlex
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import httpx
import pytest
import yaml

from service.store import database
from service.supervisor import Family
from service.workflow.access import Scope
from tests.conftest import make_token, run
from tests.databases import named

ROOT = Path(__file__).resolve().parents[2]
COMPOSE: dict[str, Any] = yaml.safe_load((ROOT / "docker-compose.yml").read_text())
SERVICES = COMPOSE["services"]
MODULES = {"tinebook": "service.cli", "tinebook-bench": "scanner_client.cli"}


def module_command(command: list[str], **changed: str) -> list[str]:
    """A compose command as a Python module's, with other values for some options."""
    module = [MODULES[command[0]], *command[1:]]
    return [changed.get(before.lstrip("-"), each) for before, each in zip(["", *module], module, strict=False)]


def test_the_compose_file_starts_what_the_image_has() -> None:
    """Every command of ours is an entry point of the project, every variable a setting, every secret asked for."""
    scripts = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["scripts"]
    example = (ROOT / "deploy" / "compose.env.example").read_text()
    ours = {name: each for name, each in SERVICES.items() if each.get("image") == "tinebook:local"}
    assert set(ours) == {"migrate", "service", "bench"}
    for each in ours.values():
        assert each["command"][0] in scripts
    asked = set(re.findall(r"\$\{(\w+)", (ROOT / "docker-compose.yml").read_text()))
    assert asked == set(re.findall(r"^(\w+)=", example, re.MULTILINE))
    assert "tinebook_owner" not in str(SERVICES["service"]), "the service must not know the owner"


def test_the_container_file_installs_what_is_locked() -> None:
    """The image installs the hash-locked list and the project's own files, each of which exists, and runs as nobody special."""
    lines = (ROOT / "deploy" / "Containerfile").read_text()
    copied = [word for line in re.findall(r"^COPY (.+)$", lines, re.MULTILINE) for word in shlex.split(line)[:-1]]
    assert copied
    assert all((ROOT / each).exists() for each in copied)
    assert "--require-hashes --requirement deploy/requirements.txt" in lines
    assert re.search(r"^USER tinebook$", lines, re.MULTILINE)
    ignored = (ROOT / ".dockerignore").read_text().splitlines()
    assert ignored[0] == "*"
    assert {each.removeprefix("!") for each in ignored if each.startswith("!")} == set(copied)


def test_the_compose_commands_run(maintenance: str, free_ports: tuple[int, int]) -> None:
    """migrate, service and bench, started with the compose file's own commands and variables, answer."""
    name = "tinebook_composed"
    run(database.ensure_database(maintenance, name))
    dsn = named(maintenance, name)
    kept = {key: value for key, value in os.environ.items() if not key.startswith("TINEBOOK_")}
    migrate = module_command(SERVICES["migrate"]["command"])
    secrets = {"SERVICE_PASSWORD": "it's \\ secret", "TINEBOOK_DSN": dsn}
    subprocess.run([sys.executable, "-m", *migrate], env=kept | secrets, check=True, timeout=60)
    token = run(make_token(dsn, Scope.BENCH))
    service_port, bench_port = (str(each) for each in free_ports)
    as_service = re.sub(r"//[^@/]*@", "//tinebook_service@", dsn)
    with Family() as family:
        first = module_command(SERVICES["service"]["command"], host="127.0.0.1", port=service_port)
        family.start(
            "service", first[0], first[1:], kept | {"TINEBOOK_DSN": as_service, "PGPASSWORD": "it's \\ secret"}
        )
        family.wait_ready("service", f"http://127.0.0.1:{service_port}/health/ready")
        second = module_command(SERVICES["bench"]["command"], host="127.0.0.1", port=bench_port)
        where = SERVICES["bench"]["environment"]["TINEBOOK_BENCH_URL"]
        assert where == "http://service:8600"
        family.start("bench", second[0], second[1:], kept | {"TINEBOOK_BENCH_URL": f"http://127.0.0.1:{service_port}"})
        family.wait_ready("bench", f"http://127.0.0.1:{bench_port}/")
        through = f"http://127.0.0.1:{bench_port}/v1/connectors"
        assert httpx.get(through, headers={"Authorization": f"Bearer {token}"}).json() == {
            "connectors": [],
            "next": None,
        }


@pytest.mark.parametrize("service", ["service", "bench"])
def test_containers_are_confined(service: str) -> None:
    """The containers that face the network may write nothing and gain nothing."""
    each = SERVICES[service]
    assert each["read_only"] is True
    assert each["cap_drop"] == ["ALL"]
    assert each["security_opt"] == ["no-new-privileges:true"]
