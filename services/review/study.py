"""What one part type shows by itself, in one metric: everything that is slow to reckon and stays while its lives stay."""

from dataclasses import replace
from datetime import date

import numpy as np
from scipy.special import bdtrc

from services.failures import MODES
from services.life_data import ladder, trend
from services.life_data.lives import Array
from services.life_data.recurrence import histories, mean_repairs
from services.review.compare import compared, most_on_one, pieces_of
from services.review.found import Counts, Machines, Repairs, Study, View
from services.review.lifelook import CONFIDENCE, MOST_POINTS, counts_of, life_of, rate_of, survival_of
from services.review.observed import DIMENSIONS, PartLives, Streams
from services.review.outlook import ahead_of, months_of, warning_of

MOST_VIEWS = 12  # batches told apart by themselves: those with most pieces
FEWEST_ON_ONE = 2  # failures on one trike from which it is looked at


def study(part: PartLives, until: date, with_views: bool = True) -> Study:
    """Return what the lives of a part type show; until: the first day that no longer counts, of a month.

    with_views: also each mode and each batch by itself.
    """
    everything = np.ones(len(part.component), dtype=bool)
    counts, lives = counts_of(part, everything), part.lives()
    life, fitted = life_of(lives, counts, part.metric)
    pieces = pieces_of([part])
    return Study(
        counts=counts,
        rate=rate_of(counts, part.metric),
        life=life,
        survival=survival_of(lives),
        repairs=repairs_of(part.streams),
        comparisons=[
            found for name in DIMENSIONS if name in part.groups for found in compared(pieces, name, part.groups[name])
        ],
        months=months_of(part, fitted, until),
        warning=warning_of(part, until),
        ahead=ahead_of(part, fitted),
        machines=machines_of(part),
        views=[*_modes(part), *_batches(part)] if with_views else [],
    )


def repairs_of(streams: Streams) -> Repairs:
    """Return the mean number of repairs per position and its trend; the trike's clock never restarts."""
    watched = streams.end > streams.start
    if not watched.any() or not len(streams.age):
        return Repairs(machines=int(watched.sum()))
    seen = histories(streams.end, streams.machine, streams.age, streams.start)
    curve, moved = mean_repairs(seen), trend.trend(seen)
    low, high = curve.limits(CONFIDENCE)
    kept = np.arange(curve.shown)
    if len(kept) > MOST_POINTS:
        kept = np.unique(np.linspace(0, len(kept) - 1, MOST_POINTS).round().astype(int))
    told = moved.words != trend.TOO_FEW
    return Repairs(
        len(streams.end), len(streams.age), curve.age[kept].tolist(), curve.watched[kept].tolist(),
        curve.mean[kept].tolist(), low[kept].tolist(), high[kept].tolist(), moved.words,
        max(moved.laplace_p, moved.chi_square_p) if told else None,
        ladder.trend_sentence(moved.words, moved.repairs, len(streams.end)),
    )  # fmt: skip


def machines_of(part: PartLives) -> Machines:
    """Return whether one trike has more of the failures than chance would put there.

    p: chance that any trike has at least so many, each failure falling on a trike by its share of what ran (at most; the sum
    over trikes of binomial tails).
    """
    failures = int(part.failed.sum())
    machines, most, worst = most_on_one(part.machine[part.failed])
    if most < FEWEST_ON_ONE or part.run.sum() <= 0:
        return Machines(failures, machines, most, worst, None, "")
    _, row = np.unique(part.machine, return_inverse=True)
    share = np.bincount(row, part.run) / part.run.sum()
    p = float(min(np.sum(bdtrc(most - 1, failures, np.minimum(share, 1.0))), 1.0))
    odd = " More than chance puts on one: look at that trike and its use before blaming the part." if p <= 0.05 else ""
    return Machines(failures, machines, most, worst, p, f"{most} of {failures} failures on one trike.{odd}")


def _modes(part: PartLives) -> list[View]:
    """Each way of failing asked alone, where there are several: what failed otherwise had survived this one until then."""
    codes = sorted(set(part.mode[part.failed].tolist()) - {""})
    if len(codes) < 2:
        return []
    everything = np.ones(len(part.component), dtype=bool)
    return [view(part, f"mode:{code}", MODES.get(code, code), everything, code) for code in codes]


def _batches(part: PartLives) -> list[View]:
    names, row, sizes = np.unique(part.groups["batch"], return_inverse=True, return_counts=True)
    order = [at for at in np.argsort(-sizes, kind="stable") if names[at]]
    failed = np.bincount(row, part.failed, len(names))
    if len(order) < 2:
        return []
    return [view(part, f"batch:{names[at]}", str(names[at]), row == at) for at in order[:MOST_VIEWS] if failed[at]]


def view(part: PartLives, key: str, title: str, rows: Array, mode: str | None = None) -> View:
    """Return some pieces (n, bool) asked alone, or all about one way of failing."""
    counts = counts_of(part, rows)
    if mode is not None:
        failed = part.failed & (part.mode == mode)
        counts = _with_failed(counts, failed, part)
    lives = part.lives(rows, mode)
    life, _ = life_of(lives, counts, part.metric)
    return View(key, title, counts, rate_of(counts, part.metric), life, survival_of(lives))


def _with_failed(counts: Counts, failed: Array, part: PartLives) -> Counts:
    return replace(
        counts,
        failed=int(failed.sum()),
        repairs=int(part.repairs[failed].sum()),
        between=int((failed & ~np.isnan(part.last_good)).sum()),
    )
