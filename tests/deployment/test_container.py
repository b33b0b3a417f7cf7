"""The compose and container files: what they say is run here outside a container, as no engine is needed to be wrong."""

import fnmatch
import os
import re
import shlex
import subprocess
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import httpx
import pytest
import yaml

from scanner_client import page_files, serve
from service import app, settings
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


def proxied() -> Callable[[str], str]:
    """To which half the proxy sends a path, read from its configuration."""
    text = (ROOT / "deploy" / "Caddyfile").read_text()
    told = re.search(r"@service path (.+)\n\thandle @service \{[^}]*\}\n\t\treverse_proxy service:8600\n", text)
    assert told is not None
    patterns = told.group(1).split()
    return lambda path: "service" if any(fnmatch.fnmatchcase(path, each) for each in patterns) else "bench"


def test_the_proxy_knows_every_path() -> None:
    """Whatever the service answers goes to the service, and every file of the page, its service worker included, to the bench."""
    half = proxied()
    of_service = [each.path for each in app.build_app(settings.read({"TINEBOOK_DSN": "postgresql://nowhere"})).routes]
    assert "/part-numbers" in of_service
    assert [each for each in of_service if half(each) != "service"] == []
    of_page = [*page_files.shipped(), "/decode", "/authority.crt"]
    assert {"/", "/files.json", "/service_worker.js", "/vendor/zxing_reader.wasm"} <= set(of_page)
    assert [each for each in of_page if half(each) != "bench"] == []


def test_only_photos_may_be_large() -> None:
    """The proxy lets pass what the halves take and no more: photos under /decode alone, entries up to the service's limit."""
    text = (ROOT / "deploy" / "Caddyfile").read_text()
    limits = dict(re.findall(r"handle (\S* ?)\{\s+(?:#.*\s+)?request_body \{\s+max_size (\w+)", text))
    assert limits == {
        "@service ": f"{settings.read({}).body_limit_bytes // 1_000_000}MB",
        "/decode ": f"{serve.MOST_IMAGE_BYTES // 1_000_000}MB",
        "": "64KB",
    }


def test_the_proxy_never_has_the_authority_s_key() -> None:
    """What lies beside the configuration for the proxy is not kept in the repository, and only the certificate is given."""
    assert "./deploy/certificates:/certificates:ro" in SERVICES["proxy"]["volumes"]
    ignored = (ROOT / "deploy" / "certificates" / ".gitignore").read_text().splitlines()
    assert ignored[1:] == ["*", "!.gitignore"]
    text = (ROOT / "deploy" / "Caddyfile").read_text()
    assert re.findall(r"handle (\S+) \{\n\t\troot \* /certificates\n", text) == ["/authority.crt"]
    assert text.count("file_server") == 1


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
