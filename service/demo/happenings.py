"""What happens to connectors in service: fitting, checks, rework, modification, renewal, retirement."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from service.core.entries import Kind
from service.demo import operator
from service.demo.story import Story

OVERRUN_SHARE, RENEWAL_SHARE, RETIREMENT_SHARE = 0.18, 0.33, 0.1
"""What people do when a cavity has no cycle left; otherwise they leave its contact where it is."""
ACCEPTED_SHARE = 0.06
"""Reworks that an inspector signs; each costs the connector a whole refold for every later act on an earlier one."""
CORRECTED_SHARE = 0.03
"""Reworks after which somebody takes a wrong entry back."""


def assemble(story: Story, at: datetime) -> None:
    """Contact by contact on the bench, each seating tested once it is in."""
    if not story.session(at, operator.BENCHES):
        return
    for name in story.cavities:
        story.seat(name)


def fit(story: Story, at: datetime, asset: str, position: operator.Position) -> None:
    """Onto the aircraft, and mated."""
    if story.session(at, operator.TABLETS):
        story.note(Kind.PLACEMENT, asset=asset, zone=position.zone, position=position.name)
        story.together()


def store(story: Story, at: datetime) -> None:
    """Into the store."""
    if story.session(at, operator.BENCHES):
        story.note(Kind.PLACEMENT, position=operator.STORE)


def check(story: Story, at: datetime) -> None:
    """A look inside on a scheduled check; now and then something is found that does not stop work."""
    if not story.session(at, operator.TABLETS):
        return
    story.apart()
    if story.rng.random() < 0.006:
        _noticed(story)
    story.together()


def _noticed(story: Story) -> None:
    seen = story.rng.choice(
        ("grommet scuffed at the wire", "insert face marked", "sealing plug missing, fitted new one")
    )
    finding = story.note(Kind.FINDING, cavity=story.pick(1)[0], note=seen, blocks=False)
    if story.rng.random() < 0.75:
        story.note(
            Kind.FINDING_CLOSED,
            cavity=finding.cavity,
            refers_to=finding.id,
            note="looked at again, good for further service",
            performed_by=story.rng.choice(operator.INSPECTORS),
        )


def rework(story: Story, at: datetime, names: Sequence[str] | None = None, order: str | None = None) -> None:
    """Contacts out and in again: one and geometrically fewer more, or all of them in a twentieth of all reworks."""
    if not story.session(at, operator.TABLETS + operator.BENCHES, order):
        return
    before = len(story.facts)
    story.apart()
    for name in names if names is not None else _cavities(story):
        if story.retired_at is None:
            cycle(story, name)
    if story.retired_at is not None:
        return
    _paperwork(story, before)
    story.together()


def _cavities(story: Story) -> list[str]:
    if story.rng.random() < 0.05:
        return [name for name, cavity in story.cavities.items() if not cavity.abandoned]
    count = 1
    while story.rng.random() < 0.5:
        count += 1
    return story.pick(count)


def cycle(story: Story, name: str) -> None:
    """One contact out and in, if its cavity has a cycle left; if not, somebody has to decide."""
    cavity = story.cavities[name]
    if cavity.abandoned:
        return
    if story.limit is not None and cavity.following > story.limit:
        _without_a_cycle(story, name)
        return
    if cavity.occupied:
        story.remove(name)
    story.seat(name)


def _without_a_cycle(story: Story, name: str) -> None:
    chance = story.rng.random()
    if chance < OVERRUN_SHARE:
        story.remove(name)
        story.seat(name)
        story.cavities[name].abandoned = True
    elif chance < OVERRUN_SHARE + RENEWAL_SHARE:
        renew(story, name)
    elif chance < OVERRUN_SHARE + RENEWAL_SHARE + RETIREMENT_SHARE:
        story.retire()
    else:
        story.cavities[name].abandoned = True


def renew(story: Story, name: str) -> None:
    """The tine is found weak, the retainer renewed, the finding closed, and the contact goes in again."""
    if story.cavities[name].occupied:
        story.remove(name)
    finding = story.note(Kind.FINDING, cavity=name, note="tine does not spring back fully", blocks=True)
    story.renew(name)
    story.note(Kind.FINDING_CLOSED, cavity=name, refers_to=finding.id, note="retainer renewed")
    story.seat(name)


def _paperwork(story: Story, before: int) -> None:
    done = next((each.entry for each in reversed(story.facts[before:]) if each.entry.kind is Kind.INSERTION), None)
    if done is None:
        return
    chance = story.rng.random()
    if chance < ACCEPTED_SHARE:
        inspector = story.rng.choice(operator.INSPECTORS)
        story.note(
            Kind.ACCEPTANCE, cavity=done.cavity, refers_to=done.id, accepted=True, performed_by=inspector, bench=None
        )
    elif chance < ACCEPTED_SHARE + CORRECTED_SHARE:
        twice = story.note(Kind.SEATING_TEST, cavity=done.cavity, held=True)
        story.note(Kind.CORRECTION, cavity=done.cavity, corrects=twice.id, note="entered twice by mistake, tested once")


def chase(story: Story, at: datetime, circuit: str) -> None:
    """Trouble-shooting: an intermittent circuit is opened once more, sometimes with another beside it."""
    if not story.cavities[circuit].abandoned:
        beside = [each for each in story.pick(1) if each != circuit] if story.rng.random() < 0.2 else []
        rework(story, at, [circuit, *beside])


def wear(story: Story, begins: datetime, insertions: int, every: timedelta) -> None:
    """A test set's adapter is worked until a cavity has had so many insertions, whatever its rating says."""
    name = next(iter(story.cavities))
    at = begins
    while story.cavities[name].insertions < insertions and story.session(at, operator.BENCHES):
        story.apart()
        if story.cavities[name].occupied:
            story.remove(name)
        story.insert(name)
        story.test(name, held=True)
        story.together()
        at += every
