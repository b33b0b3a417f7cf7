"""Tables that a phone shows as cards. Roles are written out, since a browser forgets them where the display is changed."""

from collections.abc import Sequence

from msgspec import Struct

from service.core.markup import Markup, element, text


class Column(Struct, frozen=True):
    """A column: what stands above it (or beside each value, on a phone), and whether it holds numbers."""

    head: str
    number: bool = False


def listed(caption: str, columns: Sequence[Column], rows: Sequence[Sequence[Markup]]) -> Markup:
    """A table with its caption; the first cell of each row is the row's head."""
    heads = (
        element("th", text(each.head), scope="col", role="columnheader", class_="number" if each.number else None)
        for each in columns
    )
    return element(
        "table",
        element("caption", text(caption)),
        element("thead", element("tr", *heads, role="row"), role="rowgroup"),
        element("tbody", *(_row(columns, each) for each in rows), role="rowgroup"),
        role="table",
        class_="cards",
    )


def _row(columns: Sequence[Column], cells: Sequence[Markup]) -> Markup:
    shown = (
        element(
            "td" if at else "th",
            element("span", cell, class_="cell"),
            scope=None if at else "row",
            role="cell" if at else "rowheader",
            data_head=column.head,
            class_="number" if column.number else None,
        )
        for at, (column, cell) in enumerate(zip(columns, cells, strict=True))
    )
    return element("tr", *shown, role="row")


def boxed(name: str, table: Markup) -> Markup:
    """A table that is wide whatever one does: it scrolls in a box of its own, which has a name and takes the keyboard."""
    return element("div", table, class_="wide", tabindex="0", role="region", aria_label=name)
