"""What a handful of failures allows to be shown and said: four rungs, and verdicts in plain words.

0 failures: a bound, never a curve. 1 to 4: the cases, a rate with exact limits drawn to its sisters; one fitted shape in four
would be half as much again too high, so none is printed. 5 to 9: the survival curve, and the pattern in a word if its limits
allow one. From 10: the fitted life with likelihood-ratio limits. The rungs come from simulated fleets of 40 to 400 machines.
Numbers and the pattern's words come in, as other files of this room reckon them.
"""

from dataclasses import dataclass

import numpy as np

from services.life_data import trend, weibull_words
from services.life_data.counts import BadCounts, check_exposure

NONE, SOME, SEVERAL, MANY = "none", "some", "several", "many"


@dataclass(frozen=True)
class Rung:
    """What may be shown: bound (of the rate, no failure), cases (one by one), rate (with limits), survival (Kaplan-Meier),
    pattern (a word for the shape), life (the fitted curve and its B10), age_limit (a replacement age may be reckoned).
    """

    name: str
    bound: bool
    cases: bool
    rate: bool
    survival: bool
    pattern: bool
    life: bool
    age_limit: bool
    words: str


_RUNGS = (
    (0, Rung(NONE, True, False, False, False, False, False, False,
             "No failure yet: only a bound can be given, no curve and no life.")),
    (1, Rung(SOME, False, True, True, False, False, False, False,
             "Too few failures for a curve: look at the cases; the rate is uncertain and drawn to similar parts.")),
    (weibull_words.FEWEST, Rung(SEVERAL, False, True, True, True, True, False, False,
             "Enough for a survival curve and a word on the pattern, not for a fitted life.")),
    (10, Rung(MANY, False, True, True, True, True, True, True,
              "Enough for a fitted life with its limits.")),
)  # fmt: skip


@dataclass(frozen=True)
class Finding:
    """A group against the rest, ready for a sentence: counts of failed and fitted on both sides, ratio and its q."""

    failed: int
    fitted: int
    rest_failed: int
    rest_fitted: int
    ratio: float
    q: float


def rung(failures: int) -> Rung:
    """Return what this many failures allow. Raises BadCounts: below 0."""
    if failures < 0:
        raise BadCounts("Failures are not negative.", field="failures")
    return [step for least, step in _RUNGS if failures >= least][-1]


def rate_sentence(failures: int, parts: int, exposure: float, low: float, high: float, unit: str = "km") -> str:
    """Return what is known of a rate: per 10,000 km (per 1,000 of another unit), with limits low and high per unit.

    Without a failure only the bound is said; low is then not used. Raises BadCounts: no exposure.
    """
    check_exposure(exposure)
    per = 10_000 if unit == "km" else 1_000
    what = f"{_parts(parts)} over {exposure:,.0f} {unit}"
    if failures == 0:
        return f"No failure in {what}: at most {say_number(high * per)} per {per:,} {unit}."
    return (
        f"{_failures(failures)} in {what}: {say_number(failures / exposure * per)} per {per:,} {unit}"
        f" (between {say_number(low * per)} and {say_number(high * per)})."
    )


def life_sentence(
    failures: int, pattern: str, b10: float, low: float, high: float, oldest: float, unit: str = "km"
) -> str:
    """Return the pattern's sentence and, from ten failures, the age by which one in ten fails, with its limits.

    pattern: what the fitted shape says in words, said from five failures on. An age beyond the oldest part is named so.
    """
    step = rung(failures)
    if not step.pattern:
        return step.words
    if not step.life or not 0 < low <= high < np.inf:
        return pattern
    told = f"{pattern} One in ten fails by {say_number(b10)} {unit} (between {say_number(low)} and {say_number(high)})."
    return told if b10 <= oldest else f"{told} That is beyond the oldest part seen ({say_number(oldest)} {unit})."


def group_sentence(
    found: Finding, group: str, others: str, failed: str = "failed", most_q: float = 0.05, maybe_q: float = 0.10
) -> str:
    """Return the verdict on a group in one sentence, as "7 of 41 batch K shocks leaked; the other batches 2 of 160: ...".

    group: whose parts, after the numbers; others: who they are compared with. A q above `most_q` is not proven, one above
    `maybe_q` is what chance would do.
    """
    told = f"{found.failed} of {found.fitted} {group} {failed}; {others} {found.rest_failed} of {found.rest_fitted}: "
    if found.q > maybe_q:
        return f"{told}chance alone would do that ({_q(found.q)})."
    if found.q > most_q:
        return f"{told}{_times(found.ratio)}, but it may still be chance ({_q(found.q)})."
    return f"{told}{_times(found.ratio)}, {_q(found.q)}."


def trend_sentence(words: str, repairs: int, machines: int) -> str:
    """Return how a stream of repairs goes, from the words of `trend.trend`."""
    what = f"{repairs} repairs on {_machines(machines)}"
    return {
        trend.BETTER: f"{what}: they come more and more rarely.",
        trend.WORSE: f"{what}: they come more and more often.",
        trend.TOO_FEW: f"{what}: too few to tell a trend.",
    }.get(words, f"{what}: no trend can be told.")


def ahead_sentence(expected: float, low: int, high: int, hold: int, months: int = 12) -> str:
    """Return what to expect in the months ahead and what to hold for it."""
    return f"Expect {say_number(expected)} failures in the next {months} months ({low} to {high}); hold {hold}."


def warning_sentence(name: str, seen: int, expected: float, false_alarms_a_year: float) -> str:
    """Return the early warning for what was named, with how often such a warning is false."""
    return (
        f"{name}: {_failures(seen).lower()} this month where {say_number(expected)} were expected. Of all warnings together about"
        f" {say_number(false_alarms_a_year)} a year is false."
    )


def _times(ratio: float) -> str:
    if not np.isfinite(ratio):
        return "only these failed"
    return f"{say_number(ratio)} times the rate"


def _q(q: float) -> str:
    return f"q = {q:.1g}" if q >= 0.0001 else "q below 0.0001"


def _parts(parts: int) -> str:
    return "1 part" if parts == 1 else f"{parts:,} parts"


def _failures(count: int) -> str:
    return "1 failure" if count == 1 else f"{count:,} failures"


def _machines(count: int) -> str:
    return "1 machine" if count == 1 else f"{count:,} machines"


def say_number(value: float) -> str:
    """Return a number with the two digits that count, from 100 on with thousands marked; no more is known of it."""
    if value <= 0:
        return "0"
    digits = 1 - int(np.floor(np.log10(value)))
    return f"{round(value, digits):,.{max(digits, 0)}f}"
