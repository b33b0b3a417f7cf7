"""Make the README's pictures from a running demo: python -m tests.pictures DEMO_DATA_DIRECTORY."""

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

from playwright.sync_api import Browser, sync_playwright
from rich.console import Console
from rich.terminal_theme import MONOKAI
from rich.text import Text

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
        browser.close()


def page(browser: Browser, ready: dict[str, dict[str, str]], photo: Path) -> None:
    """The bench page on a phone: the connector, and the answer to a replacement in its limiting cavity."""
    shown = browser.new_page(viewport={"width": 360, "height": 740}, device_scale_factor=2)
    shown.goto(str(ready["bench"]))
    shown.get_by_label("Token of this bench").fill(ready["tokens"]["bench"])
    shown.get_by_label("Your badge").fill("badge 117")
    shown.get_by_role("button", name="Sign on").click()
    shown.set_input_files("#photo", photo)
    shown.get_by_role("radio", name="Replace").check(force=True)
    beside = shown.screenshot()
    shown.locator("input[name=cavity]").first.check(force=True)
    shown.get_by_role("button", name="Ask before the work").click()
    shown.get_by_role("button", name="Done: record it").wait_for(state="attached")
    shown.wait_for_timeout(300)
    answer = shown.screenshot()
    shown.close()
    with tempfile.TemporaryDirectory() as directory:
        for name, picture in (("a", beside), ("b", answer)):
            (Path(directory) / f"{name}.png").write_bytes(picture)
        both = browser.new_page(viewport={"width": 760, "height": 760})
        both.goto(f"file://{directory}/a.png")
        pictures = "".join(f'<img src="{name}.png" width="360" style="margin:10px">' for name in "ab")
        (Path(directory) / "both.html").write_text(f'<body style="margin:0;background:#d5dbe1;width:760px">{pictures}')
        both.goto(f"file://{directory}/both.html")
        both.screenshot(path=str(PICTURES / "answer.png"))
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
        command = [sys.executable, "-m", "scanner_client.cli", "plan", "--image", str(photo), "replace:1"]
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
