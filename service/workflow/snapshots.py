"""What a bench takes along of a connector: all that it needs to answer and to draw while the service is away."""

from datetime import datetime

import asyncpg

from service import messages, views
from service.core.entries import HouseRule
from service.core.transfers import leaving
from service.store.ledger import Head
from service.workflow.reference import Reference


async def take(
    pool: asyncpg.Pool, head: Head, reference: Reference, house: HouseRule, at: datetime
) -> messages.Snapshot:
    """The inputs of the rule, the drawing of the insert, the contacts and the cautions."""
    known = head.definition
    contacts = reference.contacts(known)
    drawn = await reference.layouts.drawn(pool, reference.arrangement(known), [each.id for each in known.cavities])
    return messages.Snapshot(
        definition=known,
        # A bench that is offline knows retired connectors: it answers no_go to everything.
        state=leaving.closed(head.state) if head.handed_over else head.state,
        house=house,
        tooling=reference.tooling(known),
        entries=head.entries,
        as_of=at,
        drawing=views.drawing(drawn.layout, contacts.sex, drawn.source),
        cautions=reference.kept_cautions(known),
        contacts=contacts.fitting,
        other_contacts=contacts.others,
    )
