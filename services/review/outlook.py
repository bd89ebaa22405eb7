"""Failures by month against those expected, the early warning of the last full month, and what the next 12 months bring."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from services.life_data import ladder
from services.life_data.lives import Array, observed
from services.life_data.replacement_age import look_ahead
from services.life_data.warning import expected_failures, likely_range, likely_ranges, most_with, spread_of_expected
from services.life_data.weibull import Weibull
from services.review.found import AheadFound, EarlyWarning, Month
from services.review.lifelook import fitted_or_none
from services.review.observed import MONTHS, PartLives

FEWEST_TO_FIT = 10  # failures below which a rate serves
JEFFREYS = 0.5  # failures that stand for what was known before any (Jeffreys' prior of a rate)


@dataclass(frozen=True)
class _Pace:
    """What lets expect failures: a fitted life, or a rate with the failures it rests on."""

    fitted: Weibull | None
    failures: float
    exposure: float

    def expected(self, part: PartLives, age: Array, further: Array) -> tuple[float, float]:
        """Failures expected while each piece at `age` goes `further`, and the spread of their logarithm."""
        some = further > 0
        if self.fitted is None:
            return self._by_rate(float(further[some].sum()))
        shape, life, spread = self.fitted.shape, self.fitted.life, self.fitted.covariance
        old = some & part.known
        by_age = expected_failures(shape, life, age[old], further[old])
        unsure = spread_of_expected(shape, life, spread, age[old], further[old])
        return by_age + self._by_rate(float(further[some & ~part.known].sum()))[0], unsure

    def _by_rate(self, further: float) -> tuple[float, float]:
        if self.exposure <= 0:
            return 0.0, 0.0
        seen = self.failures + JEFFREYS
        return seen / self.exposure * further, float(np.sqrt(np.log1p(1.0 / seen)))


def _pace(part: PartLives, fitted: Weibull | None) -> _Pace:
    carried = fitted if fitted is not None and fitted.failures >= FEWEST_TO_FIT else None
    return _Pace(carried, float(part.failed.sum()), float(part.run.sum()))


def months_of(part: PartLives, fitted: Weibull | None, until: date) -> list[Month]:
    """Return the last 12 full months, oldest first, and the running one, which is not complete and has no expectation."""
    pace, steps = _pace(part, fitted), np.diff(part.at_month, axis=1)
    expected = [pace.expected(part, part.at_month[:, at], steps[:, at]) for at in range(MONTHS)]
    counts, spreads = np.array(expected).T
    low, high = likely_ranges(counts, spreads)
    rows = [
        Month(
            _month(until, MONTHS - at).isoformat(), int(np.count_nonzero(part.month == MONTHS - 1 - at)), float(counts[at]),
            int(low[at]), int(high[at]), True,
        )
        for at in range(MONTHS)
    ]  # fmt: skip
    return [*rows, Month(until.isoformat(), part.running, None, None, None, False)]


def warning_of(part: PartLives, until: date) -> EarlyWarning | None:
    """Return the last full month beside what the life until its start lets expect; None when nothing ran in it.

    The month's own failures are no part of what it is judged by.
    """
    start, end = part.at_month[:, MONTHS - 1], part.at_month[:, MONTHS]
    if not (end > start).any():
        return None
    now = part.month == 0
    before = replace(part, end=np.where(end > start, start, part.end), failed=part.failed & ~now)
    before = replace(before, last_good=np.where(now, np.nan, part.last_good))
    lives = before.known & (before.end > before.entry)
    fitted = None
    if (before.failed & lives).sum() >= FEWEST_TO_FIT:
        fitted = fitted_or_none(
            observed(
                before.end[lives], before.failed[lives], entry=before.entry[lives], last_good=before.last_good[lives]
            )
        )
    count, spread = _pace(before, fitted).expected(part, start, end - start)
    batch = _one_batch(part.groups["batch"][now]) if "batch" in part.groups else ""
    return EarlyWarning(_month(until, 1).isoformat(), int(now.sum()), count, spread, batch=batch)


def _one_batch(batches: Array) -> str:
    """The batch of at least half of a month's failures, two or more; '' where there is none."""
    names, counts = np.unique(batches, return_counts=True)
    if not len(names):
        return ""
    most = int(np.argmax(counts))
    return str(names[most]) if counts[most] >= 2 and 2 * counts[most] >= len(batches) else ""


def ahead_apart(parts: Sequence[PartLives]) -> AheadFound | None:
    """Return the same for groups that fail by different laws: each by its own life or rate, together in one number."""
    counts, errors = [], []
    for part in parts:
        field = part.fitted & (part.ahead > 0)
        lives = part.lives()
        fitted = fitted_or_none(lives) if lives.parts else None
        count, spread = _pace(part, fitted).expected(part, part.age, np.where(field, part.ahead, 0.0))
        counts.append(count)
        errors.append(count * spread)
    total = float(sum(counts))
    if total <= 0:
        return None
    spread = float(np.hypot.reduce(errors)) / total
    found = (total, *likely_range(total, spread), most_with(total, 0.95, spread))
    return AheadFound(*found, ladder.ahead_sentence(*found))


def ahead_of(part: PartLives, fitted: Weibull | None) -> AheadFound | None:
    """Return what the next 12 months let expect of the pieces in the field; None when none is there to run."""
    field = part.fitted & (part.ahead > 0)
    if not field.any():
        return None
    pace = _pace(part, fitted)
    if pace.fitted is not None and part.known[field].all():
        ahead = look_ahead(
            pace.fitted.shape, pace.fitted.life, part.age[field], part.ahead[field], pace.fitted.covariance
        )
        found = (ahead.expected, ahead.low, ahead.high, ahead.hold)
    else:
        count, spread = pace.expected(part, part.age, np.where(field, part.ahead, 0.0))
        found = (count, *likely_range(count, spread), most_with(count, 0.95, spread))
    return AheadFound(*found, ladder.ahead_sentence(*found))


def _month(until: date, back: int) -> date:
    """The first day of the month so many before that of `until`."""
    months = until.year * 12 + until.month - 1 - back
    return date(months // 12, months % 12 + 1, 1)
