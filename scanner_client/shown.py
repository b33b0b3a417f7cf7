"""How states, plans and ages are put for people and scripts: the wire's shapes from the rule's values. Pure."""

from datetime import timedelta

from service import messages, views
from service.core import plans
from service.core.states import ConnectorState
from service.messages import Snapshot

_UNITS = ((86_400, "day", "days"), (3_600, "hour", "hours"), (60, "minute", "minutes"))


def age(span: timedelta) -> str:
    """A span of time as people say it: `3 hours`."""
    seconds = max(int(span.total_seconds()), 0)
    for size, one, many in _UNITS:
        if seconds >= size:
            return count(seconds // size, one, many)
    return "less than a minute"


def count(number: int, one: str, many: str) -> str:
    """A number with its noun."""
    return f"{number} {one if number == 1 else many}"


def rating(snapshot: Snapshot) -> messages.RatingView | None:
    """The rating with its provenance and the cycle from which it warns."""
    return views.rating(snapshot.definition.rating, snapshot.definition.nearing_fraction, snapshot.house)


def cavities(snapshot: Snapshot, state: ConnectorState) -> tuple[messages.CavityView, ...]:
    """Every cavity as it stands, in the order of the definition."""
    return views.Shown(snapshot.definition, snapshot.house).cavities(state)


def connector(snapshot: Snapshot, state: ConnectorState) -> messages.ConnectorView:
    """The connector as it stands. The chain is the service's, so there is no hash."""
    return views.connector(snapshot.definition, state, snapshot.house, snapshot.entries, "")


def plan(snapshot: Snapshot, made: plans.Plan, cautions: tuple[messages.CautionView, ...]) -> messages.PlanView:
    """A plan answered, in the shape in which the service answers it."""
    return views.plan(snapshot.definition, made, snapshot.house, cautions)


def line(snapshot: Snapshot) -> messages.ConnectorLine:
    """A connector in a list, from what is kept of it here."""
    return views.line(snapshot.definition, snapshot.state, snapshot.house)
