"""The sheet of paper that every page stands on: head, style, and the headers that let it do nothing but be read."""

import base64
import hashlib
from collections.abc import Sequence
from functools import cache
from importlib import resources

from litestar import Response

from service.core.markup import Markup, element, text
from service.messages import DECIDES


@cache
def style() -> str:
    """The style of every page. It is in the page itself, and its hash in the policy."""
    return resources.files("service.pages").joinpath("sheet.css").read_text(encoding="utf-8")


@cache
def headers() -> dict[str, str]:
    """What every page is sent with: nothing may run in it, frame it or be loaded by it."""
    digest = base64.b64encode(hashlib.sha256(style().encode()).digest()).decode()
    policy = (
        f"default-src 'none'; style-src 'sha256-{digest}'; img-src 'self' data:; form-action 'self'; "
        "frame-ancestors 'none'; base-uri 'none'"
    )
    return {
        "content-security-policy": policy,
        "cross-origin-opener-policy": "same-origin",
        "referrer-policy": "no-referrer",
        "x-content-type-options": "nosniff",
        "cache-control": "no-cache",
    }


def response(title: str, *content: Markup) -> Response[bytes]:
    """A page of this title, with the headers that go with every page."""
    body = "<!doctype html>\n" + sheet(title, *content)
    return Response(body.encode(), media_type="text/html", headers=headers())


def sheet(title: str, *content: Markup) -> Markup:
    """The whole document. The style is the only thing that is not escaped: it is ours and has a hash."""
    return element(
        "html",
        element(
            "head",
            element("meta", charset="utf-8"),
            element("meta", name="viewport", content="width=device-width, initial-scale=1"),
            element("title", text(f"{title} - Tinebook")),
            element("style", Markup(style())),
        ),
        element("body", element("main", *content), element("footer", element("p", text(DECIDES)))),
        lang="en",
    )


def table(caption: str, heads: tuple[str, ...], rows: Sequence[tuple[Markup, ...]]) -> Markup:
    """A table; the first cell of each row is the row's head."""
    head = element("tr", *(element("th", text(each), scope="col") for each in heads))
    return element(
        "div",
        element(
            "table",
            element("caption", text(caption)),
            element("thead", head),
            element("tbody", *(_row(each) for each in rows)),
        ),
        class_="wide",
        tabindex="0",
        role="group",
        aria_label=caption,
    )


def _row(cells: tuple[Markup, ...]) -> Markup:
    first, *others = cells
    return element("tr", element("th", first, scope="row"), *(element("td", each) for each in others))


def code(shown: str) -> Markup:
    """Something that stands in a number, letter by letter."""
    return element("span", text(shown), class_="code")


def how(status: str, source: str) -> Markup:
    """How a thing is known: the status in words and its source."""
    return element("span", element("b", text(status)), text(f": {source}" if source else ""), class_="how")


def listed(*items: Markup) -> Markup:
    """Items in no order that matters."""
    return element("ul", *(element("li", each) for each in items))


def paragraph(*words: Markup) -> Markup:
    """Words and elements after one another."""
    return element("p", *words)
