"""Where somebody puts a secret of their own in place of the one that they have: a badge and the old secret say who it is."""

from service import problems
from service import signing_messages as messages
from service.api.services import Services
from service.core.entries import Text
from service.core.markup import EMPTY, Markup, element, text
from service.pages import addresses, asking, layout
from service.pages.door import Asked, Visitor
from service.pages.layout import Sheet
from service.pages.people import form, typed
from service.workflow import proving


class _Change(messages.SecretChange, frozen=True, kw_only=True):
    badge: Text


async def page(request: Asked, visitor: Visitor) -> Sheet:
    """The form."""
    del request
    return _sheet(visitor, EMPTY)


async def take(request: Asked, visitor: Visitor) -> Sheet:
    """Change the secret. What is wrong is said above the form, which begins empty again."""
    services: Services = request.app.state.services
    told = {name: str(value) for name, value in (await request.form()).items()}
    try:
        if told.get("new") != told.pop("again", None):
            raise problems.raised(problems.Type.INVALID_REQUEST, "The new secret was not typed twice alike: try again.")
        asked = asking.filled({name: told[name] for name in ("badge", "old", "new") if name in told}, _Change)
        change = messages.SecretChange(old=asked.old, new=asked.new)
        async with services.pool.acquire() as connection:
            await proving.change(connection, services.prover, asked.badge.strip(), change, services.clock())
    except problems.ProblemRaised as refused:
        wrong = element("p", text(refused.problem.detail), class_="fault", role="alert")
        return _sheet(visitor, wrong, refused.problem.status)
    return _sheet(
        visitor, element("p", text("Changed. The new secret signs from now on."), class_="said", role="status")
    )


def _sheet(visitor: Visitor, said: Markup, status: int = 200) -> Sheet:
    content = (
        layout.heading("Change your secret"),
        said,
        element(
            "p",
            text(
                "It signs work in your name, so nobody else may know it. Eight characters at least; a few words do well."
            ),
        ),
        form(
            visitor,
            addresses.OWN_SECRET,
            "Change it",
            typed("badge", "Your badge", required=True),
            typed("old", "The secret that you have", "password", required=True),
            typed("new", "The new one", "password", required=True, minlength=8),
            typed("again", "The new one once more", "password", required=True, minlength=8),
        ),
    )
    return Sheet(title="Change your secret", content=content, path=addresses.OWN_SECRET, status=status)
