"""The addresses of the pages. They are stable: what a page shows is told by its address alone, so that a link can be sent on."""

from collections.abc import Iterable
from urllib.parse import quote, urlencode
from uuid import UUID

FLEET = "/fleet"
DISCREPANCIES = "/discrepancies"
OUTLOOK = "/outlook"
STOCK = "/stock"
VISITS = "/visits"
SIGNALS = "/signals"
WHAT_IF = "/what-if"
FILES = "/files"
SEARCH = "/search"
ASSETS = "/assets"
CONNECTORS = "/connectors"
WORK_ORDERS = "/work-orders"
RECORDS = "/records"
PEOPLE = "/people"
OWN_SECRET = "/own-secret"  # noqa: S105 - an address

Value = str | int | float | None | Iterable[str]


def page(path: str, **told: Value) -> str:
    """A page with what is told behind the question mark; what is None or empty is left out."""
    query = [(name, each) for name, value in told.items() for each in _each(value) if each != ""]
    return f"{path}?{urlencode(query)}" if query else path


def connector(which: UUID, part: str | None = None, **told: Value) -> str:
    """One connector, or a part of its page."""
    return page(f"{CONNECTORS}/{which}", **told) + (f"#{part}" if part else "")


def asset(name: str) -> str:
    """One asset."""
    return f"{ASSETS}/{quote(name, safe='')}"


def work_order(number: str, **told: Value) -> str:
    """One work order."""
    return page(f"{WORK_ORDERS}/{quote(number, safe='')}", **told)


def record(number: int) -> str:
    """One record."""
    return f"{RECORDS}/{number}"


def person(badge: str) -> str:
    """One person."""
    return f"{PEOPLE}/{quote(badge, safe='')}"


def _each(value: Value) -> Iterable[str]:
    if value is None:
        return ()
    if isinstance(value, str | int | float):
        return (str(value),)
    return value
