"""The frame of the planner's pages: head, the ways to the other pages, the search, and the headers that go with each."""

import hashlib
from collections.abc import Mapping, Sequence
from functools import cache
from importlib import resources

from litestar import Response, get
from litestar.datastructures import Cookie
from msgspec import Struct

from service.core.markup import Markup, element, text
from service.messages import DECIDES
from service.pages import door
from service.pages.door import Visitor
from service.workflow.access import Scope

STYLE = "/pages/planner.css"
_POLICY = "default-src 'none'; style-src 'self'; img-src 'self' data:; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
HEADERS = {
    "content-security-policy": _POLICY,
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "referrer-policy": "same-origin",
    "x-content-type-options": "nosniff",
    "cache-control": "no-store",
}
"""Nothing may run in a page, frame it or be loaded by it but its style; and no shared screen keeps it after signing out."""


class Sheet(Struct, frozen=True, kw_only=True):
    """A page's own part: its title and what stands on it. `path` says which way is marked as here."""

    title: str
    content: tuple[Markup, ...]
    path: str = ""
    status: int = 200


class Way(Struct, frozen=True):
    """A way to a page, shown to whoever may go there."""

    path: str
    name: str
    scopes: tuple[Scope, ...]


@cache
def _style() -> bytes:
    return resources.files("service.pages").joinpath("planner.css").read_bytes()


@cache
def _style_link() -> str:
    """The address changes with the style, so that a browser may keep it for good."""
    return f"{STYLE}?v={hashlib.sha256(_style()).hexdigest()[:16]}"


@get(STYLE, include_in_schema=False)
async def style() -> Response[bytes]:
    """The style of the pages."""
    headers = {"cache-control": "public, max-age=31536000, immutable", "x-content-type-options": "nosniff"}
    return Response(_style(), media_type="text/css", headers=headers)


def response(
    sheet: Sheet, visitor: Visitor | None, ways: Sequence[Way], *, search: str = "", cookies: Sequence[Cookie] = ()
) -> Response[bytes]:
    """A page with its frame."""
    opened = [] if visitor is None else [each for each in ways if visitor.session.bearer.allowed(each.scopes)]
    body = element(
        "body",
        element("a", text("To the content"), href="#content", class_="skip"),
        _header(visitor, opened, sheet.path, search),
        element("main", *sheet.content, id="content", tabindex="-1"),
        element("footer", element("p", text(DECIDES))),
    )
    return _document(sheet.title, body, sheet.status, cookies)


def _document(
    title: str,
    body: Markup,
    status: int,
    cookies: Sequence[Cookie],
    *more: Markup,
    headers: Mapping[str, str] = HEADERS,
) -> Response[bytes]:
    head = element(
        "head",
        element("meta", charset="utf-8"),
        element("meta", name="viewport", content="width=device-width, initial-scale=1"),
        element("meta", name="color-scheme", content="light dark"),
        *more,
        element("title", text(f"{title} - Tinebook")),
        element("link", rel="stylesheet", href=_style_link()),
        element("link", rel="icon", href="data:,"),
    )
    document = "<!doctype html>\n" + element("html", head, body, lang="en")
    return Response(
        document.encode(), media_type="text/html", headers=dict(headers), status_code=status, cookies=list(cookies)
    )


def onward(target: str, cookies: Sequence[Cookie] = ()) -> Response[bytes]:
    """A page that leads on by itself. The next request then comes from a page of ours, so that the strict cookie goes with it."""
    body = element("body", element("main", element("p", element("a", text("Go on"), href=target))))
    refresh = element("meta", http_equiv="refresh", content=f"0;url={target}")
    return _document("One moment", body, 200, cookies, refresh)


def _header(visitor: Visitor | None, ways: Sequence[Way], here: str, search: str) -> Markup:
    brand = element("a", text("Tinebook"), href=door.HOME, class_="brand")
    if visitor is None:
        return element("header", brand)
    links = (
        element("a", text(each.name), href=each.path, aria_current="page" if each.path == here else None)
        for each in ways
    )
    return element(
        "header",
        brand,
        element("nav", *links, aria_label="Pages"),
        _search(search),
        element(
            "form",
            element("span", text(visitor.name), class_="who"),
            form_token(visitor),
            element("button", text("Sign out"), type="submit"),
            action=door.SIGN_OUT,
            method="post",
            class_="out",
        ),
    )


def _search(shown: str) -> Markup:
    return element(
        "form",
        element(
            "input",
            name="mark",
            type="search",
            value=shown or None,
            aria_label="Scan or type a mark",
            placeholder="Scan or type a mark",
            required=True,
            maxlength=2000,
            autocomplete="off",
            autocapitalize="none",
            spellcheck="false",
        ),
        element("button", text("Find"), type="submit"),
        action="/search",
        method="get",
        role="search",
        class_="find",
    )


def form_token(visitor: Visitor) -> Markup:
    """What proves that a form is ours."""
    return element("input", type="hidden", name=door.FIELD, value=visitor.form_token)


def heading(title: str, *beside: Markup) -> Markup:
    """The page's own heading with what stands beside it."""
    return element("div", element("h1", text(title)), *beside, class_="title")


def note(*words: Markup) -> Markup:
    """A remark in small type."""
    return element("p", *words, class_="note")


def pairs(*told: tuple[str, Markup]) -> Markup:
    """Names and what they stand for, one below the other."""
    shown = (element("div", element("dt", text(name)), element("dd", value)) for name, value in told)
    return element("dl", *shown, class_="pairs")


def link(shown: str, href: str, **attributes: object) -> Markup:
    """A link whose words are as they are."""
    return element("a", text(shown), href=href, **attributes)


def nothing(words: str) -> Markup:
    """Said where a list is empty, so that nobody takes it for a page that failed."""
    return element("p", text(words), class_="nothing")


def lines(*items: Markup | None) -> Markup:
    """Items one below the other, without those that are not there."""
    return element("ul", *(element("li", each) for each in items if each))
