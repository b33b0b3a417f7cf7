"""Problems by RFC 9457: a stable type and title each, and a sentence that says what, where and what to do."""

import enum

from service.messages import Problem, ProblemError


class Type(enum.Enum):
    """The closed list of problem types: name, HTTP status, fixed title."""

    MALFORMED_BODY = ("malformed-body", 400, "The request body can't be read.")
    INVALID_REQUEST = ("invalid-request", 422, "The request is not valid.")
    INVALID_ENTRY = ("invalid-entry", 422, "The entry is not valid.")
    ID_REUSED = ("id-reused", 409, "This id was used for something else.")
    UNKNOWN_CAVITY = ("unknown-cavity", 422, "The connector has no such cavity.")
    UNKNOWN_CONNECTOR = ("unknown-connector", 404, "There is no such connector.")
    UNKNOWN_ENTRY = ("unknown-entry", 404, "There is no such entry.")
    HANDED_OVER = ("handed-over", 409, "The connector has been handed over.")
    UNKNOWN_TRANSFER = ("unknown-transfer", 404, "There is no such transfer.")
    BUNDLE_REFUSED = ("bundle-refused", 422, "The bundle is not taken in.")
    TRANSFER_CONFLICT = ("transfer-conflict", 409, "The connector can't go over like this.")
    CONNECTOR_KNOWN = ("connector-already-registered", 409, "The connector is registered already, differently.")
    MARK_UNUSABLE = ("mark-unusable", 422, "No connector can be registered by this mark.")
    CAVITIES_NEEDED = ("cavities-needed", 422, "The cavities of this connector are not known.")
    LABEL_NOT_READABLE = ("label-not-readable", 422, "This label would not read back.")
    UNKNOWN_PERSON = ("unknown-person", 404, "There is no such person.")
    UNKNOWN_SIGNATURE = ("unknown-signature", 404, "There is no such signature.")
    UNKNOWN_AUTHORITY = ("unknown-authority", 404, "There is no such authority.")
    SECRET_WRONG = ("secret-wrong", 403, "Badge and secret do not go together.")
    SECRET_INITIAL = ("secret-initial", 403, "An initial secret signs nothing.")
    SECRET_SET = ("secret-set", 409, "This person has a secret already.")
    IDENTITY_TAKEN = ("identity-taken", 409, "This identity is somebody else's.")
    TOO_MANY_ATTEMPTS = ("too-many-attempts", 429, "Too many wrong secrets.")
    NOT_AUTHORISED = ("not-authorised", 403, "This person may not sign this.")
    OWN_WORK = ("own-work", 403, "Nobody inspects work of their own.")
    EXCEPTION_NOT_ALLOWED = ("exception-not-allowed", 403, "The same-person exception is not allowed here.")
    EXCEPTION_NOT_NEEDED = ("exception-not-needed", 422, "There is no need for an exception.")
    BEFORE_THE_WORK = ("before-the-work", 409, "The work is not done.")
    INSPECTION_REFUSED = ("inspection-refused", 409, "An inspection refused the work.")
    STATEMENT_CHANGED = ("statement-changed", 409, "What is to be signed has changed.")
    SIGNATURE_OUT_OF_ORDER = ("signature-out-of-order", 409, "Something else was signed at this moment.")
    UNKNOWN_WORK_ORDER = ("unknown-work-order", 404, "There is no such work order.")
    WORK_ORDER_NOT_CLOSED = ("work-order-not-closed", 409, "The work order is not closed.")
    UNKNOWN_RECORD = ("unknown-record", 404, "There is no such record.")
    NOT_FOUND = ("not-found", 404, "There is nothing here.")
    METHOD_NOT_ALLOWED = ("method-not-allowed", 405, "This can't be done here.")
    UNAUTHENTICATED = ("unauthenticated", 401, "A valid token is needed.")
    FORBIDDEN = ("forbidden", 403, "This token does not open this.")
    RECORDS_KEPT = ("records-kept-by-law", 409, "The time for which records are kept is not over.")
    PERSON_LEFT = ("person-left", 409, "This person left, and stands under a pseudonym.")
    KEY_UNUSABLE = ("idempotency-key-unusable", 400, "The Idempotency-Key can't be read.")
    KEY_REUSED = ("idempotency-key-reused", 422, "This Idempotency-Key was used for something else.")
    KEY_BUSY = ("request-under-way", 409, "This request is being worked on.")
    TOO_LARGE = ("too-large", 413, "The request is too large.")
    BUSY = ("busy", 503, "The service is busy.")
    UNAVAILABLE = ("database-unavailable", 503, "The database can't be reached.")
    STATE_UNREADABLE = ("state-unreadable", 503, "The state of this connector has to be rebuilt.")
    INTERNAL = ("internal-error", 500, "Something went wrong in the service.")

    @property
    def uri(self) -> str:
        """The stable type URI."""
        return f"urn:tinebook:problem:{self.value[0]}"


class ProblemRaised(Exception):  # noqa: N818 - a problem is what RFC 9457 calls it
    """A request that ends in a problem."""

    def __init__(self, problem: Problem, headers: dict[str, str] | None = None) -> None:
        super().__init__(problem.detail)
        self.problem = problem
        self.headers = headers or {}


def problem(kind: Type, detail: str, *errors: tuple[str, str]) -> Problem:
    """A problem of a type; `errors` are (JSON pointer, sentence) pairs."""
    _, status, title = kind.value
    return Problem(
        type=kind.uri,
        title=title,
        status=status,
        detail=detail,
        errors=tuple(ProblemError(pointer=pointer, detail=text) for pointer, text in errors),
    )


def raised(kind: Type, detail: str, *errors: tuple[str, str], headers: dict[str, str] | None = None) -> ProblemRaised:
    """The exception for a problem; `name` and `status` come from its type."""
    return ProblemRaised(problem(kind, detail, *errors), headers)


def unknown_cavity(cavity: str, known: list[str], pointer: str) -> Problem:
    """A cavity that the connector does not have; ids are case-sensitive, so a near miss is pointed out, never taken."""
    near = [each for each in known if each.casefold() == cavity.casefold()]
    hint = f" Ids are case-sensitive: is {' or '.join(repr(each) for each in near)} meant?" if near else ""
    text = f"the connector has no cavity {cavity!r}.{hint}"
    return problem(Type.UNKNOWN_CAVITY, text, (pointer, text))
