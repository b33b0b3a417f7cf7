"""Make the README's pictures from a running demo: python -m tests.pictures DEMO_DATA_DIRECTORY."""

import base64
import html
import json
import os
import pty
import select
import struct
import subprocess
import sys
import tempfile
import termios
from fcntl import ioctl
from pathlib import Path
from typing import Any

import httpx
from playwright.sync_api import Browser, sync_playwright
from rich.console import Console
from rich.terminal_theme import MONOKAI
from rich.text import Text

from tests.browser import phone

PICTURES = Path(__file__).resolve().parents[1] / "deploy" / "pictures"
COLUMNS, ROWS = 80, 28


def main(data: Path) -> None:
    """The answer on the page and in a terminal, for a connector that is spent and one that is nearing."""
    ready = json.loads((data / "demo.json").read_text())
    labels = json.loads((data / "labels" / "index.json").read_text())
    photos = {each["wear"]: data / "labels" / each["file"] for each in reversed(labels)}
    PICTURES.mkdir(exist_ok=True)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
        page(browser, ready, photos["spent"])
        terminal(browser, ready, photos["nearing"])
        planner(browser, ready, next(each["connector"] for each in labels if each["wear"] == "spent"))
        records(browser, ready)
        browser.close()


def page(browser: Browser, ready: dict[str, Any], photo: Path) -> None:
    """The bench page on a phone: the connector, and the answer to a replacement in its limiting cavity."""
    shown = browser.new_page(viewport={"width": 360, "height": 740}, device_scale_factor=2)
    shown.goto(str(ready["bench"]))
    phone.set_up(shown, ready["tokens"]["bench"])
    phone.sign_on(shown)
    shown.set_input_files(".file input", photo)
    spent = shown.locator(".hole.spent text").first
    spent.wait_for()
    phone.choose(shown, "Replace", str(spent.text_content()))
    shown.evaluate("window.scrollTo(0, 0)")
    shown.wait_for_timeout(300)
    beside = shown.screenshot()
    shown.get_by_role("button", name="Ask before the work").click()
    shown.locator(".verdict").wait_for()
    shown.wait_for_timeout(300)
    together(browser, "answer", 360, beside, shown.screenshot())
    shown.close()


def planner(browser: Browser, ready: dict[str, Any], connector: str) -> None:
    """The planner's fleet page and a connector's."""
    shown = browser.new_page(viewport={"width": 1200, "height": 860})
    shown.goto(f"{ready['service']}/fleet")
    shown.get_by_label("Token").fill(ready["tokens"]["planner"])
    shown.get_by_role("button", name="Sign in").click()
    shown.get_by_role("heading", name="Cycle limits").wait_for()
    fleet = shown.screenshot()
    shown.goto(f"{ready['service']}/connectors/{connector}")
    together(browser, "planner", 600, fleet, shown.screenshot())
    shown.close()


def records(browser: Browser, ready: dict[str, Any]) -> None:
    """A work order whose inspection and approval are there, and the record that was made of it."""
    with httpx.Client(
        base_url=ready["service"], headers={"Authorization": f"Bearer {ready['tokens']['admin']}"}
    ) as shop:
        orders = shop.get("/v1/work-orders").raise_for_status().json()["work_orders"]
        number = next(each["number"] for each in orders if each["state"] == "worked" and each["inspection_required"])
        for badge, name, what, meaning in (
            ("204", "R. Example", "inspects", "inspected"),
            ("301", "A. Sample", "approves", "approved"),
        ):
            authority = {"what": what, "scope": "all", "from_on": "2026-01-01"}
            certificate = {"number": f"EX-{badge}", "kind": "repairman", "from_on": "2026-01-01"}
            person = {"name": name, "certificate": certificate, "authorities": [authority]}
            shop.put(f"/v1/people/{badge}", json=person).raise_for_status()
            given, own = f"given out to {badge}", f"chosen by {badge}"
            shop.post(f"/v1/people/{badge}/secret", json={"secret": given}).raise_for_status()
            shop.put(f"/v1/people/{badge}/secret", json={"old": given, "new": own}).raise_for_status()
            statement = shop.get(f"/v1/work-orders/{number}/statement").raise_for_status().json()
            signature = {
                "subject": "work_order",
                "reference": number,
                "meaning": meaning,
                "badge": badge,
                "secret": own,
            }
            shop.post("/v1/signatures", json=signature | {"statement": statement}).raise_for_status()
        record = shop.post("/v1/records", json={"work_order": number}).raise_for_status().json()["number"]
    shown = browser.new_page(viewport={"width": 1200, "height": 1200})
    shown.goto(f"{ready['service']}/work-orders/{number}")
    shown.get_by_label("Token").fill(ready["tokens"]["planner"])
    shown.get_by_role("button", name="Sign in").click()
    shown.get_by_role("heading", name=f"Work order {number}").wait_for()
    order = shown.screenshot()
    shown.goto(f"{ready['service']}/records/{record}")
    together(browser, "record", 600, order, shown.screenshot())
    shown.close()


def together(browser: Browser, name: str, width: int, *pictures: bytes) -> None:
    """Pictures of screens beside each other."""
    wide = len(pictures) * (width + 20)
    both = browser.new_page(viewport={"width": wide, "height": 100})
    shown = "".join(
        f'<img src="data:image/png;base64,{base64.b64encode(each).decode()}" width="{width}" style="margin:10px">'
        for each in pictures
    )
    both.set_content(f'<body style="margin:0;background:#d5dbe1;width:{wide}px">{shown}')
    both.wait_for_timeout(200)
    both.screenshot(path=PICTURES / f"{name}.png", full_page=True)
    both.close()


def terminal(browser: Browser, ready: dict[str, dict[str, str]], photo: Path) -> None:
    """The terminal client's answer, as a terminal of 80 columns shows it."""
    with tempfile.TemporaryDirectory() as directory:
        told = {
            "TINEBOOK_BENCH_URL": str(ready["service"]),
            "TINEBOOK_BENCH_TOKEN": ready["tokens"]["bench"],
            "TINEBOOK_BENCH_OUTBOX": f"{directory}/outbox.db",
            "TINEBOOK_BENCH_NAME": "Bench 3",
            "TERM": "xterm-256color",
            "COLORTERM": "truecolor",
        }
        command = [
            sys.executable,
            "-c",
            "from scanner_client.cli import main; main()",
            "plan",
            "--image",
            str(photo),
            "replace:1",
        ]
        seen = in_terminal(command, os.environ | told)
    console = Console(record=True, width=COLUMNS, file=open(os.devnull, "w"), force_terminal=True)  # noqa: PTH123, SIM115
    console.print(Text.from_ansi(seen))
    lines = console.export_html(theme=MONOKAI, inline_styles=True, code_format="{code}")
    style = "margin:0;padding:12px;background:#101418;color:#e8e8e8;font:14px/1.25 'DejaVu Sans Mono',monospace"
    shown = browser.new_page(viewport={"width": 720, "height": 520}, device_scale_factor=1.5)
    shown.set_content(
        f'<title>{html.escape("bench")}</title><pre style="{style}">{lines}</pre><style>body{{margin:0}}</style>'
    )
    shown.locator("pre").screenshot(path=str(PICTURES / "terminal.png"))
    shown.close()


def in_terminal(command: list[str], environment: dict[str, str]) -> str:
    """What a program writes to a terminal of its own."""
    ours, its = pty.openpty()
    ioctl(its, termios.TIOCSWINSZ, struct.pack("HHHH", ROWS, COLUMNS, 0, 0))
    running = subprocess.Popen(command, stdin=its, stdout=its, stderr=its, env=environment, close_fds=True)
    os.close(its)
    seen = b""
    while select.select([ours], [], [], 20)[0]:
        try:
            part = os.read(ours, 65536)
        except OSError:
            break
        if not part:
            break
        seen += part
    running.wait()
    os.close(ours)
    return seen.decode().replace("\r\n", "\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]).resolve())
