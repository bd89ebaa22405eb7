"""What planning visits together saves a fleet: trips per owner and year, against the life thrown away."""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from services.visits import PlannedVisit, VisitTask

YEAR = 365.0


@dataclass(frozen=True)
class Savings:
    """Trips of all trikes in the span, each due day on its own and as planned, and what that costs in life."""

    trips_alone: int
    trips_planned: int
    saved_per_owner_year: float
    wasted_days: int  # that tasks are done before their likeliest due day, summed
    wasted_days_per_task: float
    wasted_share: float  # of the intervals of those tasks whose interval is known


def savings(
    tasks: Mapping[Hashable, Sequence[VisitTask]], plans: Mapping[Hashable, Sequence[PlannedVisit]], span_days: float
) -> Savings:
    """Return what `plans` (trike -> visits of the coming `span_days`) save against one trip per due day.

    Only tasks that a plan holds are counted; tasks of a trike that fall due on one day are one trip. One owner per trike.
    """
    if span_days <= 0:
        raise ValueError("the span must be longer than no days")
    alone = planned = done = wasted = known_wasted = 0
    intervals = 0.0
    for trike, visits in plans.items():
        by_key = {task.key: task for task in tasks[trike]}
        planned += len(visits)
        alone += len({by_key[key].due_on for visit in visits for key in visit.keys})
        for visit in visits:
            for key in visit.keys:
                early = _early(by_key[key].due_on, visit.on)
                done, wasted = done + 1, wasted + early
                if by_key[key].interval_days:
                    intervals, known_wasted = intervals + by_key[key].interval_days, known_wasted + early
    years = len(tasks) * span_days / YEAR
    return Savings(
        alone, planned, (alone - planned) / years if years else 0.0, wasted, wasted / done if done else 0.0,
        known_wasted / intervals if intervals else 0.0,
    )  # fmt: skip


def _early(due_on: date, on: date) -> int:
    return max((due_on - on).days, 0)
