"""Print how soon the page shows a connector once its symbol enters the camera's frame.

`python -m tests.browser.measure_answer DEMO_DIR [--runs 20]`, with the demo running. Nothing is asserted: times are those of
this machine. From the first picture of the symbol that the page's video shows to the connector's heading on the screen, with
its cavities: read, found and fetched from the service.
"""

import argparse
import base64
import json
import sys
import tempfile
from pathlib import Path
from typing import Any

import httpx
import numpy as np
from playwright.sync_api import Page, expect, sync_playwright

from tests.browser import films, phone
from tests.browser.conftest import CHROMIUM
from tests.browser.films import Film

EMPTY_S, SHOWN_S = 2.0, 3.0
FILMS = ("Data Matrix, clean", "Data Matrix, degraded", "Data Matrix, dot peen", "Code 128")
WATCH = """() => {
  window.seen = { entered: null, shown: null };
  const canvas = new OffscreenCanvas(4, 4);
  const pen = canvas.getContext("2d", { willReadFrequently: true });
  let dark = false;
  const look = () => {
    const video = document.querySelector("video");
    if (document.querySelector(".connector h2") && seen.entered !== null && seen.shown === null) seen.shown = performance.now();
    if (video?.readyState >= 2) {
      pen.drawImage(video, 4, 4, 8, 8, 0, 0, 4, 4);
      const light = pen.getImageData(1, 1, 1, 1).data[0] > 128;
      if (!light) dark = true;
      else if (dark && seen.entered === null) seen.entered = performance.now();
    }
    if (seen.shown === null) requestAnimationFrame(look);
  };
  look();
}"""


def main() -> None:
    """Measure each film."""
    told = argparse.ArgumentParser(prog="python -m tests.browser.measure_answer", description=__doc__)
    told.add_argument("demo", type=Path)
    told.add_argument("--runs", type=int, default=20)
    asked = told.parse_args()
    ready = json.loads((asked.demo / "demo.json").read_text())
    for film in films.FILMS:
        if film.name in FILMS:
            times = _timed(film, ready, asked.runs)
            middle, most = np.percentile(times, (50, 95))
            sys.stdout.write(f"{film.name:28}{len(times):4} runs   {middle:.0f} / {most:.0f} ms (p50 / p95)\n")
            sys.stdout.flush()


def _timed(film: Film, ready: dict[str, Any], runs: int) -> list[float]:
    _registered(film, ready)
    flags = ["--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream"]
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        path = films.written(film, Path(folder), EMPTY_S, SHOWN_S)
        browser = play.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", *flags, f"--use-file-for-fake-video-capture={path}"]
        )
        page = browser.new_page(viewport={"width": 360, "height": 740})
        page.goto(ready["bench"])
        phone.set_up(page, ready["tokens"]["bench"])
        page.get_by_label("Your badge").fill("117")
        page.get_by_role("button", name="Sign on").click()
        times = [_once(page) for _ in range(runs + 1)]
        browser.close()
    # The first time the decoder is still being compiled.
    return times[1:]


def _once(page: Page) -> float:
    """One coming of the symbol, and back to the camera."""
    if page.locator(".connector h2").count():
        page.get_by_role("button", name="Next connector").click()
    page.evaluate(WATCH)
    expect(page.locator(".connector h2")).to_be_visible(timeout=60_000)
    while (seen := page.evaluate("seen"))["shown"] is None:
        if page.locator(".connector h2").count() and seen["entered"] is None:
            # It was in sight already: another coming.
            return _once(page)
        page.wait_for_timeout(20)
    return float(seen["shown"] - seen["entered"])


def _registered(film: Film, ready: dict[str, Any]) -> None:
    ((data, symbology),) = film.told
    body = {
        "bytes_base64": base64.b64encode(data).decode(),
        "symbology": symbology,
        "history": "new",
        "cavities": [{"id": str(at), "contact_size": "20"} for at in range(1, 56)],
    }
    headers = {"Authorization": f"Bearer {ready['tokens']['admin']}"}
    answer = httpx.post(f"{ready['service']}/v1/connectors", json=body, headers=headers, trust_env=False)
    answer.raise_for_status()


if __name__ == "__main__":
    main()
