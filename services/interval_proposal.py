"""From a finding of the review to an interval to propose: replace at an age, or run it and inspect, with the reasons in words.

An age is proposed only where the limits of the shape bear out that parts wear out, where the limits of B10 are close enough to
plan by, and where the plan saves enough (services/life_data/replacement_age). On a part that somebody's safety hangs on neither
the maker's limit nor the interval in use is ever lengthened: here, and again when a proposal is accepted.
"""

from dataclasses import dataclass

import numpy as np

from services.errors import Refusal
from services.life_data.ladder import say_number
from services.life_data.replacement_age import LEAST_SAVING, Optimum, optimum, propose_interval
from services.review.found import METRICS, LifeFound
from services.review.judge import FAILURE, PLANNED
from services.units import say_share

WIDEST = 5.0  # limits of B10 farther apart than this are no plan (methods of life data; common practice, no source)
MOST_COST = 1e7
SHAKY = 0.05  # share of the draws of a fit without an optimum from which that is said


class Lengthens(Refusal):
    """An interval longer than the maker's, or than the one in use, on a part that safety hangs on."""

    code = "interval-lengthens"


class BadCosts(Refusal):
    """Costs that cannot be: nothing or less, or too much to be one."""

    code = "bad-costs"


@dataclass(frozen=True)
class Costs:
    """What a planned change and a failure cost, in any one currency or in hours: only their ratio counts."""

    planned: float = PLANNED
    failure: float = FAILURE


@dataclass(frozen=True)
class Standing:
    """What limits the part now, in the unit of the finding: interval in use and the maker's limit; None: none known."""

    now: float | None = None
    maker: float | None = None
    safety: bool = False

    @property
    def ceiling(self) -> float | None:
        """What a new interval may not pass; None where nothing holds it."""
        limits = [limit for limit in (self.now, self.maker) if limit is not None]
        return min(limits) if self.safety and limits else None


@dataclass(frozen=True)
class IntervalProposal:
    """interval: the age to set, None: leave things as they are. headline: what to do; reasons: why, a sentence each.

    best: the reckoned optimum with its ranges, None where none was to be reckoned.
    """

    interval: float | None
    headline: str
    reasons: tuple[str, ...]
    best: Optimum | None = None


def propose(life: LifeFound, metric: str, costs: Costs, standing: Standing, oldest: float = 0.0) -> IntervalProposal:
    """Return what to propose for a part type whose life was found to be `life`, in the metric's unit. Raises BadCosts.

    oldest: the oldest piece seen. Below ten failures, where no life was fitted, and where one group fails far more than the
    rest, no age is ever proposed.
    """
    _check(costs)
    unit = METRICS[metric]
    if life.shape is None or life.life is None or life.shape_low is None or life.mixed:
        return _stay([life.mixed or life.rung_words], standing, unit)
    covariance = np.array(life.covariance) if life.covariance else None
    best = optimum(life.shape, life.life, costs.planned, costs.failure, covariance)
    reasons = [life.pattern_words, _shape_words(life)]
    if against := _against_any_age(life, unit):
        return _stay([*reasons, against], standing, unit, best)
    reasons += [_cost_words(costs), *_best_words(best, unit)]
    found = propose_interval(best, life.shape_low, unit, standing.now, standing.maker, standing.safety)
    if found.interval is None:
        return _unchanged(best, reasons, standing, unit)
    return _replaced(found.interval, best, reasons, standing, unit, oldest)


def _against_any_age(life: LifeFound, unit: str) -> str:
    """Why no age may be named, whatever it would save; '' where one may."""
    if life.shape_low is not None and life.shape_low <= 1.0:
        return "While the limits of the shape reach down to 1, age may make no difference: an age would be a guess."
    if life.b10_low is None or life.b10_high is None:
        return "Nothing bounds the age by which one in ten fails: no plan can rest on it."
    if life.b10_high > WIDEST * max(life.b10_low, 1e-9):
        reach = f"{say_number(life.b10_low)} and {say_number(life.b10_high)} {unit}"
        return f"One in ten fails between {reach}: too wide to plan by."
    return ""


def check_accepted(interval: float, standing: Standing, unit: str) -> None:
    """Raise Lengthens where an interval to be set is longer than safety allows."""
    ceiling = standing.ceiling
    if ceiling is not None and interval > ceiling:
        raise Lengthens(
            f"On a part that safety hangs on a limit is never lengthened: {ceiling:,.0f} {unit} stands.", field="interval",
            remedy=f"Set {ceiling:,.0f} {unit} or less.",
        )  # fmt: skip


def _check(costs: Costs) -> None:
    for field, cost in (("planned", costs.planned), ("failure", costs.failure)):
        if not 0 < cost <= MOST_COST:
            raise BadCosts(
                "Both changes cost something.", field=field, remedy="Give a cost above 0, of both in one unit."
            )


def _shape_words(life: LifeFound) -> str:
    high = "no upper limit" if life.shape_high is None else f"{life.shape_high:.2f}"
    return (
        f"Shape {life.shape:.2f}, nine in ten between {life.shape_low:.2f} and {high}; above 1 the old fail more often."
    )


def _cost_words(costs: Costs) -> str:
    ratio = costs.failure / costs.planned
    return f"Reckoned with a failure that costs {ratio:.3g} times a planned change."


def _best_words(best: Optimum, unit: str) -> list[str]:
    if not np.isfinite(best.age):
        return ["At these costs no age is best: a failure must cost clearly more than a planned change."]
    told = [
        f"Cheapest at {say_number(best.age)} {unit}, and within 5 % of that from {say_number(best.flat_from)} to"
        f" {say_number(best.flat_until)} {unit}: {say_share(best.saving)} less than running to failure."
    ]
    if np.isfinite(best.high) and best.high > best.low:
        told.append(f"With the fit as unsure as it is, the cheapest age lies between {say_number(best.low)} and"
                    f" {say_number(best.high)} {unit}, nine in ten.")  # fmt: skip
    if best.share_without > SHAKY:
        told.append(f"In {say_share(best.share_without)} of the lives that fit the data no age is best.")
    return told


def _kept(standing: Standing, unit: str) -> tuple[str, ...]:
    told = []
    if standing.maker is not None:
        told.append(f"The maker's limit of {standing.maker:,.0f} {unit} stays.")
    if standing.now is not None:
        told.append(f"In use now: {standing.now:,.0f} {unit}.")
    return tuple(told)


def _stay(reasons: list[str], standing: Standing, unit: str, best: Optimum | None = None) -> IntervalProposal:
    return IntervalProposal(None, "No age limit justified: inspect and run.", (*reasons, *_kept(standing, unit)), best)


def _unchanged(best: Optimum, reasons: list[str], standing: Standing, unit: str) -> IntervalProposal:
    """Nothing to set: it saves too little, or safety holds what stands."""
    if not np.isfinite(best.age) or best.saving < LEAST_SAVING:
        if np.isfinite(best.age):
            reasons.append(f"A plan that saves less than {say_share(LEAST_SAVING)} is not worth its trouble.")
        return _stay(reasons, standing, unit, best)
    headline = (
        f"Leave it at {standing.ceiling:,.0f} {unit}: on a part that safety hangs on a limit is never lengthened."
    )
    return IntervalProposal(None, headline, tuple(reasons), best)


def _replaced(
    interval: float, best: Optimum, reasons: list[str], standing: Standing, unit: str, oldest: float
) -> IntervalProposal:
    if standing.maker is not None and interval > standing.maker:
        reasons.append(f"The maker says {standing.maker:,.0f} {unit}: ask before going beyond it.")
    if standing.now is not None:
        reasons.append(f"In use now: {standing.now:,.0f} {unit}.")
    if oldest and interval > oldest:
        reasons.append(f"No piece has reached that age yet; the oldest ran {say_number(oldest)} {unit}.")
    return IntervalProposal(interval, f"Replace at {interval:,.0f} {unit}.", tuple(reasons), best)
