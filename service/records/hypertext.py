"""A document as one HTML page that needs nothing else: its style is in it, nothing runs. The same document, the same bytes."""

import base64
import hashlib
from functools import cache
from importlib import resources
from typing import assert_never

from service.core.markup import EMPTY, Markup, element, text
from service.messages import DECIDES
from service.records.blocks import Block, Column, Heading, Note, Pairs, Paper, Sign, Symbol, Table

_QUIET_MODULES = 4


@cache
def _style() -> str:
    return resources.files("service.records").joinpath("paper.css").read_text(encoding="utf-8")


@cache
def headers() -> dict[str, str]:
    """What a document is sent with: nothing may run in it, frame it or be loaded by it but its own style."""
    digest = base64.b64encode(hashlib.sha256(_style().encode()).digest()).decode()
    policy = (
        f"default-src 'none'; style-src 'sha256-{digest}'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
    )
    return {
        "content-security-policy": policy,
        "cross-origin-opener-policy": "same-origin",
        "cross-origin-resource-policy": "same-origin",
        "referrer-policy": "no-referrer",
        "x-content-type-options": "nosniff",
        "cache-control": "no-store",
    }


def page(paper: Paper) -> bytes:
    """The whole document."""
    head = element(
        "head",
        element("meta", charset="utf-8"),
        element("meta", name="viewport", content="width=device-width, initial-scale=1"),
        element("title", text(f"{paper.title} {paper.number}")),
        # Ours alone, and its hash is in the policy: the only thing that is not escaped.
        element("style", Markup(_style())),
    )
    main = element(
        "main",
        element("h1", text(paper.title)),
        element("p", text(paper.number), class_="number"),
        element("p", text(paper.subtitle), class_="dim") if paper.subtitle else EMPTY,
        *(_block(each) for each in paper.blocks),
    )
    foot = element(
        "footer",
        element("p", text(f"{paper.number} · SHA-256 of the content {paper.sha256}")),
        element("p", text(DECIDES)),
    )
    return ("<!doctype html>\n" + element("html", head, element("body", main, foot), lang="en") + "\n").encode()


def _block(block: Block) -> Markup:
    match block:
        case Heading(text=words, level=level):
            return element("h2" if level == 1 else "h3", text(words))
        case Pairs():
            return _pairs(block)
        case Table():
            return _table(block)
        case Note(text=words, strong=strong):
            return element("p", text(words), class_="strong" if strong else "dim")
        case Symbol():
            return element("figure", drawing(block), element("figcaption", text(block.caption)))
        case Sign(meanings=meanings):
            return element("div", *(element("span", text(each)) for each in meanings), class_="sign")
        case _:
            assert_never(block)


def _pairs(block: Pairs) -> Markup:
    told = (element("div", element("dt", text(name)), element("dd", text(value))) for name, value in block.told)
    return element("dl", *told, class_="pairs one" if block.columns == 1 else "pairs")


def _table(table: Table) -> Markup:
    caption = element("caption", text(table.caption)) if table.caption else EMPTY
    if not table.rows:
        return element("p", text(table.empty), class_="dim")
    heads = (element("th", text(each.heading), scope="col", class_=_align(each)) for each in table.columns)
    rows = (
        element(
            "tr", *(element("td", text(cell), class_=_align(c)) for cell, c in zip(row, table.columns, strict=True))
        )
        for row in table.rows
    )
    shown = element("table", caption, element("thead", element("tr", *heads)), element("tbody", *rows))
    return element("div", shown, class_="wide", tabindex="0", role="group", aria_label=table.caption or "Table")


def _align(column: Column) -> str | None:
    return "figures" if column.figures else None


def drawing(symbol: Symbol) -> Markup:
    """A QR code as SVG in its true size; a unit is a module."""
    side = len(symbol.rows) + 2 * _QUIET_MODULES
    dark = (
        f"M{x + _QUIET_MODULES} {y + _QUIET_MODULES}h1v1h-1z"
        for y, row in enumerate(symbol.rows)
        for x, module in enumerate(row)
        if module
    )
    return element(
        "svg",
        element("rect", width=side, height=side, fill="#fff"),
        element("path", d="".join(dark), fill="#000", shape_rendering="crispEdges"),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {side} {side}",
        width=f"{symbol.size_mm}mm",
        height=f"{symbol.size_mm}mm",
        role="img",
        aria_label="QR code",
    )
