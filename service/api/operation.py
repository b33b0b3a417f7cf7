"""One operation of the API as a line of the table, and who may call what."""

from collections.abc import Awaitable, Callable
from typing import Any, Literal

from msgspec import Struct

from service.api import queries
from service.api.handlers import Call, Reply
from service.api.services import Services
from service.workflow.access import Scope

ANYBODY = (Scope.BENCH, Scope.PLANNER, Scope.RECORDS)
AT_WORK = (Scope.BENCH, Scope.PLANNER)
PLANNING = (Scope.PLANNER,)
READING = (Scope.PLANNER, Scope.RECORDS)


class Operation(Struct, frozen=True, kw_only=True):
    """One operation: how it is reached, who may, what it reads and writes, and an example that the tests execute.

    `reply` is a message where the reply is JSON; where it is a file, `media` are the types that it can have. `report` is the name
    of the report that it gives as a file where the query asks for a `format` other than json. `keyed`: the same request under the
    same Idempotency-Key is done once. `verbatim`: people who left are shown as they stand, since it is what was or will be signed,
    or what is to be sent back.
    """

    method: Literal["GET", "POST", "PUT"]
    path: str
    name: str
    summary: str
    scopes: tuple[Scope, ...]
    call: Callable[[Services, Call], Awaitable[Reply]]
    reply: Any = None
    media: tuple[str, ...] = ("application/json",)
    statuses: tuple[int, ...] = (200,)
    body: Any = None
    shown_body: Any = None
    query: Any = queries.Nothing
    example: Any = None
    example_query: str = ""
    report: str | None = None
    keyed: bool = False
    verbatim: bool = False
