"""A small fleet whose failures are known, reviewed as the night does it: for pages that show what was found."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from tests import factories as make
from tracker.actions.review import ask_for_review, begin_review, keep_review
from tracker.models import Component, PartType, ReviewRun, Trike
from tracker.queries.review_reckoning import reckon

BAD, GOOD = "K24", "K25"
KM_A_MONTH = 150.0


@dataclass
class Reviewed:
    """A part type with a batch that leaks early, a sister that fails now and then, one that never failed, and the trikes."""

    part_type: PartType
    sister: PartType
    sound: PartType
    worn: PartType
    trikes: list[Trike]
    run: ReviewRun


def fleet(now: datetime, *, bad: int = 9, good: int = 2, size: int = 24, worn: int = 0) -> Reviewed:
    """Make `size` trikes of two years, every second with a shock of the bad batch; the first of each batch failed, and review.

    worn: so many idlers wore out, all late in their second year.
    """
    shock = make.PartTypeFactory(kind="air_shock", part_number="SH-1", name="Air shock, one")
    sister = make.PartTypeFactory(kind="air_shock", part_number="SH-2", name="Air shock, two")
    sound = make.PartTypeFactory(kind="chain", part_number="CH-1", name="Chain, one")
    idler = make.PartTypeFactory(kind="idler", part_number="ID-1", name="Idler, one")
    begun = now - timedelta(days=700)
    trikes, left = [], {BAD: bad, GOOD: good}
    for number in range(size):
        trike = make.TrikeFactory(
            frame_serial=f"F24-{number:04d}", plate=f"LT-R{number:03d}", delivered_on=begun.date()
        )
        for month in (6, 12, 18, 22):
            make.OdometerReadingFactory(
                trike=trike, value=KM_A_MONTH * month, read_at=begun + timedelta(days=30.4 * month)
            )
        batch = BAD if number % 2 else GOOD
        part = fitted(trike, shock, "rear-shock", begun, serial=f"S-{number:04d}", batch=batch)
        beside = fitted(trike, sister, "spare-shock", begun, serial=f"T-{number:04d}", batch="Z1")
        fitted(trike, sound, "chain", begun, serial=f"C-{number:04d}", batch="Y1")
        if left[batch]:
            left[batch] -= 1
            leaks(part, trike, begun + timedelta(days=20 + 17 * number), number)
        turning = fitted(trike, idler, "idler-power", begun, serial=f"I-{number:04d}", batch="X1") if worn else None
        if turning and number < worn:
            leaks(turning, trike, begun + timedelta(days=480 + 12 * number), 700 + number, "wear")
        if number % 4 == 2:
            leaks(beside, trike, begun + timedelta(days=60 + 20 * number), 500 + number, "noise")
        trikes.append(trike)
    return Reviewed(shock, sister, sound, idler, trikes, reviewed(now))


def fitted(trike: Trike, part_type: PartType, position: str, since: datetime, **values: str) -> Component:
    """Fit a new piece to a trike."""
    part = make.ComponentFactory(part_type=part_type, state="fitted", **values)
    make.FitmentFactory(component=part, trike=trike, position=position, fitted_at=since)
    return part


def leaks(part: Component, trike: Trike, at: datetime, number: int, mode: str = "leakage") -> None:
    """Let a piece fail, with the card that tells of it."""
    card = make.JobCardFactory(
        trike=trike, number=f"J24-{number:05d}", worked_at=at, complaint="Sinks after a day.", cause="Rod seal rolled.",
        correction="Seal kit fitted.",
    )  # fmt: skip
    make.FailureFactory(
        card=card, component=part, trike=trike, mode=mode, cause="material", found="owner", happened_at=at
    )


def reviewed(now: datetime) -> ReviewRun:
    """Reckon the review as the worker does."""
    ask_for_review(now=now)
    run = begin_review(now=now)
    return keep_review(run_id=run.pk, reckoned=reckon(now), now=now)
