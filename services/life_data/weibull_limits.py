"""How far a fitted life may be off: limits for the shape, the life and any B-life.

`fisher_limits`: from the curvature at the estimate, on the log scale (Meeker & Escobar 1998, ch. 8.3): quick, too narrow with
few failures. `likelihood_limits`: every value whose best curve is nearly as likely (profile likelihood ratio against chi-square
with 1 degree of freedom, ch. 8.2): what to show below some 25 failures.
"""

from collections.abc import Callable
from typing import Literal, NamedTuple

import numpy as np

from services.life_data.counts import z_of
from services.life_data.weibull import DONE, Weibull
from services.life_data.weibull_likelihood import Slopes, slopes

Quantity = Literal["shape", "life"] | float  # a number: the age by which that share has failed, 0.10 for B10
ROUNDS = 100
FARTHEST = 40.0  # on the log scale: farther than this there is no limit


class Range(NamedTuple):
    """Two-sided limits, in the unit of the ages or plain for a shape; 0 or inf where the lives set none."""

    low: float
    high: float


class _Best(NamedTuple):
    """The likeliest curve with one quantity held: ln(likelihood), its slope in the held one, where the other one stands."""

    value: float
    slope: float
    other: float


def estimate_of(fitted: Weibull, quantity: Quantity) -> float:
    """Return the estimate of the quantity itself."""
    return float(np.exp(_centre(fitted, quantity)))


def fisher_limits(fitted: Weibull, quantity: Quantity, *, confidence: float = 0.90) -> Range:
    """Return Wald limits on the log scale, which never fall below zero."""
    k = _place(quantity) / fitted.shape
    toward = np.array([0.0, 1.0]) if quantity == "shape" else np.array([1.0, -k])
    reach = z_of(confidence) * float(np.sqrt(toward @ fitted.covariance @ toward))
    centre = _centre(fitted, quantity)
    return Range(float(np.exp(centre - reach)), float(np.exp(centre + reach)))


def likelihood_limits(fitted: Weibull, quantity: Quantity, *, confidence: float = 0.90) -> Range:
    """Return likelihood-ratio limits of the shape, the life or a B-life."""
    centre, z = _centre(fitted, quantity), z_of(confidence)
    wald = np.log(fisher_limits(fitted, quantity, confidence=confidence)[1]) - centre
    best = _held_shape if quantity == "shape" else _held_age
    start = fitted.log_life if quantity == "shape" else fitted.log_shape
    k = _place(quantity)
    low, high = (
        _limit(lambda at, near: best(fitted, at, near, k), fitted.log_likelihood, centre, sign * wald, z, start)
        for sign in (-1.0, 1.0)
    )
    return Range(float(np.exp(low)), float(np.exp(high)))


def _place(quantity: Quantity) -> float:
    """Where ln(age) of a B-life lies from ln(life), in units of 1/shape."""
    return 0.0 if isinstance(quantity, str) else float(np.log(-np.log1p(-quantity)))


def _centre(fitted: Weibull, quantity: Quantity) -> float:
    return fitted.log_shape if quantity == "shape" else fitted.log_life + _place(quantity) / fitted.shape


def _held_shape(fitted: Weibull, a: float, near: float, _: float) -> _Best:
    """The likeliest life for a held shape e^a."""

    def along(u: float) -> tuple[Slopes, float, float]:
        at = slopes(fitted.terms, u, a)
        return at, at.by_u, at.by_uu

    at, u = _climb(along, near)
    return _Best(at.value, at.by_a, u)


def _held_age(fitted: Weibull, log_age: float, near: float, k: float) -> _Best:
    """The likeliest shape for a held B-life: u = ln(age) - k / shape moves with the shape."""

    def along(a: float) -> tuple[Slopes, float, float]:
        off = k * np.exp(-a)
        at = slopes(fitted.terms, log_age - off, a)
        bend = at.by_aa + 2 * off * at.by_ua + off**2 * at.by_uu - off * at.by_u
        return at, at.by_a + off * at.by_u, bend

    at, a = _climb(along, near)
    return _Best(at.value, at.by_u, a)


def _climb(along: Callable[[float], tuple[Slopes, float, float]], near: float) -> tuple[Slopes, float]:
    """Newton uphill in one direction, steps of at most 1, halved while they lead down."""
    step, rounds = 1.0, 0
    at, first, second = along(near)
    while abs(step) > DONE and rounds < ROUNDS:
        rounds += 1
        step = float(np.clip(-first / second if second < 0 else np.sign(first), -1.0, 1.0))
        there = along(near + step)
        while there[0].value < at.value - 1e-10 * (1 + abs(at.value)) and abs(step) > DONE:
            step /= 2
            there = along(near + step)
        near, (at, first, second) = near + step, there
    return at, near


def _limit(
    best: Callable[[float, float], _Best], top: float, centre: float, reach: float, z: float, other: float
) -> float:
    """Where the root of twice the lost log-likelihood, nearly a straight line, is z; +-inf where it never is.

    Newton from the Wald limit, kept within what is known to be inside and outside.
    """
    sign = np.sign(reach)
    inside, outside, at = 0.0, np.inf, abs(reach)
    while at < FARTHEST:
        found = best(centre + sign * at, other)
        other = found.other
        lost = float(np.sqrt(max(2 * (top - found.value), 1e-300)))
        inside, outside = (at, outside) if lost < z else (inside, at)
        steep = -sign * found.slope / lost
        aim = at + (z - lost) / steep if steep > 0 else np.inf
        if abs(aim - at) < 1e-10 * (1 + at):
            return float(centre + sign * aim)
        if not inside < aim < outside or aim > 3 * at:
            aim = (inside + outside) / 2 if np.isfinite(outside) else 2 * at
        at = aim
    return float(sign * np.inf)
