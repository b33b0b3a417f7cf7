"""What the tests of the eye stand on: a strict little server for the page's folder, and Chromium with a film for a camera."""

import shutil
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
PAGE = Path(__file__).resolve().parent.parent.parent / "scanner_client" / "page"
STAND_IN = Path(__file__).resolve().parent / "page"
HEADERS = {
    "content-security-policy": (
        "default-src 'self'; script-src 'self' 'wasm-unsafe-eval'; img-src 'self' blob: data:; worker-src 'self'; "
        "connect-src 'self'; frame-ancestors 'none'; base-uri 'none'; object-src 'none'"
    ),
    "permissions-policy": "camera=(self)",
    "x-content-type-options": "nosniff",
    "cache-control": "no-store",
}
TYPES = {".js": "text/javascript", ".html": "text/html; charset=utf-8", ".wasm": "application/wasm", ".css": "text/css"}


@contextmanager
def served(more: Mapping[str, bytes] | None = None, missing: frozenset[str] = frozenset()) -> Iterator[int]:
    """The page's folder on a port of this machine, the tests' own files under /test/, and `more` by path."""
    held = dict(more or {})

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            path = self.path.partition("?")[0]
            data = None if path in missing else held.get(path) or _file(path)
            self.send_response(HTTPStatus.NOT_FOUND if data is None else HTTPStatus.OK)
            for name, value in HEADERS.items():
                self.send_header(name, value)
            self.send_header("content-type", TYPES.get(Path(path).suffix, "application/octet-stream"))
            self.send_header("content-length", str(len(data or b"")))
            self.end_headers()
            self.wfile.write(data or b"")

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield server.server_address[1]
    finally:
        server.shutdown()
        server.server_close()
        thread.join(timeout=10)


def _file(path: str) -> bytes | None:
    root, inner = (STAND_IN, path.removeprefix("/test/")) if path.startswith("/test/") else (PAGE, path.lstrip("/"))
    found = (root / inner).resolve()
    return found.read_bytes() if found.is_file() and found.is_relative_to(root) else None


@contextmanager
def opened(
    port: int, film: Path | None = None, host: str = "localhost", grants: tuple[str, ...] = ()
) -> Iterator[Page]:
    """The stand-in page in Chromium. Script errors, breaches of the policy and requests to elsewhere are failures."""
    flags = [
        "--no-sandbox",
        f"--host-resolver-rules=MAP {host} 127.0.0.1",
        "--use-fake-device-for-media-stream",
        *grants,
    ]
    if film is not None:
        flags += ["--use-fake-ui-for-media-stream", f"--use-file-for-fake-video-capture={film}"]
    wrong: list[str] = []
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=flags)
        page = browser.new_page()
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.on("console", lambda told: wrong.append(told.text) if "Content Security Policy" in told.text else None)
        origins = (f"http://{host}:{port}/", f"blob:http://{host}:{port}/")
        page.on("request", lambda asked: None if asked.url.startswith(origins) else wrong.append(asked.url))
        page.goto(f"http://{host}:{port}/test/eye.html")
        yield page
        browser.close()
    assert wrong == []
