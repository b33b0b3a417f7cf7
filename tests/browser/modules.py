"""The page's modules in a browser, each by itself: a bare page of the same origin to import them from."""

import functools
import http.server
import shutil
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import resources
from typing import Any

import pytest
from playwright.sync_api import Page, sync_playwright

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
needs_chromium = pytest.mark.skipif(CHROMIUM is None, reason="needs chromium (Debian: apt install chromium)")


class _Files(http.server.SimpleHTTPRequestHandler):
    """The page's folder, silently, and a blank page to start from."""

    extensions_map = {  # noqa: RUF012 - as in the class that it extends
        **http.server.SimpleHTTPRequestHandler.extensions_map,
        ".js": "text/javascript",
        ".wasm": "application/wasm",
    }

    def do_GET(self) -> None:
        """Give a file."""
        if self.path != "/":
            return super().do_GET()
        self.send_response(200)
        self.send_header("content-type", "text/html")
        self.end_headers()
        self.wfile.write(b"<!doctype html><title>modules</title>")
        return None

    def log_message(self, *_: Any) -> None:
        """Say nothing."""


@contextmanager
def served() -> Iterator[str]:
    """The address of the page's folder."""
    folder = str(resources.files("scanner_client").joinpath("page"))
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(_Files, directory=folder))
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        server.server_close()


@contextmanager
def opened() -> Iterator[Page]:
    """A blank page from which modules can be imported by their path."""
    with served() as address, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        page = browser.new_page()
        page.goto(address)
        yield page
        browser.close()
