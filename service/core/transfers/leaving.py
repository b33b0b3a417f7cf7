"""A connector that has left: its ledger stays as it is, but nothing of it is anybody's work here any more."""

from copy import copy

from service.core.states import ConnectorState


def closed(state: ConnectorState) -> ConnectorState:
    """The state as those are to see it who answer plans or list what is due: like retired, and with nothing open."""
    whole, cavities = copy(state.whole), [copy(each) for each in state.cavities]
    whole.retired = True
    whole.discrepancies = ()
    for each in cavities:
        each.discrepancies = ()
    return type(state)(whole=whole, cavities=tuple(cavities))
