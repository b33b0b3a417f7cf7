"""The page's server: a bounded proxy to one service, photo decoding, a strict policy on every answer."""

import base64
import hashlib
import re
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from typing import Any, cast

import anyio
import httpx
import msgspec
import pytest

from scanner_client import decode, page_files, serve
from service.core.entries import Kind
from service.messages import EntriesRequest
from tests.client import symbols
from tests.client.fake import Service, reply
from tests.client.test_outbox import entry

Upstream = Callable[[httpx.Request], httpx.Response]


@asynccontextmanager
async def page(upstream: Upstream) -> AsyncIterator[httpx.AsyncClient]:
    """A browser's connection to the page's server, with a service behind it."""
    app = serve.build_app("http://service.test", transport=httpx.MockTransport(upstream))
    async with (
        app.lifespan(),
        httpx.AsyncClient(transport=httpx.ASGITransport(cast("Any", app)), base_url="http://bench.test") as client,
    ):
        yield client


def asked(service: Upstream, method: str, path: str, **told: object) -> httpx.Response:
    """One request to the page's server."""

    async def ask() -> httpx.Response:
        async with page(service) as client:
            return await client.request(method, path, **told)  # type: ignore[arg-type]

    return anyio.run(ask)


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("/", "text/html"),
        ("/bench.css", "text/css"),
        ("/icon.svg", "image/svg+xml"),
        ("/icon-192.png", "image/png"),
        ("/manifest.webmanifest", "application/manifest+json"),
        ("/service_worker.js", "text/javascript"),
        ("/keep/store.js", "text/javascript"),
        ("/vendor/zxing_reader.wasm", "application/wasm"),
        ("/files.json", "application/json"),
    ],
)
def test_the_page_and_its_files(service: Service, path: str, kind: str) -> None:
    """Each file comes with its type, a strong ETag, and the word to ask again before it is used."""
    answer = asked(service.handle, "GET", path)
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith(kind)
    assert re.fullmatch(r'"[0-9a-f]{16}(-br|-gz)?"', answer.headers["etag"])
    assert answer.headers["cache-control"] == "no-cache"


CODINGS = [
    ("gzip, deflate, br, zstd", "br"),
    ("BR;q=0.5, gzip;q=1.0", "br"),
    ("gzip, br;q=0", "gzip"),
    ("gzip", "gzip"),
    ("deflate, zstd", None),
    ("identity, gzip;q=0, br; q=0.0", None),
    ("", None),
]


@pytest.mark.parametrize("path", ["/vendor/zxing_reader.wasm", "/", "/core/talk.js", "/bench.css", "/icon-512.png"])
@pytest.mark.parametrize(("told", "coding"), CODINGS)
def test_files_are_given_short_and_only_once(service: Service, path: str, told: str, coding: str | None) -> None:
    """The shortest form that a browser takes, under an ETag of its own; what it has already is not sent again."""
    plain = asked(service.handle, "GET", path, headers={"Accept-Encoding": "identity"})
    answer = asked(service.handle, "GET", path, headers={"Accept-Encoding": told})
    wanted = None if path.endswith(".png") else coding
    assert answer.headers.get("content-encoding") == wanted
    assert answer.headers.get("vary") == (None if path.endswith(".png") else "Accept-Encoding")
    assert answer.content == plain.content, "each form unpacks to the same file"
    assert "content-encoding" not in plain.headers
    assert (plain.headers["etag"] == answer.headers["etag"]) is (wanted is None)
    headers = {"Accept-Encoding": told, "If-None-Match": f'"x", {answer.headers["etag"]}'}
    again = asked(service.handle, "GET", path, headers=headers)
    assert (again.status_code, again.content) == (304, b"")
    assert "content-encoding" not in again.headers


def test_the_list_names_every_file_as_it_is_given(service: Service) -> None:
    """The list has every file that a page at work needs, with the hash of what is given (W3C Subresource Integrity)."""
    listing = asked(service.handle, "GET", "/files.json").json()
    assert {"/", "/keep/store.js", "/vendor/zxing_reader.wasm", "/icon.svg"} <= {
        each["path"] for each in listing["files"]
    }
    assert {each["path"] for each in listing["files"]} == set(page_files.shipped()) - {
        "/files.json", "/service_worker.js", "/icon-192.png",
        "/manifest.webmanifest", "/icon-512.png", "/vendor/LICENSES.txt", "/vendor/vendor.json",
    }  # fmt: skip
    for each in listing["files"]:
        body = asked(service.handle, "GET", each["path"]).content
        assert each["integrity"] == "sha256-" + base64.b64encode(hashlib.sha256(body).digest()).decode()
    worker = asked(service.handle, "GET", "/service_worker.js").text
    assert f'VERSION="{listing["version"]}";' in worker


@pytest.mark.parametrize(
    "path",
    [
        "/",
        "/icon.svg",
        "/scan/worker.js",
        "/service_worker.js",
        "/nothing",
        "/keep/",
        "/v1/connectors?mark=x",
        "/health/ready",
        "/decode",
    ],
)
def test_whatever_may_run_carries_the_policy(service: Service, path: str) -> None:
    """Documents, workers, errors and passed-on answers alike; no inline script, no frame, no other host."""
    answer = asked(service.handle, "GET", path)
    policy = answer.headers["content-security-policy"]
    for part in (
        "default-src 'self'",
        "script-src 'self' 'wasm-unsafe-eval'",
        "worker-src 'self'",
        "img-src 'self' blob: data:",
        "connect-src 'self'",
        "frame-ancestors 'none'",
        "base-uri 'none'",
        "form-action 'self'",
    ):
        assert part in policy
    assert "unsafe" not in policy.replace("'wasm-unsafe-eval'", "")
    assert answer.headers["permissions-policy"] == "camera=(self)"
    assert answer.headers["x-content-type-options"] == "nosniff"


def test_a_file_that_can_not_run_by_itself_is_only_what_it_says(service: Service) -> None:
    """Modules, styles and pictures carry no policy, which governs documents and workers alone; none can pass for a document."""
    inert = {path: file for path, file in page_files.shipped().items() if not file.runs}
    kinds = {"text/javascript", "text/css", "text/plain", "image/png"}
    for path in inert:
        answer = asked(service.handle, "GET", path)
        assert answer.headers["x-content-type-options"] == "nosniff"
        kind = answer.headers["content-type"].partition(";")[0]
        assert kind in kinds | {"application/json", "application/wasm", "application/manifest+json"}
    started = re.compile(r"new (?:Shared)?Worker\(new URL\(\"\./([a-z_]+\.js)\"|\.register\(\"(/[a-z_]+\.js)\"")
    workers = set()
    for path, file in page_files.shipped().items():
        if path.endswith(".js") and not path.startswith("/vendor/"):
            for beside, full in started.findall(file.plain.body.decode()):
                workers.add(full or path[: path.rfind("/") + 1] + beside)
            assert len(re.findall(r"new (?:Shared)?Worker\(", file.plain.body.decode())) <= 1
    assert workers == {"/scan/worker.js", "/service_worker.js"}
    assert not workers & set(inert)


def test_the_page_itself_keeps_to_the_policy(service: Service) -> None:
    """No inline script or style, no address of another host in any file of the page."""
    for each in asked(service.handle, "GET", "/files.json").json()["files"]:
        if each["path"].startswith("/vendor/") or not each["path"].endswith(("/", ".js", ".css", ".webmanifest")):
            continue
        text = asked(service.handle, "GET", each["path"]).text
        assert "style=" not in text
        assert "<style" not in text
        assert "onclick" not in text
        assert "https://" not in text
        assert "http://" not in text.replace("http://www.w3.org/2000/svg", "")


def test_requests_are_passed_on_with_the_token_and_little_else(service: Service) -> None:
    """Authorization, content type and accept go through; cookies and forwarded addresses don't."""
    headers = {"Authorization": "Bearer t", "Cookie": "a=b", "X-Forwarded-For": "1.2.3.4", "Accept": "application/json"}
    answer = asked(service.handle, "GET", "/v1/connectors?mark=SN-1042&x=%1D", headers=headers)
    assert answer.json()["connectors"][0]["serial"] == "SN-1042"
    sent = service.requests[0]
    assert sent.url.host == "service.test"
    assert sent.url.query == b"mark=SN-1042&x=%1D"
    assert sent.headers["authorization"] == "Bearer t"
    assert "cookie" not in sent.headers
    assert "x-forwarded-for" not in sent.headers


def test_entries_go_through(service: Service) -> None:
    """What the page records reaches the ledger, and the outcome comes back."""
    body = msgspec.json.encode(EntriesRequest(entries=(entry(1, kind=Kind.REMOVAL),)))
    answer = asked(service.handle, "POST", "/v1/entries", content=body, headers={"Content-Type": "application/json"})
    assert answer.json()["results"][0]["outcome"] == "recorded"
    assert [each.entry.id.int for each in service.ledger] == [1]


@pytest.mark.parametrize(
    "path", ["//", "/keep/", "/keep", "/index.html", "/keep/../index.html", "/files.json/", "//bench.css"]
)
def test_no_other_path_is_a_file(service: Service, path: str) -> None:
    """A file has one name; folders, dots and doubled slashes lead nowhere."""

    async def ask() -> httpx.Response:
        async with page(service.handle) as client:
            return await client.send(
                httpx.Request("GET", httpx.URL("http://bench.test").copy_with(raw_path=path.encode()))
            )

    assert anyio.run(ask).status_code == 404


ELSEWHERE = [
    "/v1/../schema",
    "/v1/%2e%2e/schema",
    "/v1/a%20b",
    "/metrics",
    "/v1/@evil.test",
    "/v1/a%5cb",
]


@pytest.mark.parametrize("path", ELSEWHERE)
def test_nothing_else_is_passed_on(service: Service, path: str) -> None:
    """Only plain paths under /v1 and /health go to the service."""

    async def ask() -> httpx.Response:
        async with page(service.handle) as client:
            return await client.send(
                httpx.Request("GET", httpx.URL("http://bench.test").copy_with(raw_path=path.encode()))
            )

    answer = anyio.run(ask)
    assert answer.status_code == 404
    assert service.requests == []


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH"])
def test_other_methods_are_not_passed_on(service: Service, method: str) -> None:
    """The page only reads and records; nothing administrative goes through it."""
    assert asked(service.handle, method, "/v1/connectors").status_code == 405
    assert service.requests == []


def test_a_redirect_is_not_followed(service: Service) -> None:
    """The token goes nowhere that the settings don't name."""
    seen = []

    def redirect(request: httpx.Request) -> httpx.Response:
        seen.append(request.url.host)
        return httpx.Response(302, headers={"Location": "http://evil.test/"})

    answer = asked(redirect, "GET", "/v1/connectors")
    assert answer.status_code == 302
    assert "location" not in answer.headers
    assert seen == ["service.test"]
    assert service.requests == []


def test_too_much_is_refused(service: Service) -> None:
    """Requests over 2 MB, photos over 20 MB and answers over 16 MB are cut off."""
    assert asked(service.handle, "POST", "/v1/entries", content=b"x" * 2_000_001).status_code == 413
    assert asked(service.handle, "POST", "/decode", content=b"x" * 20_000_001).status_code == 413
    assert service.requests == []
    huge = asked(lambda _: httpx.Response(200, content=b"x" * 16_000_001), "GET", "/v1/connectors")
    assert huge.status_code == 502


def test_an_absent_service_is_a_problem_with_retry_after() -> None:
    """The page is told that the service is away or slow, not shown a broken answer."""

    def away(request: httpx.Request) -> httpx.Response:
        raise httpx.ConnectError("refused", request=request)

    def slow(request: httpx.Request) -> httpx.Response:
        raise httpx.ReadTimeout("slow", request=request)

    for behind, status in ((away, 503), (slow, 504)):
        answer = asked(behind, "GET", "/v1/connectors")
        assert answer.status_code == status
        assert answer.headers["content-type"] == "application/problem+json"
        assert answer.headers["retry-after"] == "5"
        assert answer.json()["detail"]


def test_problems_and_retry_after_of_the_service_come_through(service: Service) -> None:
    """A busy service stays one, with its wait."""
    service.cut = lambda _: "busy"
    service.retry_after = "7"
    answer = asked(service.handle, "GET", "/v1/connectors?mark=x")
    assert (answer.status_code, answer.headers["retry-after"]) == (503, "7")
    assert answer.headers["content-type"] == "application/problem+json"


def test_photos_are_decoded(service: Service) -> None:
    """A photo gives every symbol with its bytes, its identifier, and a form to show."""
    image = symbols.encoded(symbols.page(symbols.symbol(symbols.MESSAGE.decode())))
    (found,) = asked(service.handle, "POST", "/decode", content=image).json()["scans"]
    assert msgspec.convert(found["bytes_base64"], bytes) == symbols.MESSAGE
    assert found["symbology"] == "]d1"
    assert found["fault"] is None
    assert found["shown"].startswith("[)><RS>06<GS>")


def test_a_bad_photo_is_a_problem_that_says_what_to_do(service: Service) -> None:
    """Errors of the decoder arrive as problems with their code."""
    answer = asked(service.handle, "POST", "/decode", content=b"no image")
    assert answer.status_code == 422
    assert answer.json()["type"].endswith("not_an_image")
    assert "Give a PNG" in answer.json()["detail"]


def test_many_photos_at_once_are_told_to_wait(service: Service, monkeypatch: pytest.MonkeyPatch) -> None:
    """A crowd of photos neither fills the memory nor waits for ever: some are told to come back."""
    ran = []

    def slow(image: bytes, where: str) -> tuple[object, ...]:
        del image, where
        anyio.from_thread.run(anyio.sleep, 0.1)
        ran.append(1)
        return ()

    monkeypatch.setattr(decode, "scans", slow)

    async def crowd() -> list[int]:
        statuses = []
        async with page(service.handle) as client, anyio.create_task_group() as group:

            async def one() -> None:
                statuses.append((await client.post("/decode", content=b"x")).status_code)

            for _ in range(12):
                group.start_soon(one)
        return statuses

    statuses = anyio.run(crowd)
    assert set(statuses) == {200, 503}
    assert statuses.count(200) == len(ran) == serve.MOST_WAITING


def test_health_is_passed_on(service: Service) -> None:
    """The page's port answers for the service's readiness."""
    assert asked(service.handle, "GET", "/health/ready").json()["status"] == "ready"
    assert asked(lambda _: reply(serve.Decoded(scans=())), "GET", "/health/live").status_code == 200
