"""What a page's list holds, whole, as a file: the API's report with the page's own filters, for who has signed in."""

from typing import Any
from urllib.parse import urlsplit

from litestar import Response

from service import problems
from service.api import exports, http, reading
from service.api.contract import OPERATIONS, Operation
from service.api.handlers import Call
from service.api.services import Services
from service.core.markup import Markup, element, joined, text
from service.pages import addresses
from service.pages.door import Asked, Visitor
from service.pages.layout import link
from service.reports.forms import FORMS

_REPORTS: dict[str, Operation] = {each.report: each for each in OPERATIONS if each.report is not None}
_WORDS = {"csv": "CSV", "ndjson": "NDJSON", "xlsx": "XLSX", "pdf": "PDF"}


async def page(request: Asked, visitor: Visitor) -> Response[Any]:
    """A report as a file. Raises the problem for one that there is not, that is not theirs to see, or for a wrong filter."""
    services: Services = request.app.state.services
    name = request.path_params["report"]
    operation = _REPORTS.get(name)
    if operation is None:
        raise problems.raised(problems.Type.NOT_FOUND, f"there is no report {name}; there are {', '.join(_REPORTS)}")
    bearer = visitor.session.bearer
    if not bearer.allowed(operation.scopes):
        raise problems.raised(problems.Type.FORBIDDEN, f"the report {name} is not for {visitor.name} to see")
    asked = reading.query(request.query_params, operation.query)
    if asked.format not in FORMS:
        text = f"say which file: format={', format='.join(FORMS)}"
        raise problems.raised(problems.Type.INVALID_REQUEST, text, ("?format", text))
    found = http.response(await exports.reply(services, Call(bearer, request.path_params, asked, None), name))
    found.headers.update({"cache-control": "no-store", "x-content-type-options": "nosniff"})
    return found


def links(report: str, shown: str, words: str = "The whole list as a file") -> Markup:
    """The ways to a report as a file; `shown` is the address of the page that shows it, whose filters it keeps."""
    query = urlsplit(shown).query
    ways = (
        joined(text(" "), link(_WORDS[form], f"{addresses.FILES}/{report}?{query}{'&' if query else ''}format={form}"))
        for form in FORMS
    )
    return element("p", text(f"{words}:"), *ways, class_="files noprint")
