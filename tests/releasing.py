"""Releasing a card in tests that are about something else: every line passed."""

from tests import factories as make
from tracker.actions.release import LineAnswer, sign_release
from tracker.models import JobCard, User
from tracker.queries.release import release_of

PARTS = {
    "frame": "frame", "chain": "chain", "rear-hub": "hub_geared", "brake-left": "brake", "brake-right": "brake",
    "rear-shock": "air_shock",
}  # fmt: skip


def passed(card: JobCard) -> dict[str, LineAnswer]:
    """Every line that the card's work demands, answered with yes."""
    return {line.code: LineAnswer(True) for line in release_of(JobCard.objects.get(pk=card.pk)).lines}


def release_if_demanded(card: JobCard, now, by: User | None = None) -> JobCard:
    """Sign the release where the card's work demands one; return the card as it stands."""
    card = JobCard.objects.get(pk=card.pk)
    if release_of(card).is_missing:
        by = by or make.UserFactory()
        sign_release(card_id=card.pk, version=None, answers=passed(card), by=by, now=now)
        card.refresh_from_db()
    return card


def card_on_the_bench(**values) -> JobCard:
    """A draft of a delivered, owned trike with frame, chain, hub, shock and two brakes, its odometer read."""
    owner = values.pop("owner", None) or make.OwnerFactory()
    trike = make.OwnershipFactory(owner=owner).trike
    for position, kind in PARTS.items():
        part = make.ComponentFactory(part_type__kind=kind, state="fitted", serial=f"{position}-{trike.pk}".upper())
        make.FitmentFactory(trike=trike, component=part, position=position)
    reading = make.OdometerReadingFactory(trike=trike, value=2100, read_at=make.NOW)
    return make.JobCardFactory(trike=trike, reading=reading, **values)


def part_of(card: JobCard, position: str):
    """The component that sits in a position now."""
    return card.trike.fitments.current().get(position=position).component


def done(card: JobCard, position: str, task: str) -> None:
    """Put a task on the card as done."""
    make.JobTaskFactory(card=card, component=part_of(card, position), task=task, outcome="done")


def swapped(card: JobCard, position: str, kind: str, **values):
    """Plan a swap of what sits in a position for a new piece; return the new piece."""
    new = make.ComponentFactory(part_type__kind=kind)
    make.SwapFactory(
        card=card,
        position=position,
        old_component=part_of(card, position),
        new_component=new,
        fate="scrapped",
        **values,
    )
    return new
