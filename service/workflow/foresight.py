"""One connector's outlook, and that of a planned modification, worked out from what is on the books now."""

from datetime import datetime
from uuid import UUID

from service import outlook_messages as messages
from service.core.entries import HouseRule
from service.store.database import Connection


async def connector(
    connection: Connection, house: HouseRule, connector: UUID, now: datetime
) -> messages.ConnectorOutlook:
    """One connector's outlook with the priors of the newest run.

    Raises the problem where the connector is not on the books, or no outlook was computed yet.
    """
    raise NotImplementedError


async def what_if(
    connection: Connection, house: HouseRule, asked: messages.WhatIf, now: datetime
) -> messages.WhatIfView:
    """What a modification would change. Raises the problem where no outlook was computed yet, or it meets too many connectors."""
    raise NotImplementedError
