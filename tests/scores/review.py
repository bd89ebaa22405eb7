"""The failure review as a whole: what it finds, what it only imagines, how far its limits hold, and how long it takes.

Fleets of tests/simulator/failing.py. Found: three planted problems among 26 part types stand first. False alarms: fleets in
which nothing differs. Limits: those that a study keeps. Time: from the record (SQLite, a file of its own) to findings.
"""

import os
import tempfile
import time
from collections.abc import Callable

import numpy as np

from services.review.found import INSPECT, NONE, STOP
from services.review.judge import Review, judge
from services.review.study import study
from tests.scores.goals import Goals
from tests.simulator.failing import PLANTED, WORN, FailingFleet, Plant, as_lives, failing_fleet, one_part

FLEETS, QUICK_FLEETS = 100, 10
NULLS, QUICK_NULLS = 200, 20
COVERED, QUICK_COVERED = 600, 150
SHAPE = 2.5
WEARS = Plant(part_type=14, shape=SHAPE)
BATCH_LIKE = frozenset({"batch", "firmware", "made_year", "maker"})


def main(options: list[str]) -> int:
    """Simulate fleets of 240 trikes and time records of 240 and 2,000. --quick: fewer fleets, wider goals, 240 only."""
    quick = "--quick" in options
    goals = Goals("review: 240 trikes, 26 part types, one process")
    _found(goals, QUICK_FLEETS if quick else FLEETS)
    _imagined(goals, QUICK_NULLS if quick else NULLS, quick)
    _limits(goals, QUICK_COVERED if quick else COVERED, 0.03 if quick else 0.0)
    _time(goals, (240,) if quick else (240, 2000))
    return goals.ended()


def _review(fleet: FailingFleet) -> Review:
    parts = as_lives(fleet)
    return judge(parts, [study(part, fleet.until, with_views=False) for part in parts])


def _found(goals: Goals, fleets: int) -> None:
    """A batch at 6 times, a slow wear-out and a version at twice the faults; each of some 20, 120 and 60 pieces."""
    planted = {plant.part_type for plant in PLANTED}
    first, named, whole = 0, 0, 0
    for seed in range(fleets):
        review = _review(failing_fleet(seed, plants=PLANTED))
        found = {one.part.part_type for one in review.judged if one.finding.action != NONE}
        first += planted == {one.part.part_type for one in review.judged[:3]}
        named += len(found & planted)
        whole += found == planted
    goals.at_least("planted problems named", named / (3 * fleets), 0.8)
    goals.say(f"{'fleets with the three first':<74}{first / fleets:>12.2f}")
    goals.say(f"{'fleets with these three named and no other':<74}{whole / fleets:>12.2f}")


def _imagined(goals: Goals, fleets: int, quick: bool) -> None:
    alarms, named = 0, 0
    for seed in range(fleets):
        review = _review(failing_fleet(10_000 + seed))
        told = [one for one in review.judged if one.finding.action != NONE]
        named += bool(told)
        alarms += any(
            reason.kind in BATCH_LIKE
            for one in told
            if one.finding.action in (INSPECT, STOP)
            for reason in one.finding.reasons
        )
    slack = 2 * (0.05 * 0.95 / fleets) ** 0.5 if quick else 0.0
    goals.at_most("reviews of nothing that blame a batch, version, year or maker", alarms / fleets, 0.05 + slack, 3)
    goals.say(f"{'reviews of nothing in which anything is to be done, watching included':<74}{named / fleets:>12.3f}")


def _limits(goals: Goals, fleets: int, slack: float) -> None:
    """90 % limits of what a study keeps, of a part type that wears out, given ten failures or more."""
    truths = {"shape": SHAPE, "life": WORN, "b10": _quantile(0.1), "b50": _quantile(0.5)}
    held: dict[str, list[bool]] = {name: [] for name in [*truths, "ahead"]}
    rng = np.random.default_rng(1)
    for seed in range(fleets):
        fleet = failing_fleet(20_000 + seed, trikes=120, plants=(WEARS,), kinds=("kingpin",))
        part = one_part(fleet, WEARS.part_type)
        found = study(part, fleet.until, with_views=False)
        if found.life.b10 is None or found.ahead is None:
            continue
        for name, truth in truths.items():
            held[name].append(getattr(found.life, f"{name}_low") <= truth <= getattr(found.life, f"{name}_high"))
        field = part.fitted
        chance = -np.expm1((part.age[field] / WORN) ** SHAPE - ((part.age + part.ahead)[field] / WORN) ** SHAPE)
        held["ahead"].append(found.ahead.low <= int((rng.random(len(chance)) < chance).sum()) <= found.ahead.high)
    for name in truths:
        goals.within(
            f"90 % limits hold the {name} ({len(held[name])} fleets)",
            float(np.mean(held[name])),
            0.87 - slack,
            0.93 + slack,
        )
    goals.at_least(
        "the year ahead came inside its range of nine in ten", float(np.mean(held["ahead"])), 0.87 - slack, 3
    )


def _quantile(share: float) -> float:
    return float(WORN * (-np.log1p(-share)) ** (1 / SHAPE))


def _time(goals: Goals, sizes: tuple[int, ...]) -> None:
    """Seconds from the record to findings that are stored; a second review of the same lives beside it."""
    with tempfile.TemporaryDirectory() as folder:
        os.environ |= {
            "TRACKER_DATA_DIR": folder,
            "DATABASE_URL": "",
            "REDIS_URL": "",
            "DJANGO_SETTINGS_MODULE": "tracker.settings.base",
        }
        import django

        django.setup()
        from django.core.management import call_command

        call_command("migrate", verbosity=0, interactive=False)
        for trikes in sizes:
            _timed(goals, trikes)


def _timed(goals: Goals, trikes: int) -> None:
    from datetime import UTC, datetime

    from tests.simulator.failing_rows import write_rows
    from tracker.actions.review import ask_for_review, begin_review, keep_review
    from tracker.models import Component, ReviewFinding
    from tracker.queries.review_reckoning import reckon

    now = datetime(2026, 5, 1, 10, 0, tzinfo=UTC)
    write_rows(failing_fleet(trikes, trikes=trikes, plants=PLANTED), name=f"T{trikes}-")

    def work() -> None:
        ask_for_review(now=now)
        run = begin_review(now=now)
        keep_review(run_id=run.pk, reckoned=reckon(now), now=now)

    first, again = _seconds(work), _seconds(work)
    rows, pieces = ReviewFinding.objects.count(), Component.objects.count()
    goals.say(f"{trikes:,} trikes, {pieces:,} pieces so far, {rows} findings; the same lives once more: {again:.1f} s")
    if trikes == 240:
        goals.at_most("seconds to review 240 trikes", first, 5.0)
    else:
        goals.say(f"{f'seconds to review {trikes:,} trikes more':<74}{first:>12.1f}")


def _seconds(work: Callable[[], None]) -> float:
    begun = time.process_time()
    work()
    return time.process_time() - begun
