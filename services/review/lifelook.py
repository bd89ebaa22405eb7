"""How long pieces of a part type live: rate, fitted life, survival curve, each only as far as the failures carry it."""

import numpy as np
from scipy.special import ndtr

from services.life_data import few_failures, ladder, weibull_words
from services.life_data.lives import Array, Lives
from services.life_data.survival import kaplan_meier
from services.life_data.turnbull import NoCurve, turnbull
from services.life_data.weibull import NoFiniteFit, Weibull, b_life, fit
from services.life_data.weibull_check import goodness_of_fit
from services.life_data.weibull_likelihood import slopes
from services.life_data.weibull_limits import Range, likelihood_limits
from services.life_data.weibull_plot import plotted
from services.review.found import Counts, LifeFound, Rate, Survival
from services.review.observed import PartLives, halved

CONFIDENCE = 0.90
MOST_POINTS = 200  # of a curve that is kept
MOST_LOOKED_AT = 2_000  # lives beyond which the curve for looks takes seconds


def counts_of(part: PartLives, rows: Array) -> Counts:
    """Return how many pieces, failures and how much exposure stand behind what is said of these rows (n, bool)."""
    oldest = part.age[rows & part.known]
    return Counts(
        parts=int(rows.sum()),
        fitted=int(part.fitted[rows].sum()),
        failed=int(part.failed[rows].sum()),
        repairs=int(part.repairs[rows].sum()),
        exposure=float(part.run[rows].sum()),
        unknown_life=int((~part.known[rows]).sum()),
        between=int((~np.isnan(part.last_good[rows])).sum()),
        oldest=float(oldest.max(initial=0.0)),
        accidents=int(part.accidents[rows].sum()),
    )


def rate_of(counts: Counts, unit: str) -> Rate:
    """Return the rate of first failures with its exact limits, and its sentence."""
    r, run = counts.failed, counts.exposure
    if run <= 0:
        return Rate(0.0, None, 0.0, sentence="Nothing of it has run yet.")
    low, high = (float(limit) for limit in few_failures.rate_limits(r, run, confidence=CONFIDENCE))
    if r == 0:
        high = float(few_failures.rate_upper(0, run, confidence=0.95))
    sentence = ladder.rate_sentence(r, counts.parts, run, low, high, unit)
    return Rate(r / run, low if r else None, high, sentence=sentence)


def fitted_or_none(lives: Lives) -> Weibull | None:
    """Return the Weibull life, or None where no curve is the likeliest."""
    try:
        return fit(lives) if lives.failures >= weibull_words.FEWEST else None
    except NoFiniteFit:
        return None


def life_of(lives: Lives, counts: Counts, unit: str) -> tuple[LifeFound, Weibull | None]:
    """Return what the failures of known age allow to say, and the fit it rests on (None: none, or none to be had)."""
    step = ladder.rung(int(lives.failures))
    fitted = fitted_or_none(lives)
    if fitted is None:
        word = weibull_words.CANNOT_TELL if step.pattern else weibull_words.TOO_FEW
        told = step.words if not step.pattern else weibull_words.SENTENCES[word]
        return LifeFound(step.name, step.words, word, weibull_words.SENTENCES[word], told), None
    pattern = weibull_words.pattern_of(fitted, confidence=CONFIDENCE)
    if not step.life or fitted.shape > weibull_words.STEEPEST or pattern.shape is None:
        found = LifeFound(step.name, step.words, pattern.word, pattern.sentence, pattern.sentence)
        return found, fitted
    return _told(fitted, step, pattern, pattern.shape, counts.oldest, unit), fitted


def _told(
    fitted: Weibull, step: ladder.Rung, pattern: weibull_words.Pattern, shape: Range, oldest: float, unit: str
) -> LifeFound:
    """The fitted life with its limits, from ten failures on."""
    life, b10, b50 = (likelihood_limits(fitted, q, confidence=CONFIDENCE) for q in ("life", 0.10, 0.50))
    at = [float(age) for age in b_life(fitted, [0.10, 0.50])]
    sentence = ladder.life_sentence(
        int(fitted.failures), pattern.sentence, at[0], b10.low, b10.high, oldest, unit
    )  # fmt: skip
    check = goodness_of_fit(fitted)
    return LifeFound(
        step.name, step.words, pattern.word, pattern.sentence, sentence,
        fitted.shape, shape.low, shape.high, fitted.life, life.low, life.high, at[0], b10.low, b10.high, at[1], b50.low,
        b50.high, fitted.covariance.tolist(), wear_out_p(fitted), None if check is None else check.p_value,
    )  # fmt: skip


def wear_out_p(fitted: Weibull) -> float:
    """Return the chance of a likelihood that much better than without any effect of age, in the direction of wear.

    Signed root of the likelihood ratio against shape 1 (Meeker & Escobar 1998, ch. 8.2.5): one-sided. With few failures the
    fitted shape is too high on average: the root then lies above 0 by 1 / sqrt(failures) where all have failed, by less
    where few have (simulated, 1,500 fleets each of 10 to 100 failures); that is taken off.
    """
    lives = fitted.lives
    run = np.where(lives.between, 0.5 * (lives.lower + lives.seen_until), lives.seen_until) - lives.entry
    start = float(np.log(np.sum(lives.count * run) / lives.failures))
    flat = max(slopes(fitted.terms, start + step, 0.0).value for step in (np.linspace(-0.5, 0.5, 41)))
    root = np.sqrt(max(2.0 * (fitted.log_likelihood - flat), 0.0)) * (1.0 if fitted.shape > 1.0 else -1.0)
    return float(ndtr(lives.failures**0.5 / lives.parts - root))


def survival_of(lives: Lives) -> Survival:
    """Return the curve of what is still good, from five failures on, thinned to what a chart can show."""
    between = int(lives.count[lives.between].sum())
    if lives.failures < weibull_words.FEWEST:
        return Survival(rug=_rug(lives), halved=between)
    curve = kaplan_meier(halved(lives), confidence=CONFIDENCE)
    kept = _thinned(len(curve.age))
    points: list[list[float]] = []
    if not between and not (lives.entry > 0).any():
        age, share = plotted(lives)
        points = [[float(a), float(s)] for a, s in zip(age, share, strict=True)]
        points = [points[row] for row in _thinned(len(points))]
    return Survival(
        curve.age[kept].tolist(), curve.at_risk[kept].tolist(), curve.value[kept].tolist(), curve.lower[kept].tolist(),
        curve.upper[kept].tolist(), curve.drawn_until, _rug(lives), points, between, _stretches(lives),
    )  # fmt: skip


def _stretches(lives: Lives) -> list[list[float | None]]:
    """What may be said of the curve where failures were found at looks: how much fails within each stretch, not where."""
    if not lives.between.any() or len(lives.lower) > MOST_LOOKED_AT:
        return []
    try:
        found = turnbull(lives)
    except NoCurve:
        return []
    until = [float(age) if np.isfinite(age) else None for age in found.right]
    return [[float(a), b, float(s)] for a, b, s in zip(found.left, until, found.survival, strict=True)]


def _rug(lives: Lives) -> list[float]:
    ages = np.sort(lives.lower[lives.survived])
    return ages[_thinned(len(ages))].tolist()


def _thinned(n: int) -> Array:
    """At most 200 rows of n, evenly, the first and the last among them."""
    return np.unique(np.linspace(0, max(n - 1, 0), min(n, MOST_POINTS)).round().astype(int))
